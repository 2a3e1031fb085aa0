"""The window in a process of its own, told line by line what to show; for a screen reader or another display.

Takes from standard input ``over DRIVE PEAK`` (an invented over), ``do DEED``, ``set NUMBER`` (its sheet),
``form ENTRY`` of the work on a set, ``bench MEASUREMENT``, ``say WORDS``, ``resize W H``, ``grab FILE``,
``shut`` (every window but the main one) and ``close``; answers each with a JSON line and the window's size.
"""

import json
import sys
import threading
from pathlib import Path
from queue import Empty, SimpleQueue
from typing import Any

from PySide6.QtCore import QTimer
from PySide6.QtGui import QGuiApplication
from PySide6.QtWidgets import QApplication

from audiotest.keep.sheets import Sheets
from audiotest.standards.limits import get_limits
from audiotest.window.mainwindow import MainWindow
from audiotest.window.practice import PRACTICE_FEED
from audiotest.window.settings import Settings
from audiotest.window.sheetdesk import Question
from audiotest.window.sitting import Sitting
from tests.window.conftest import made_over
from tests.window.handling import SilentPlayer, put


def tell(**what: Any) -> None:
    print(json.dumps(what), flush=True)


def obey(window: MainWindow, order: str) -> None:
    word, _, rest = order.partition(" ")
    if word == "over":
        drive, peak = rest.split()
        put(window, made_over(float(drive), float(peak)))
    elif word == "do":
        window.deeds[rest].trigger()
    elif word == "bench":
        page = window.bench_deeds.page
        assert page is not None
        page.choice.automatic.setChecked(False)
        page.choice.choose(rest)
        page.choice.start.click()
    elif word in ("set", "form"):
        sheets = window.sheet_deeds.page
        assert sheets is not None
        if word == "set":
            sheets._look(Question(set_id=int(rest)))
        else:
            sheets.work.actions[rest].trigger()
    elif word == "shut":
        for other in QApplication.topLevelWidgets():
            if other is not window and other.isVisible():
                other.close()
    elif word == "say":
        window.sitting.message = rest
    elif word == "resize":
        window.resize(*(int(side) for side in rest.split()))
    elif word == "grab":
        window.grab().save(rest)
    elif word == "close":
        window.close()
    tell(
        done=order, size=[window.width(), window.height()], full=window.isFullScreen(),
        platform=QGuiApplication.platformName(), frames=window.frames,
    )  # fmt: skip


def main(folder: Path) -> None:
    app = QApplication(["audiotest"])
    app.setApplicationName("audiotest")
    file = folder / "sheets.sqlite"
    with Sheets(file) as sheets:
        sheets.type_reading(
            sheets.open_visit(sheets.add_set("Elm", "27", service="uk-27fm")), "found", "power", "3.1 W"
        )
    settings = Settings(appearance="light", sheets_file=str(file), set_up=True)
    window = MainWindow(
        Sitting(limits=get_limits("uk-27fm"), feed=PRACTICE_FEED, settings=settings), folder / "window.toml"
    )
    window.player = SilentPlayer()  # type: ignore[assignment]
    window.show()
    window.timer.start()
    orders: SimpleQueue[str] = SimpleQueue()
    threading.Thread(target=lambda: [orders.put(line.strip()) for line in sys.stdin], daemon=True).start()

    def look() -> None:
        try:
            obey(window, orders.get_nowait())
        except Empty:
            return

    timer = QTimer()
    timer.timeout.connect(look)
    timer.start(50)
    tell(done="open")
    app.exec()


if __name__ == "__main__":
    main(Path(sys.argv[1]))
