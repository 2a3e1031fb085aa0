"""The main window listens: overs as they come, inputs that fail, how it looks, how it ends."""

import sys
import time
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
from PySide6.QtCore import QObject, QPoint, Qt, Signal
from PySide6.QtGui import QImage
from PySide6.QtWidgets import QAbstractScrollArea, QApplication, QLabel, QWidget

from audiotest.errors import DeviceError
from audiotest.feeds.simulated import SimulatedSource
from audiotest.records import Over
from audiotest.window.mainwindow import MainWindow
from audiotest.window.sitting import Fresh
from tests.window.handling import press, put

pytestmark = pytest.mark.window
MakeOver = Callable[..., Over]


@pytest.fixture
def window(practising: MainWindow) -> MainWindow:
    return practising


def test_signals_keep_their_references() -> None:
    # One version of the Qt binding lost a reference to True at every emit and ended the interpreter.
    class Bell(QObject):
        rung = Signal(bool)

    bell = Bell()
    bell.rung.connect(lambda _: None)
    before = sys.getrefcount(True)
    for _ in range(200):
        bell.rung.emit(True)
    assert sys.getrefcount(True) > before - 50


def test_a_real_over_goes_all_the_way(window: MainWindow, qtbot: Any, audio: np.ndarray) -> None:
    window.sitting.open_source(lambda: SimulatedSource(audio, 48000))
    window.timer.start()
    qtbot.waitUntil(lambda: window.bench.tape.count() == 1, timeout=90000)
    assert window.bench.advice.mic.view.turn == "lower"
    assert window.bench.scope._flat.getData()[1] is not None
    qtbot.waitUntil(lambda: "ended" in window.bench.feed_labels["state"].text(), timeout=30000)
    assert "⚠" in window.bench.feed_labels["state"].text()
    press(qtbot, window, Qt.Key.Key_R)
    assert window.player.played[0][0] == len(window.sitting.audio(1))  # type: ignore[attr-defined]
    press(qtbot, window, Qt.Key.Key_K)
    qtbot.waitUntil(lambda: 1 in window.bench.tape.kept, timeout=30000)
    press(qtbot, window, Qt.Key.Key_D)
    assert window.bench.tape.count() == 0
    assert window.bench.advice.heard is None


def test_an_over_is_shown_at_once_and_before_the_pictures(
    window: MainWindow, qtbot: Any, audio: np.ndarray, monkeypatch: pytest.MonkeyPatch
) -> None:
    # No frame comes by itself here: whatever is shown was asked for by the worker.
    window.sitting.open_source(lambda: SimulatedSource(audio, 48000))
    qtbot.waitUntil(
        lambda: window.sitting.listening is not None or window.sitting.poll() != [], timeout=30000
    )
    assert not window.timer.isActive()
    qtbot.waitUntil(lambda: window.bench.tape.count() == 1, timeout=90000)
    assert window.bench.advice.heard is not None
    drawn: list[str] = []
    monkeypatch.setattr(window.bench, "draw", lambda *_: drawn.append("drawn"))
    fresh = Fresh(heard=window.bench.advice.heard, outline=np.zeros(4, dtype=np.float32))
    monkeypatch.setattr(window.sitting, "poll", lambda: [fresh])
    window.tick()
    assert drawn == []
    monkeypatch.setattr(window.sitting, "poll", list)
    window.tick()
    assert drawn == ["drawn"]


def test_freeze_holds_the_pictures(window: MainWindow, qtbot: Any, audio: np.ndarray) -> None:
    window.sitting.open_source(lambda: SimulatedSource(audio, 48000))
    window.timer.start()
    qtbot.waitUntil(lambda: window.bench.tape.count() == 1, timeout=90000)
    window.timer.stop()
    press(qtbot, window, Qt.Key.Key_Z)
    assert "FROZEN" in window.bench.captions["scope"].text()
    before = window.bench.scope._flat.getData()[1].copy()
    assert window.sitting.listening is not None
    window.sitting.listening.tape.append(np.full(4800, 0.3, dtype=np.float32))
    window.tick()
    np.testing.assert_array_equal(window.bench.scope._flat.getData()[1], before)
    press(qtbot, window, Qt.Key.Key_Z)
    window.tick()
    assert not np.array_equal(window.bench.scope._flat.getData()[1], before)


def test_the_captions_of_the_pictures_are_whole_on_a_small_screen(window: MainWindow, qtbot: Any) -> None:
    window.apply_settings()
    window.resize(1280, 720)
    qtbot.wait(30)  # the font reaches the widgets by events
    for name, caption in window.bench.captions.items():
        assert caption.fontMetrics().horizontalAdvance(caption.text()) <= caption.contentsRect().width(), name


def test_everything_that_can_be_used_has_a_name_for_the_screen_reader(window: MainWindow) -> None:
    for widget in window.bench.findChildren(QWidget):
        if widget.focusPolicy() == Qt.FocusPolicy.NoFocus or not widget.isVisibleTo(window):
            continue
        inside = isinstance(widget.parent(), QAbstractScrollArea)
        if inside or isinstance(widget, QLabel) or widget.objectName().startswith("qt_"):
            continue
        text = widget.accessibleName() or getattr(widget, "text", lambda: "")()
        assert text, f"{type(widget).__name__} has no name"


@pytest.mark.parametrize("appearance", ["light", "dark"])
@pytest.mark.parametrize("percent", [80, 100, 200])
def test_the_window_draws_in_both_dresses_at_every_size(
    window: MainWindow, qtbot: Any, over: MakeOver, appearance: str, percent: int
) -> None:
    window.remember(appearance=appearance, size_percent=percent)
    window.apply_settings()
    put(window, over())
    qtbot.wait(30)  # the palette reaches the widgets by events
    image = window.grab().toImage().convertToFormat(QImage.Format.Format_RGB32)
    corner = image.pixelColor(QPoint(3, image.height() - 3)).lightness()
    assert corner > 200 if appearance == "light" else corner < 60


@pytest.mark.parametrize(
    "refusal",
    [
        DeviceError("bench: cannot be opened: Permission denied", "close other programs that use it"),
        PermissionError(13, "Permission denied"),
    ],
)
def test_an_input_that_is_refused_is_named_and_the_rest_works(
    window: MainWindow, qtbot: Any, over: MakeOver, monkeypatch: pytest.MonkeyPatch, refusal: Exception
) -> None:
    def refuse(*_: Any) -> Any:
        raise refusal

    monkeypatch.setattr("audiotest.window.mainwindow.open_input", refuse)
    window.timer.start()
    press(qtbot, window, Qt.Key.Key_L)
    state = window.bench.feed_labels["state"]
    qtbot.waitUntil(lambda: "Permission denied" in state.text(), timeout=30000)
    assert state.text().startswith("⚠")
    assert "Permission denied" in window.statusBar().currentMessage()
    put(window, over())
    assert window.bench.advice.sentence.text().startswith("Mic gain down")
    press(qtbot, window, Qt.Key.Key_P)
    qtbot.waitUntil(lambda: window.sitting.practice is not None, timeout=30000)
    qtbot.waitUntil(lambda: not state.text().startswith("⚠"), timeout=30000)


def test_an_input_that_goes_away_is_named_and_can_be_opened_again(
    window: MainWindow, qtbot: Any, audio: np.ndarray, monkeypatch: pytest.MonkeyPatch
) -> None:
    class Unplugged(SimulatedSource):
        def blocks(self) -> Any:
            yield from super().blocks()
            raise DeviceError("bench: the input stopped delivering", "check the plug and open it again")

    made: list[SimulatedSource] = [
        Unplugged(audio[:9600], 48000, name="bench"),
        SimulatedSource(audio, 48000, name="bench again", real_time=True),
    ]
    monkeypatch.setattr("audiotest.window.mainwindow.open_input", lambda *_: made.pop(0))
    window.timer.start()
    press(qtbot, window, Qt.Key.Key_L)
    state, source = window.bench.feed_labels["state"], window.bench.feed_labels["source"]
    qtbot.waitUntil(lambda: "check the plug" in state.text(), timeout=30000)
    press(qtbot, window, Qt.Key.Key_L)
    qtbot.waitUntil(lambda: source.text() == "bench again" and "⚠" not in state.text(), timeout=30000)


def test_the_window_lets_go_of_its_threads(window: MainWindow, qtbot: Any, audio: np.ndarray) -> None:
    window.sitting.open_source(lambda: SimulatedSource(audio, 48000, real_time=True))
    window.timer.start()
    qtbot.waitUntil(lambda: window.sitting.listening is not None, timeout=30000)
    listening = window.sitting.listening
    assert listening is not None
    qtbot.waitUntil(lambda: listening.running, timeout=30000)
    started_s = time.monotonic()
    window.close()
    assert time.monotonic() - started_s < 30.0
    assert not listening.running
    assert not window.timer.isActive()
    assert isinstance(QApplication.instance(), QApplication)
