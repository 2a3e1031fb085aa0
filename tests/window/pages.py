"""Every page at 200 % on a screen of a size: ``python tests/window/pages.py OUT 1280x720 [NAME ...]``.

To be looked at: what is clipped, cramped or out of reach. Light and dark; the sound is the simulated radio's.
"""

import json
import os
import sys
from collections.abc import Callable
from pathlib import Path
from tempfile import TemporaryDirectory

PERCENT = 200


def take_screen(folder: Path, width: int, height: int) -> None:
    """A screen of this size for the platform without one; before Qt is loaded."""
    screen = {"name": "one", "x": 0, "y": 0, "width": width, "height": height, "logicalDpi": 96, "dpr": 1}
    file = folder / "screen.json"
    file.write_text(json.dumps({"screens": [screen]}))
    os.environ["QT_QPA_PLATFORM"] = f"offscreen:configfile={file}"


def main(out: Path, size: tuple[int, int], wanted: list[str]) -> None:
    """Take the pictures whose name has one of the wanted words."""
    from PySide6.QtWidgets import QWidget

    from audiotest.window.mainwindow import MainWindow
    from audiotest.window.practice import AS_FOUND, render_over
    from tests.window.benchshots import STATES, Scene
    from tests.window.sheetshots import fill, opened
    from tests.window.shots import Stage, bench

    sound = render_over(AS_FOUND, 0)
    stage = Stage(out, sound)

    def far(window: MainWindow) -> QWidget:
        window.view_deeds.far()
        window.resize(*size)
        return window

    def set_up(window: MainWindow) -> QWidget:
        window.set_up()
        assert window.dialog is not None
        return window.dialog

    def set_up_end(window: MainWindow) -> QWidget:
        dialog = set_up(window)
        bar = window.dialog.area.verticalScrollBar()  # type: ignore[union-attr]
        stage.settle()
        bar.setValue(bar.maximum())
        return dialog

    def compare(window: MainWindow) -> QWidget:
        window.over_deeds.compare()
        return window.box  # type: ignore[return-value]

    def keys(window: MainWindow) -> QWidget:
        window.keys()
        return window.box  # type: ignore[return-value]

    def practise(window: MainWindow) -> QWidget:
        window.practice.setVisible(True)
        return window

    def sheet(window: MainWindow) -> QWidget:
        return opened(stage, window, files)

    def form(name: str) -> Callable[[MainWindow], QWidget]:
        def act(window: MainWindow) -> QWidget:
            page = opened(stage, window, files)
            page.work.actions[name].trigger()
            assert page._form is not None
            return page._form

        return act

    pages: dict[str, Callable[[MainWindow], QWidget]] = {
        "main": lambda window: window, "practice": practise, "far": far, "set-up": set_up,
        "set-up-end": set_up_end, "compare": compare, "keys": keys, "sheet": sheet, "spoken": form("spoken"),
    }  # fmt: skip
    for appearance in ("light", "dark"):
        for name, act in pages.items():
            full = f"{name}-{appearance}-{size[0]}"
            if wanted and not any(word in full for word in wanted):
                continue
            with TemporaryDirectory() as folder:
                files = fill(Path(folder))
                window = stage.open(
                    size=size, appearance=appearance, size_percent=PERCENT, sheets_file=str(files)
                )
                window.sitting.later = lambda work, done: done(work())  # type: ignore[method-assign]
                bench(stage, window)
                shown = act(window)
                stage.settle()
                stage.save(shown, full)
                stage.close(window)
        for state in ("start", "start-live", "consent", "asking", "running-by-hand", "finished-response"):
            full = f"bench-{state}-{appearance}-{size[0]}"
            if wanted and not any(word in full for word in wanted):
                continue
            scene = Scene(out, appearance, PERCENT, size)
            scene.window.resize(scene.window.sizeHint())
            STATES[state](scene)
            scene.save(full)
            scene.window.shut()
            scene.window.deleteLater()
            scene.settle()


if __name__ == "__main__":
    sys.path.insert(0, str(Path(__file__).parents[2]))
    with TemporaryDirectory() as home:
        sides = sys.argv[2].split("x")
        take_screen(Path(home), int(sides[0]), int(sides[1]))
        os.environ["XDG_CONFIG_HOME"] = home
        target = Path(sys.argv[1])
        target.mkdir(parents=True, exist_ok=True)
        main(target.resolve(), (int(sides[0]), int(sides[1])), sys.argv[3:])
