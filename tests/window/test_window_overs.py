"""Overs in the main window: advice, map, tape, meters, the cue."""

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
from PySide6.QtCore import Qt

from audiotest.feeds.simulated import SimulatedSource
from audiotest.records import Over
from audiotest.window.listening import MeterLevels
from audiotest.window.mainwindow import MainWindow
from tests.window.handling import press, put

pytestmark = pytest.mark.window
MakeOver = Callable[..., Over]


@pytest.fixture
def window(practising: MainWindow) -> MainWindow:
    return practising


def test_advice_and_map_follow_the_overs(window: MainWindow, over: MakeOver) -> None:
    put(window, over(19.0, 2.3))
    bench = window.bench
    assert bench.advice.sentence.text().startswith("Mic gain down, about 14 dB")
    assert bench.advice.mic.accessibleName() == "mic gain: down, 14 dB, 11 to 17 dB"
    assert "drive +19.0 dB" in bench.map.plot.accessibleDescription()
    put(window, over(5.0, 2.2))
    assert bench.advice.sentence.text().startswith("Leave both controls")
    assert bench.tape.count() == 2
    assert bench.tape.chosen() == (2,)
    assert len(bench.map._dots.data) == 2


def test_what_the_last_turn_did_is_said_near_and_far_and_points_on_the_map(
    window: MainWindow, over: MakeOver
) -> None:
    bench = window.bench
    put(window, over(19.0, 2.3))
    assert bench.advice.trend.text() == ""
    assert not bench.map._arrow.isVisible()
    put(window, over(8.0, 2.3, start_s=20.0))
    assert bench.advice.trend.accessibleName() == (
        "since the last over: Drive down 11 dB since the last over."
    )
    assert "Drive down 11 dB" in window.far_pane.accessibleName()
    assert bench.map._arrow.isVisible()
    # Half way, and pointing left, as the drive went down: pyqtgraph's angle 0.
    assert bench.map._arrow.pos().x() == pytest.approx(13.5)
    assert bench.map._arrow.opts["angle"] % 360.0 == pytest.approx(0.0, abs=1e-6)
    put(window, over(8.0, 3.2, start_s=40.0))
    # Up is 90 degrees in pyqtgraph's count.
    assert bench.map._arrow.opts["angle"] % 360.0 == pytest.approx(90.0, abs=1e-6)
    put(window, over(8.0, 3.2, start_s=60.0))
    assert not bench.map._arrow.isVisible()
    assert bench.advice.trend.isVisible()
    bench.advice.resize(400, 150)
    assert not bench.advice.trend.isVisible()


@pytest.mark.parametrize(
    ("drive_db", "peak_khz", "high_db"),
    [(None, None, None), (None, 1.2, None), (None, 1.2, -6.0), (12.0, None, None), (45.0, 9.0, None)],
)
def test_the_map_draws_what_is_only_half_known(
    window: MainWindow, over: MakeOver, drive_db: float | None, peak_khz: float | None, high_db: float | None
) -> None:
    put(window, over(drive_db, peak_khz, high_db=high_db))
    image = window.grab().toImage()
    assert image.width() > 0
    expected = 0 if drive_db is None and peak_khz is None else 1
    assert len(window.bench.map._dots.data) == expected


def test_choosing_and_comparing_overs(window: MainWindow, qtbot: Any, over: MakeOver) -> None:
    put(window, over(19.0, 2.3))
    put(window, over(5.0, 1.5))
    press(qtbot, window, Qt.Key.Key_BracketLeft)
    assert window.bench.tape.chosen() == (1,)
    assert window.bench.advice.heard is not None
    assert window.bench.advice.heard.number == 1
    press(qtbot, window, Qt.Key.Key_BracketRight)
    assert window.bench.tape.chosen() == (2,)
    press(qtbot, window, Qt.Key.Key_C)
    assert "drive: 19.0 → 5.0 dB" in window.box.text()
    window.box.close()
    window.bench.tape.selectAll()
    assert window.bench.tape.chosen() == (1, 2)


def test_the_cue_is_off_at_first_and_silent_while_a_carrier_is_up(
    window: MainWindow, over: MakeOver, audio: np.ndarray, qtbot: Any, monkeypatch: pytest.MonkeyPatch,
    reading: Callable[..., Any],
) -> None:  # fmt: skip
    window.sitting.open_source(lambda: SimulatedSource(audio[:4800], 48000))
    qtbot.waitUntil(lambda: window.sitting.poll() is not None and window.sitting.listening is not None)
    listening = window.sitting.listening
    state = {"now": reading(state="waiting", over_s=None)}
    monkeypatch.setattr(type(listening), "reading", property(lambda _: state["now"]))
    played = window.player.played  # type: ignore[attr-defined]
    put(window, over())
    assert played == []
    window.view_deeds.sound_cue()
    put(window, over())
    assert len(played) == 1
    state["now"] = reading(state="carrier")
    put(window, over())
    assert len(played) == 1


def test_the_lamp_latches_on_an_overload_inside_an_over_only(
    window: MainWindow, reading: Callable[..., Any], over: MakeOver
) -> None:
    meters = window.bench.meters
    levels = MeterLevels(time_s=1.0, level_dbfs=-10.0, peak_dbfs=0.0)
    # Hiss before and after: the over ends within the time in which its end is found.
    meters.show_levels(levels, reading(overloaded=True, state="waiting", over_s=None))
    meters.show_levels(levels, reading(overloaded=True, over_s=0.3))
    meters.show_levels(levels, reading(overloaded=True, over_s=4.0))
    meters.show_levels(levels, reading(overloaded=True, over_s=4.4))
    meters.show_levels(levels, reading(overloaded=True, state="waiting", over_s=None))
    assert not meters.overloaded
    meters.show_levels(levels, reading(overloaded=True, over_s=2.0))
    meters.show_levels(levels, reading(overloaded=False, over_s=2.7))
    assert meters.overloaded
    assert meters.lamp.text() == "OVERLOAD"
    meters.show_levels(levels, reading(overloaded=False, over_s=None))
    assert meters.overloaded
    meters.lamp.click()
    assert not meters.overloaded
    assert meters.lamp.text() == "no overload"


def test_deviation_peak_leaves_out_the_hiss_at_the_end(
    window: MainWindow, reading: Callable[..., Any]
) -> None:
    meters = window.bench.meters
    for k in range(20):
        meters.show_levels(None, reading(over_s=1.0 + 0.1 * k, time_s=k / 10, deviation_khz=2.0))
    meters.show_levels(None, reading(over_s=3.1, time_s=2.1, deviation_khz=7.0, quieting_db=6.0))
    meters.show_levels(None, reading(over_s=None, state="waiting", time_s=2.3, deviation_khz=None))
    assert meters.deviation.peak == pytest.approx(2.0)
    meters.show_levels(None, reading(deviation_khz=7.0, quieting_db=0.2))
    assert meters.deviation.value is None


def test_practice_knobs_turn_the_simulated_set(window: MainWindow, qtbot: Any) -> None:
    pane = window.practice
    pane.mic.setFocus()
    before = window.sitting.adjustment
    qtbot.keyClick(pane.mic, Qt.Key.Key_Left)
    qtbot.keyClick(pane.ceiling, Qt.Key.Key_Right)
    after = window.sitting.adjustment
    assert after.mic_gain_db == before.mic_gain_db - 1.0
    assert after.ceiling_khz == pytest.approx(before.ceiling_khz + 0.05)
    assert "25 dB" in pane.mic.accessibleName()


def test_the_buttons_of_the_tape_do_what_the_keys_do(window: MainWindow, qtbot: Any, over: MakeOver) -> None:
    put(window, over(19.0, 2.3))
    put(window, over(5.0, 1.5))
    buttons = window.bench.tape_buttons.buttons
    qtbot.mouseClick(buttons["compare"], Qt.MouseButton.LeftButton)
    assert "Over 1 against over 2" in window.box.text()
    window.box.close()
    qtbot.mouseClick(buttons["replay"], Qt.MouseButton.LeftButton)
    assert "more than ten minutes old" in window.sitting.message
    qtbot.mouseClick(buttons["keep"], Qt.MouseButton.LeftButton)
    qtbot.waitUntil(
        lambda: window.sitting.poll() is not None and "no audio left to keep" in window.sitting.message,
        timeout=30000,
    )
    qtbot.mouseClick(buttons["discard"], Qt.MouseButton.LeftButton)
    assert window.bench.tape.count() == 1
