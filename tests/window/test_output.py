"""What the window plays: on which output, and never where it could get into a keyed transmitter."""

import threading
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PySide6.QtCore import Qt

from audiotest.feeds.inputs import InputDevice
from audiotest.feeds.scale import save_feed
from audiotest.feeds.simulated import SimulatedSource
from audiotest.records import LimitSet, Over
from audiotest.tones.level import OutputScale, save_output
from audiotest.tones.output import OutputDevice
from audiotest.tones.rehearsal import MONITOR_FEED, Rehearsal
from audiotest.window import benchwindow
from audiotest.window.benchrun import RehearsalBench
from audiotest.window.mainwindow import MainWindow
from audiotest.window.playback import Player
from audiotest.window.settings import load_settings
from tests.window.handling import main_window, press, put

pytestmark = pytest.mark.window
MakeOver = Callable[..., Over]
CARD = OutputDevice(index=4, name="Bench card", channels=2, host_api="ALSA")
HEADPHONES = OutputDevice(index=7, name="Headphones", channels=2, host_api="ALSA")
INPUT = InputDevice(index=2, name="Bench card", channels=2, host_api="ALSA", default_rate_hz=48000)
CODES = np.ones(48000, dtype=np.int16)


@pytest.fixture
def window(qtbot: Any, limits: LimitSet, tmp_path: Path) -> Iterator[MainWindow]:
    with main_window(limits, tmp_path) as made:
        made.sitting.audio = lambda number, around=True: CODES  # type: ignore[method-assign, assignment]
        made.sitting.rate_hz = lambda number: 48000  # type: ignore[method-assign]
        yield made


@pytest.fixture
def carrier(window: MainWindow, monkeypatch: pytest.MonkeyPatch) -> dict[str, bool]:
    state = {"up": False}
    monkeypatch.setattr(type(window.sitting), "carrier_up", lambda _: state["up"])
    return state


def test_the_key_replays_only_while_no_carrier_is_up(
    window: MainWindow, qtbot: Any, over: MakeOver, carrier: dict[str, bool]
) -> None:
    put(window, over())
    player: Any = window.player
    carrier["up"] = True
    press(qtbot, window, Qt.Key.Key_R)
    window.bench.tape.itemDoubleClicked.emit(window.bench.tape.item(0))
    window.bench.tape_buttons.buttons["replay"].click()
    assert player.played == []
    assert "a carrier is up: not played" in window.sitting.message
    carrier["up"] = False
    press(qtbot, window, Qt.Key.Key_R)
    assert player.played == [(48000, 48000)]


def test_across_the_room_it_is_said_too_why_nothing_plays(
    window: MainWindow, qtbot: Any, over: MakeOver, carrier: dict[str, bool]
) -> None:
    put(window, over())
    carrier["up"] = True
    press(qtbot, window, Qt.Key.Key_F)
    press(qtbot, window, Qt.Key.Key_R)
    window._slow_tick()
    assert "a carrier is up: not played" in window.far_pane.view.state
    window._message_ends_s = 0.0
    window._slow_tick()
    assert window.far_pane.view.state == "waiting for the first over"
    window.sitting.lent = True
    window._slow_tick()
    assert window.far_pane.view.state == "the bench measurements have the input"


def test_a_carrier_that_comes_up_ends_the_replay(
    window: MainWindow, qtbot: Any, over: MakeOver, carrier: dict[str, bool]
) -> None:
    put(window, over())
    player: Any = window.player
    press(qtbot, window, Qt.Key.Key_R)
    window.tick()
    assert player.stopped == 0
    carrier["up"] = True
    window.tick()
    window.tick()
    assert player.stopped == 1
    assert "a carrier is up: stopped" in window.sitting.message


def test_an_output_that_feeds_no_transmitter_may_play_at_any_time(
    window: MainWindow, qtbot: Any, over: MakeOver, carrier: dict[str, bool], tmp_path: Path
) -> None:
    put(window, over())
    put(window, over(5.0, start_s=20.0))
    player: Any = window.player
    carrier["up"] = True
    press(qtbot, window, Qt.Key.Key_C)
    window.box.listening.no_transmitter.setChecked(True)
    assert load_settings(tmp_path / "window.toml").output_feeds_no_transmitter
    window.box.replay_buttons[0].click()
    window.tick()
    assert len(player.played) == 1
    assert player.stopped == 0
    window.box.close()
    window.over_deeds.compare()
    assert window.box.listening.no_transmitter.isChecked()
    window.box.close()


def test_a_carrier_on_the_simulated_set_is_none(
    window: MainWindow, qtbot: Any, monkeypatch: pytest.MonkeyPatch, reading: Callable[..., Any]
) -> None:
    press(qtbot, window, Qt.Key.Key_P)
    qtbot.waitUntil(
        lambda: window.sitting.poll() is not None and window.sitting.practice is not None, timeout=30000
    )
    listening = window.sitting.listening
    monkeypatch.setattr(type(listening), "reading", property(lambda _: reading()))
    assert window.sitting.why_silent() == ""


@pytest.fixture
def devices(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(
        "audiotest.window.setupdialog._devices_or_reason", lambda: ((INPUT,), (CARD, HEADPHONES), "")
    )


def test_the_output_is_chosen_in_the_set_up_and_remembered(
    window: MainWindow, qtbot: Any, tmp_path: Path, devices: None
) -> None:
    window.timer.start()
    press(qtbot, window, Qt.Key.Key_S)
    dialog = window.dialog
    assert dialog is not None
    assert dialog.output.currentText() == "the system's own"
    qtbot.waitUntil(lambda: dialog.output.count() == 3, timeout=30000)
    dialog.no_transmitter.click()
    assert load_settings(tmp_path / "window.toml").output_feeds_no_transmitter
    dialog.output.setFocus()
    qtbot.keyClick(dialog.output, Qt.Key.Key_End)
    assert load_settings(tmp_path / "window.toml").output_device == "Headphones, ALSA"
    # Another output: what was said of the first does not hold for it.
    assert not dialog.no_transmitter.isChecked()
    assert not load_settings(tmp_path / "window.toml").output_feeds_no_transmitter
    dialog.try_output.click()
    assert len(window.player.played) == 1  # type: ignore[attr-defined]
    # Unplugged it stays chosen, and says so.
    dialog._devices_found(((), (CARD,), ""))
    assert dialog.output.currentText() == "Headphones, ALSA  (not there now)"


def test_trying_the_output_waits_for_the_carrier(
    window: MainWindow, qtbot: Any, devices: None, carrier: dict[str, bool]
) -> None:
    press(qtbot, window, Qt.Key.Key_S)
    assert window.dialog is not None
    carrier["up"] = True
    window.dialog.try_output.click()
    assert window.player.played == []  # type: ignore[attr-defined]
    assert "a carrier is up" in window.sitting.message


def test_the_player_plays_on_the_output_that_is_named(monkeypatch: pytest.MonkeyPatch) -> None:
    calls: list[Any] = []

    class Output:
        def play(self, samples: Any, rate_hz: int, device: Any) -> None:
            calls.append(device)

        def stop(self) -> None:
            calls.append("stop")

    named = {"now": ""}
    monkeypatch.setattr("audiotest.window.playback._sounddevice", Output)
    monkeypatch.setattr("audiotest.tones.output.list_outputs", lambda: (CARD, HEADPHONES))
    player = Player(lambda: named["now"])
    player.play(CODES, 48000).join(5.0)
    named["now"] = "Headphones, ALSA"
    player.play(CODES, 48000).join(5.0)
    assert calls == [None, 7]
    assert player.sounding
    player.stop()
    assert not player.sounding
    named["now"] = "gone"
    player.play(CODES, 48000).join(5.0)
    assert "'gone' names 0 outputs" in str(player.trouble)


class Waiting:
    """Stands for the real instruments: notes what it is opened with, and holds the run until it is let go."""

    def __init__(self, window: MainWindow) -> None:
        self.window, self.calls, self.go = window, [], threading.Event()
        self.main_was_running: list[bool] = []

    def __call__(self, procedure: str, entry: Any, technician: Any, **more: Any) -> RehearsalBench:
        listening = self.window.sitting.listening
        self.main_was_running.append(listening is not None and listening.running)
        self.calls.append(more)
        self.go.wait(30.0)
        return RehearsalBench(Rehearsal(), technician)


@pytest.fixture
def opened(window: MainWindow, monkeypatch: pytest.MonkeyPatch) -> Waiting:
    made = Waiting(window)
    monkeypatch.setattr(benchwindow, "list_inputs", tuple)
    window.deeds["bench_measurements"].trigger()
    page = window.bench_deeds.page
    assert page is not None
    page._open_live = made
    return made


def measure_on_the_card(window: MainWindow, name: str) -> None:
    page = window.bench_deeds.page
    assert page is not None
    page.choice.live.setChecked(True)
    page.choice.choose(name)
    page.choice.start.click()
    page.consent.agreed.setChecked(True)
    page.consent.go.click()


def test_the_main_window_lets_go_of_the_input_while_the_bench_measures(
    window: MainWindow, qtbot: Any, audio: np.ndarray, opened: Waiting, over: MakeOver
) -> None:
    window.timer.start()
    window.sitting.open_source(lambda: SimulatedSource(audio, 48000, name="bench card", real_time=True))
    qtbot.waitUntil(lambda: window.sitting.listening is not None, timeout=30000)
    first = window.sitting.listening
    assert first is not None
    measure_on_the_card(window, "squelch")
    qtbot.waitUntil(lambda: len(opened.calls) == 1, timeout=30000)
    # The real instruments are opened only once the main window has let go.
    assert not first.running
    labels = window.bench.feed_labels
    qtbot.waitUntil(lambda: labels["source"].text() == "the bench measurements have the input", timeout=30000)
    assert labels["state"].text() == "○ not listening"
    put(window, over())
    window.activateWindow()
    qtbot.waitUntil(window.isActiveWindow)
    press(qtbot, window, Qt.Key.Key_R)
    assert window.player.played == []  # type: ignore[attr-defined]
    assert "the bench is measuring: not played" in window.sitting.message
    press(qtbot, window, Qt.Key.Key_L)
    assert "the bench is measuring" in window.sitting.message
    window.sitting.open_source(lambda: SimulatedSource(audio, 48000, name="other card", real_time=True))
    qtbot.wait(100)
    assert window.sitting.listening is None
    page = window.bench_deeds.page
    assert page is not None
    opened.go.set()
    page.stop()
    # What was asked for last is opened once the bench has done.
    qtbot.waitUntil(lambda: labels["source"].text() == "other card", timeout=30000)


def test_closing_the_bench_gives_the_input_back_and_a_rehearsal_does_not_take_it(
    window: MainWindow, qtbot: Any, audio: np.ndarray, opened: Waiting
) -> None:
    window.timer.start()
    window.sitting.open_source(lambda: SimulatedSource(audio, 48000, name="bench card", real_time=True))
    qtbot.waitUntil(lambda: window.sitting.listening is not None, timeout=30000)
    page = window.bench_deeds.page
    assert page is not None
    page.choice.choose("sinad")
    page.choice.start.click()
    assert not window.sitting.lent
    assert window.sitting.listening is not None
    page.stop()
    qtbot.waitUntil(lambda: page.pages.currentWidget() is page.outcome, timeout=60000)
    page.back()
    measure_on_the_card(window, "squelch")
    assert window.sitting.lent
    opened.go.set()
    page.close()
    assert not window.sitting.lent
    qtbot.waitUntil(lambda: window.sitting.listening is not None, timeout=30000)


def test_the_simulated_set_goes_on_while_the_bench_measures(
    window: MainWindow, qtbot: Any, opened: Waiting
) -> None:
    window.timer.start()
    window.practise()
    qtbot.waitUntil(lambda: window.sitting.practice is not None, timeout=30000)
    measure_on_the_card(window, "squelch")
    assert window.sitting.practice is not None
    assert window.sitting.why_silent() != ""
    opened.go.set()
    window.bench_deeds.shut()
    assert window.sitting.why_silent() == ""


def test_test_tones_go_where_the_learned_output_was_learned_or_else_where_the_set_up_says(
    window: MainWindow, qtbot: Any, opened: Waiting, tmp_path: Path
) -> None:
    page = window.bench_deeds.page
    assert page is not None
    window.remember(output_device="Headphones, ALSA")
    save_feed(MONITOR_FEED, tmp_path / "feed.toml")
    page.choice.fields.feed_file.line.setText(str(tmp_path / "feed.toml"))
    opened.go.set()
    for device, wanted in (("", "Headphones, ALSA"), ("Bench card", "Bench card")):
        file = tmp_path / f"out {device}.toml"
        save_output(OutputScale(name="out", full_scale_mv=500.0, ceiling_mv=700.0, device=device), file)
        page.choice.fields.output_file.line.setText(str(file))
        measure_on_the_card(window, "hum")
        assert page.choice.trouble.text() == ""
        assert f"Output: {wanted}." in page.consent.title.text()
        qtbot.waitUntil(lambda: page.run is not None and len(opened.calls) > 0, timeout=30000)
        assert opened.calls.pop()["scale"].device == wanted
        page.stop()
        qtbot.waitUntil(lambda: page.pages.currentWidget() is page.outcome, timeout=60000)
        page.back()
