"""Every state of the bench window as a PNG: ``python tests/window/benchshots.py OUT [NAME ...]``.

The simulated radio is measured; where real instruments would be opened, it stands for them.
"""

import os
import sys
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

if __name__ == "__main__":
    os.environ.setdefault("QT_QPA_PLATFORM", "offscreen")

from PySide6.QtWidgets import QApplication

from audiotest.errors import DeviceError
from audiotest.feeds.scale import save_feed
from audiotest.tones.level import OutputScale, save_output
from audiotest.tones.rehearsal import MONITOR_FEED, Rehearsal
from audiotest.window.benchrun import RehearsalBench
from audiotest.window.benchwindow import BenchWindow
from audiotest.window.settings import Settings
from audiotest.window.theme import apply_theme, choose_theme

SIZE = (1100, 700)


class Scene:
    """A bench window and the clock that drives it."""

    def __init__(self, folder: Path, appearance: str, percent: int, size: tuple[int, int] = SIZE) -> None:
        app = QApplication.instance() or QApplication(sys.argv[:1])
        assert isinstance(app, QApplication)
        self.app, self.folder = app, folder
        self.settings = Settings(appearance=appearance, size_percent=percent)
        apply_theme(app, choose_theme(appearance), percent)
        save_output(
            OutputScale(name="bench", full_scale_mv=500.0, ceiling_mv=700.0), folder / "bench-out.toml"
        )
        save_feed(MONITOR_FEED, folder / "monitor.toml")
        self.failure: Exception | None = None
        self.window = BenchWindow(
            lambda: self.settings, self._remember, folder, open_live=self._open, inputs=lambda: ()
        )
        self.window.open_up()
        self.window.resize(*size)
        self.settle()

    def _remember(self, **changes: Any) -> None:
        self.settings = replace(self.settings, **changes)

    def _open(self, procedure: str, entry: Any, technician: Any, **more: Any) -> RehearsalBench:
        if self.failure is not None:
            raise self.failure
        return RehearsalBench(Rehearsal(), technician)

    def settle(self) -> None:
        """Let Qt lay out and paint."""
        for _ in range(6):
            self.app.processEvents()

    def until(self, true: Callable[[], bool], answer: bool = False) -> None:
        """Let it run until something is true, answering as suggested."""
        while not true():
            self.app.processEvents()
            if answer:
                self.window.running.press()
        self.window.tick()
        self.settle()

    def live(self) -> None:
        """On the sound card, with the files filled in."""
        self.window.choice.live.setChecked(True)
        fields = self.window.choice.fields
        fields.output_file.line.setText(str(self.folder / "bench-out.toml"))
        fields.feed_file.line.setText(str(self.folder / "monitor.toml"))

    def consent(self, name: str) -> None:
        """To the consent."""
        self.live()
        self.window.choice.choose(name)
        self.window.begin()
        self.settle()

    def agree(self) -> None:
        """Over the consent."""
        self.window.consent.agreed.setChecked(True)
        self.window.consent.go.click()

    def steps(self, count: int, *, answer: bool = False) -> None:
        """Until so many steps are done."""
        run = self.window.run
        assert run is not None
        self.until(lambda: run.moment.steps_done >= count or run.moment.over, answer)

    def rehearse(self, name: str) -> None:
        """Begin a rehearsal."""
        self.window.choice.rehearse.setChecked(True)
        self.window.choice.choose(name)
        self.window.begin()

    def end(self, *, answer: bool = False) -> None:
        """To the outcome."""
        self.until(lambda: self.window.pages.currentWidget() is self.window.outcome, answer)

    def save(self, name: str) -> None:
        """Write the picture."""
        self.settle()
        self.window.grab().save(str(self.folder / f"{name}.png"))


def _start(scene: Scene) -> None:
    scene.window.choice.choose("response")


def _start_live(scene: Scene) -> None:
    scene.live()
    scene.window.choice.choose("limiting")
    scene.settle()


def _refused(scene: Scene) -> None:
    scene.live()
    scene.window.choice.fields.output_file.line.setText("")
    scene.window.choice.choose("limiting")
    scene.window.begin()


def _consent(scene: Scene) -> None:
    scene.consent("limiting")


def _asking(scene: Scene) -> None:
    scene.consent("sensitivity")
    scene.agree()
    run = scene.window.run
    assert run is not None
    scene.until(
        lambda: (
            run.moment.steps_done >= 5
            and not run._answered
            and getattr(run.moment.question, "suggested", None) is not None
        ),
        answer=True,
    )


def _key(scene: Scene) -> None:
    scene.consent("response")
    scene.agree()
    scene.until(scene.window.running.done.isVisible)


def _on_air(scene: Scene) -> None:
    scene.consent("limiting")
    scene.agree()
    scene.steps(16, answer=True)


def _running(name: str, count: int) -> Callable[[Scene], None]:
    def act(scene: Scene) -> None:
        scene.rehearse(name)
        scene.steps(count)

    return act


def _finished(name: str) -> Callable[[Scene], None]:
    def act(scene: Scene) -> None:
        scene.rehearse(name)
        scene.end()

    return act


def _interrupted(scene: Scene) -> None:
    scene.rehearse("limiting")
    scene.steps(14)
    scene.window.stop()
    scene.end()


def _error(scene: Scene) -> None:
    scene.failure = DeviceError(
        "the input cannot be opened: it is in use", "close other programs that use it"
    )
    scene.consent("squelch")
    scene.agree()
    scene.end()


STATES: dict[str, Callable[[Scene], None]] = {
    "start": _start,
    "start-live": _start_live,
    "refused": _refused,
    "consent": _consent,
    "key": _key,
    "asking": _asking,
    "on-air": _on_air,
    "running-response": _running("response", 9),
    "running-limiting": _running("limiting", 14),
    "running-sensitivity": _running("sensitivity", 10),
    "running-null": _running("carrier-null", 14),
    "running-by-hand": _running("carrier-null-hand", 14),
    "running-sinad": _running("sinad", 12),
    "finished-response": _finished("response"),
    "finished-limiting": _finished("limiting"),
    "finished-null": _finished("carrier-null"),
    "finished-hum": _finished("hum"),
    "interrupted": _interrupted,
    "error": _error,
}


def main(folder: Path, wanted: list[str]) -> None:
    """Take the pictures whose name begins as wanted."""
    for state, act in STATES.items():
        for appearance in ("light", "dark"):
            for percent in (100, 200):
                name = f"{state}-{appearance}-{percent}"
                if wanted and not any(name.startswith(each) for each in wanted):
                    continue
                scene = Scene(folder, appearance, percent)
                act(scene)
                scene.save(name)
                scene.window.shut()
                scene.window.deleteLater()
                scene.settle()


if __name__ == "__main__":
    main(Path(sys.argv[1]), sys.argv[2:])
