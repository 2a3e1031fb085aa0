"""What the tests of the main window have in common: a window with a silent output, overs, keys."""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import numpy as np
from PySide6.QtCore import QCoreApplication, QEvent, Qt
from PySide6.QtWidgets import QWidget

from audiotest.records import Feed, LimitSet, Over
from audiotest.window.mainwindow import MainWindow
from audiotest.window.settings import Settings
from audiotest.window.sitting import Fresh, Sitting


class SilentPlayer:
    """Notes what would have sounded."""

    def __init__(self) -> None:
        self.played: list[tuple[int, int]] = []
        self.stopped = 0
        self.sounding = False
        self.trouble = None

    def play(self, samples: Any, rate_hz: int) -> None:
        self.played.append((len(samples), rate_hz))
        self.sounding = True

    def stop(self) -> None:
        self.stopped += 1
        self.sounding = False


@contextmanager
def main_window(
    limits: LimitSet, folder: Path, *, feed: Feed | None = None, **settings: Any
) -> Iterator[MainWindow]:
    """A window with settings of its own that makes no sound, deleted at the end.

    Windows that pile up would all follow every change of font and palette.
    """
    remembered = Settings(**({"appearance": "light", "clips_folder": str(folder / "clips")} | settings))
    made = MainWindow(Sitting(limits=limits, feed=feed, settings=remembered), folder / "window.toml")
    made.player = SilentPlayer()  # type: ignore[assignment]
    made.show()
    try:
        yield made
    finally:
        made.close()
        made.deleteLater()
        QCoreApplication.sendPostedEvents(None, QEvent.Type.DeferredDelete.value)


def wait(qtbot: Any, until: Callable[[], bool]) -> None:
    """What the sheets' thread and the window's timer bring takes its time."""
    qtbot.waitUntil(until, timeout=20000)


def put(window: MainWindow, over: Over) -> None:
    """Let an invented over come in."""
    heard = window.sitting.log.take(over, "14:05:09")
    window._take(Fresh(heard=heard, outline=np.linspace(0, 1, 96, dtype=np.float32)))


def press(qtbot: Any, window: QWidget, key: Any, modifier: Any = Qt.KeyboardModifier.NoModifier) -> None:
    """One key."""
    qtbot.keyClick(window, key, modifier)
