"""Every control of the window, on the offscreen platform."""

import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from PySide6.QtCore import QObject, QPoint, Qt, Signal
from PySide6.QtGui import QImage
from PySide6.QtWidgets import QAbstractScrollArea, QApplication, QLabel, QMainWindow, QMenu, QWidget

from audiotest.errors import DeviceError
from audiotest.feeds.simulated import SimulatedSource
from audiotest.records import LimitSet, Over
from audiotest.standards.limits import LIMIT_SETS
from audiotest.window.actions import DEEDS, Deed
from audiotest.window.listening import MeterLevels
from audiotest.window.mainwindow import MainWindow
from audiotest.window.menus import fill_menus
from audiotest.window.practice import PRACTICE_FEED
from audiotest.window.settings import load_settings
from audiotest.window.setupdialog import SetUpDialog, level_word, scale_word
from audiotest.window.sitting import Fresh
from tests.window.handling import main_window, press, put

pytestmark = pytest.mark.window
MakeOver = Callable[..., Over]


@pytest.fixture
def window(qtbot: Any, limits: LimitSet, tmp_path: Path) -> Iterator[MainWindow]:
    with main_window(limits, tmp_path, feed=PRACTICE_FEED) as made:
        yield made


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


def test_far_view_by_key_and_back(window: MainWindow, qtbot: Any, over: MakeOver) -> None:
    put(window, over(19.0, 2.3))
    press(qtbot, window, Qt.Key.Key_F)
    assert window.pages.currentWidget() is window.far_pane
    assert window.isFullScreen()
    assert window.far_pane.accessibleName().startswith("MIC GAIN DOWN 14 dB")
    press(qtbot, window, Qt.Key.Key_Escape)
    assert window.pages.currentWidget() is window.bench
    assert not window.isFullScreen()
    assert window.menuBar().isVisible()


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


def test_without_an_over_every_deed_says_something_and_nothing_breaks(window: MainWindow, qtbot: Any) -> None:
    for key in (Qt.Key.Key_R, Qt.Key.Key_K, Qt.Key.Key_D, Qt.Key.Key_C, Qt.Key.Key_BracketLeft, Qt.Key.Key_H):
        press(qtbot, window, key)
    assert window.sitting.message == "two overs are needed to compare"
    window.talk()
    assert "simulated set" in window.sitting.message


def test_what_is_chosen_is_remembered(window: MainWindow, qtbot: Any, tmp_path: Path) -> None:
    press(qtbot, window, Qt.Key.Key_B)
    press(qtbot, window, Qt.Key.Key_V)
    press(qtbot, window, Qt.Key.Key_G)
    press(qtbot, window, Qt.Key.Key_A)
    press(qtbot, window, Qt.Key.Key_U)
    window.view_deeds.larger()
    found = load_settings(tmp_path / "window.toml")
    assert found.appearance == "dark"
    assert found.scope_view == "flattened"
    assert found.persistence
    assert not found.spectrum_average
    assert found.sound_cue
    assert found.size_percent == 125
    window.view_deeds.smaller()
    window.view_deeds.smaller()
    window.view_deeds.smaller()
    assert load_settings(tmp_path / "window.toml").size_percent == 80


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


def test_the_captions_of_the_pictures_are_whole_on_a_small_screen(window: MainWindow, qtbot: Any) -> None:
    window.apply_settings()
    window.resize(1280, 720)
    qtbot.wait(30)  # the font reaches the widgets by events
    for name, caption in window.bench.captions.items():
        assert caption.fontMetrics().horizontalAdvance(caption.text()) <= caption.contentsRect().width(), name


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


def test_every_deed_has_a_method_and_no_key_is_given_twice(window: MainWindow) -> None:
    keys = [key for deed in DEEDS for key in deed.keys]
    assert len(keys) == len(set(keys))
    for deed in DEEDS:
        assert callable(window.deed(deed.name)), deed.name
        assert window.deeds[deed.name] in window.actions(), deed.name
        if deed.name != "cautions":
            assert deed.keys, deed.name


def test_one_more_line_in_the_table_is_one_more_entry_with_its_key(qtbot: Any) -> None:
    made, done = QMainWindow(), []
    qtbot.addWidget(made)
    table = (
        Deed(name="first", menu="&One", text="&First", keys=("1",)),
        Deed(name="second", menu="&Two", text="&Second", keys=("2", "Ctrl+2"), checkable=True),
        Deed(name="third", menu="&One", text="&Third", keys=()),
    )
    actions = fill_menus(made, table, done.append)
    made.show()
    made.activateWindow()
    qtbot.waitUntil(made.isActiveWindow)
    assert [[entry.text() for entry in menu.actions()] for menu in made.menuBar().findChildren(QMenu)] == [
        ["&First", "&Third"], ["&Second"],
    ]  # fmt: skip
    press(qtbot, made, Qt.Key.Key_1)
    made.menuBar().hide()
    press(qtbot, made, Qt.Key.Key_2, Qt.KeyboardModifier.ControlModifier)
    actions["third"].trigger()
    assert done == ["first", "second", "third"]
    assert actions["second"].isChecked()
    holders = dict.fromkeys(("over_deeds", "view_deeds", "sheet_deeds", "bench_deeds"))
    with pytest.raises(KeyError):
        MainWindow.deed(SimpleNamespace(**holders), "none such")  # type: ignore[arg-type]


def test_keys_and_cautions_are_shown(window: MainWindow) -> None:
    window.keys()
    assert "far view" in window.box.text().lower()
    assert "in a picture: set or take away the mark" in window.box.text()
    window.box.close()
    window.cautions()
    assert "dummy load" in window.box.text()
    window.box.close()


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


def test_pictures_are_left_out_by_key_and_that_is_remembered(
    window: MainWindow, qtbot: Any, tmp_path: Path
) -> None:
    press(qtbot, window, Qt.Key.Key_N)
    assert not window.bench.pictures.isVisible()
    assert not load_settings(tmp_path / "window.toml").pictures
    press(qtbot, window, Qt.Key.Key_N)
    assert window.bench.pictures.isVisible()


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
