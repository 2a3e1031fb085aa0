"""The window on a real display and a real input, in a process of its own, told what to do line by line.

Called with the device, the feed file and the settings file. Prints one JSON line for each thing that happens:
``listening``, each ``over``, ``trouble``. Takes ``grab FILE``, ``key K`` and ``close`` from standard input.
"""

import json
import sys
import threading
from pathlib import Path
from queue import Empty, SimpleQueue
from typing import Any

from PySide6.QtCore import QTimer
from PySide6.QtGui import QGuiApplication, QKeySequence
from PySide6.QtTest import QTest

from audiotest.feeds.scale import load_feed
from audiotest.window import app
from audiotest.window.mainwindow import MainWindow


def tell(**what: Any) -> None:
    print(json.dumps(what), flush=True)


class Observer:
    """Looks at the window ten times a second and does what standard input says."""

    def __init__(self, window: MainWindow, orders: "SimpleQueue[str]") -> None:
        self.window, self.orders = window, orders
        self.heard, self.listening, self.trouble, self.message = 0, False, "", ""
        self.timer = QTimer(window)
        self.timer.setInterval(100)
        self.timer.timeout.connect(self.look)
        self.timer.start()

    def look(self) -> None:
        window, bench = self.window, self.window.bench
        listening = window.sitting.listening
        if not self.listening and listening is not None and listening.reading is not None:
            self.listening = True
            tell(event="listening", name=listening.source.name, platform=QGuiApplication.platformName())
        if bench.tape.count() > self.heard:
            self.heard = bench.tape.count()
            heard = window.sitting.log.latest
            assert heard is not None
            tell(
                event="over", sentence=bench.advice.sentence.text(), mic=heard.advice.mic_gain,
                peak_khz=heard.over.deviation.peak_khz, drive_db=heard.over.limiter.drive_db,
                frames=window.frames, lost=bench.feed_labels["lost"].text(),
            )  # fmt: skip
        state = bench.feed_labels["state"].text()
        if "⚠" in state and state != self.trouble:
            self.trouble = state
            tell(event="trouble", state=state)
        if window.sitting.message and window.sitting.message != self.message:
            self.message = window.sitting.message
            tell(event="message", text=self.message)
        try:
            self.obey(self.orders.get_nowait())
        except Empty:
            return

    def obey(self, order: str) -> None:
        word, _, rest = order.partition(" ")
        if word == "grab":
            QGuiApplication.primaryScreen().grabWindow(0).save(rest)
            tell(event="grabbed")
        elif word == "key":
            # Without a window manager nobody else gives the window the focus, and keys need it.
            self.window.activateWindow()
            QTest.qWaitForWindowActive(self.window, 3000)
            pressed = QKeySequence(rest)[0]
            QTest.keyClick(self.window, pressed.key(), pressed.keyboardModifiers())
            far = self.window.pages.currentWidget() is self.window.far_pane
            tell(event="pressed", key=rest, far=far)
        else:
            self.window.close()


def main(device: str, feed_file: str, settings_file: str) -> int:
    orders: SimpleQueue[str] = SimpleQueue()
    threading.Thread(
        target=lambda: [orders.put(line.strip()) for line in sys.stdin], name="orders", daemon=True
    ).start()
    begin, kept = app._begin, []

    def begin_and_observe(window: MainWindow, *, demo: bool) -> None:
        begin(window, demo=demo)
        # Qt does not keep the object whose method it calls.
        kept.append(Observer(window, orders))

    app._begin = begin_and_observe
    return app.run(device=device, feed=load_feed(feed_file), settings_file=Path(settings_file))


if __name__ == "__main__":
    sys.exit(main(*sys.argv[1:]))
