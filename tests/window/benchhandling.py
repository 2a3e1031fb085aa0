"""What the tests of the bench window have in common: its settings, opened instruments, a run to its end."""

from dataclasses import replace
from typing import Any

from audiotest.tones.rehearsal import Rehearsal
from audiotest.window.benchrun import RehearsalBench
from audiotest.window.benchwindow import BenchWindow
from audiotest.window.settings import Settings

PATIENCE_MS = 180_000
"""For a machine that is busy with other things; nothing is measured by it."""


class Remembered:
    """Settings that are changed as the main window changes them."""

    def __init__(self) -> None:
        self.settings = Settings(appearance="light")

    def __call__(self) -> Settings:
        return self.settings

    def change(self, **changes: Any) -> None:
        self.settings = replace(self.settings, **changes)


class Opened:
    """Stands for the real instruments: the simulated radio, opened as they are."""

    def __init__(self) -> None:
        self.calls: list[tuple[str, dict[str, Any]]] = []
        self.refusal: Exception | None = None

    def __call__(self, procedure: str, entry: Any, technician: Any, **more: Any) -> Any:
        self.calls.append((procedure, more))
        if self.refusal is not None:
            raise self.refusal
        return RehearsalBench(Rehearsal(), technician)


def ended(window: BenchWindow) -> bool:
    return window.pages.currentWidget() is window.outcome


def rehearse(qtbot: Any, window: BenchWindow, name: str) -> None:
    window.choice.choose(name)
    window.choice.start.click()
    qtbot.waitUntil(lambda: ended(window), timeout=PATIENCE_MS)
