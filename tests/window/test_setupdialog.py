"""The set-up: level, scale and limits of an input, in words."""

from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PySide6.QtCore import Qt

from audiotest.feeds.simulated import SimulatedSource
from audiotest.standards.limits import LIMIT_SETS
from audiotest.window.mainwindow import MainWindow
from audiotest.window.practice import PRACTICE_FEED
from audiotest.window.settings import load_settings
from audiotest.window.setupdialog import SetUpDialog, level_word, scale_word
from tests.window.handling import press

pytestmark = pytest.mark.window


@pytest.fixture
def window(practising: MainWindow) -> MainWindow:
    return practising


def test_set_up_shows_level_scale_and_limits(
    window: MainWindow, qtbot: Any, tmp_path: Path, audio: np.ndarray, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(
        "audiotest.window.setupdialog._devices_or_reason", lambda: ((), (), "no input found: plug one in")
    )
    window.timer.start()
    press(qtbot, window, Qt.Key.Key_S)
    dialog = window.dialog
    assert isinstance(dialog, SetUpDialog)
    assert not dialog.isModal()
    qtbot.waitUntil(lambda: "no input found" in dialog.input_word.text())
    window.sitting.open_source(lambda: SimulatedSource(audio, 48000, real_time=True))
    qtbot.waitUntil(lambda: "listening to simulated radio" in dialog.input_word.text(), timeout=30000)
    qtbot.waitUntil(lambda: dialog.level.value() > -30, timeout=30000)
    at = [limits.id for limits in LIMIT_SETS].index("land-25k")
    dialog.limits.setCurrentIndex(at)
    assert window.sitting.limits.id == "land-25k"
    assert "EN 300 086" in dialog.limits_word.text()
    assert load_settings(tmp_path / "window.toml").limits == "land-25k"
    dialog.use_feed(None, "")
    assert window.sitting.input_feed is None
    dialog._done()
    assert load_settings(tmp_path / "window.toml").set_up


def test_words_of_the_set_up() -> None:
    assert level_word(None).startswith("nothing is heard")
    assert level_word(-40.0).startswith("low")
    assert level_word(-10.0).startswith("good")
    assert "figures in kHz are not given" in scale_word(None)
    assert "8.00 kHz" in scale_word(PRACTICE_FEED)
