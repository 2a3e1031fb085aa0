"""From the start of the program to its first picture, with nothing loaded but what the window loads."""

import os
import tempfile
import time
from pathlib import Path
from typing import Any


def first_paint(started_s: float) -> dict[str, float]:
    """From the start of the process (given as wall-clock time) to the bench painted, as `live` opens it."""
    from PySide6.QtCore import QEvent, QObject

    from audiotest.window import app, mainwindow
    from audiotest.window.settings import Settings, save_settings

    found: dict[str, float] = {}

    class Paints(QObject):
        def eventFilter(self, watched: QObject, event: QEvent) -> bool:
            if event.type() == QEvent.Type.Paint and not found:
                found.update(wall_s=time.time() - started_s, cpu_s=time.process_time())
            return False

    def begin(window: Any, *, demo: bool) -> None:
        """Nothing is opened: what follows the first picture is not measured."""

    kept: list[QObject] = []
    made = mainwindow.MainWindow.__init__

    def watched(self: Any, *arguments: Any) -> None:
        made(self, *arguments)
        kept.append(Paints())
        self.bench.installEventFilter(kept[0])

    mainwindow.MainWindow.__init__ = watched  # type: ignore[method-assign]
    app._begin = begin
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "window.toml"
        save_settings(Settings(appearance="light", set_up=True), file)
        app.run(seconds=0.3, settings_file=file)
    return found | {"load": os.getloadavg()[0]}
