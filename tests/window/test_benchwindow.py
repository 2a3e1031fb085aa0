"""The bench window: every page, on the offscreen platform."""

import json
import threading
import time
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from PySide6.QtCore import QCoreApplication, QEvent, Qt, QTimer
from PySide6.QtWidgets import QAbstractButton, QAbstractSpinBox, QComboBox, QLineEdit, QListWidget, QWidget

from audiotest.errors import DeviceError
from audiotest.feeds.inputs import InputDevice
from audiotest.feeds.scale import load_feed, save_feed
from audiotest.keep.sheets import Sheets
from audiotest.tones.cautions import HEADLINE
from audiotest.tones.level import OutputScale, save_output
from audiotest.tones.rehearsal import MONITOR_FEED, Rehearsal
from audiotest.window import benchwindow
from audiotest.window.benchlist import ENTRIES
from audiotest.window.benchrun import RehearsalBench
from audiotest.window.benchwindow import BenchWindow
from audiotest.window.settings import Settings

pytestmark = pytest.mark.window
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


@pytest.fixture
def opened() -> Opened:
    return Opened()


@pytest.fixture
def window(qtbot: Any, tmp_path: Path, opened: Opened) -> Iterator[BenchWindow]:
    remembered = Remembered()
    device = InputDevice(index=3, name="Bench card", channels=2, host_api="ALSA", default_rate_hz=48000)
    made = BenchWindow(remembered, remembered.change, tmp_path, open_live=opened, inputs=lambda: (device,))
    made.open_up()
    yield made
    made.shut()
    made.deleteLater()
    QCoreApplication.sendPostedEvents(None, QEvent.Type.DeferredDelete.value)


def ended(window: BenchWindow) -> bool:
    return window.pages.currentWidget() is window.outcome


def rehearse(qtbot: Any, window: BenchWindow, name: str) -> None:
    window.choice.choose(name)
    window.choice.start.click()
    qtbot.waitUntil(lambda: ended(window), timeout=PATIENCE_MS)


def test_every_measurement_is_listed_with_what_it_needs(window: BenchWindow) -> None:
    names = [
        window.choice.list.item(row).data(Qt.ItemDataRole.UserRole)
        for row in range(window.choice.list.count())
    ]
    assert set(names) - {None} == set(ENTRIES)
    for name in ENTRIES:
        window.choice.choose(name)
        assert window.choice.chosen == name
        assert "needs " in window.choice.list.currentItem().text()


def test_a_rehearsal_ends_with_figures_and_asks_no_consent(
    qtbot: Any, window: BenchWindow, opened: Opened
) -> None:
    rehearse(qtbot, window, "distortion")
    assert window.outcome.title.text() == (
        "Transmitter distortion: complete, rehearsed on the simulated radio"
    )
    assert window.outcome.table.rowCount() == 4
    texts = [window.outcome.table.item(1, column).text() for column in range(5)]
    assert texts[0] == "distortion, de-emphasised"
    assert texts[1].endswith(" %")
    assert texts[3] == "ref. most 5.0"
    assert texts[4] == "✓ inside"
    assert "TIA-603" in window.outcome.notes.toPlainText()
    assert opened.calls == []


def test_the_window_lives_while_it_measures(qtbot: Any, window: BenchWindow) -> None:
    beats: list[float] = []
    pulse = QTimer()
    pulse.setInterval(10)
    pulse.timeout.connect(lambda: beats.append(time.monotonic()))
    pulse.start()
    window.choice.choose("response")
    window.choice.start.click()
    # A click on another control is handled while the measuring goes on.
    qtbot.waitUntil(lambda: window.run is not None and window.run.moment.steps_done >= 2, timeout=PATIENCE_MS)
    assert window.running_now
    begun = len(beats)
    qtbot.keyClick(window, Qt.Key.Key_Tab)
    qtbot.waitUntil(lambda: len(beats) >= begun + 10 or ended(window), timeout=PATIENCE_MS)
    assert len(beats) >= begun + 10
    qtbot.waitUntil(lambda: ended(window), timeout=PATIENCE_MS)
    assert {curve.name for curve in window.outcome.plot.shown} >= {"response", "mask low", "mask high"}


def test_esc_stops_and_keeps_what_was_measured(qtbot: Any, window: BenchWindow) -> None:
    window.choice.choose("sensitivity")
    window.choice.start.click()
    qtbot.waitUntil(lambda: window.run is not None and window.run.moment.steps_done >= 3, timeout=PATIENCE_MS)
    qtbot.keyClick(window, Qt.Key.Key_Escape)
    qtbot.waitUntil(lambda: ended(window), timeout=PATIENCE_MS)
    assert "NOT COMPLETE" in window.outcome.title.text()
    assert "stopped early" in window.outcome.notes.toPlainText()
    assert len(window.outcome.plot.shown[0].points) >= 3
    qtbot.keyClick(window, Qt.Key.Key_Escape)
    assert window.pages.currentWidget() is window.choice
    assert window.isVisible()


def test_questions_are_answered_by_enter_and_by_typing(qtbot: Any, window: BenchWindow) -> None:
    window.choice.automatic.setChecked(False)
    window.choice.choose("rx-hum")
    window.choice.start.click()
    running = window.running
    qtbot.waitUntil(lambda: running.done.isVisible(), timeout=PATIENCE_MS)
    assert running.prompt.text() == "Open the squelch."
    assert not running.field.isVisible()
    qtbot.keyClick(window, Qt.Key.Key_Return)
    qtbot.waitUntil(running.field.isVisible, timeout=PATIENCE_MS)
    assert running.field.hasFocus()
    assert running.prompt.text() == "Set the generator's level: −47 dBm"
    assert running.unit.text() == "dBm"
    running.field.setText("loud")
    qtbot.keyClick(running.field, Qt.Key.Key_Return)
    assert "is not a number" in running.below.text()
    running.field.setText("500")
    qtbot.keyClick(running.field, Qt.Key.Key_Return)
    assert "500 is not from -174 to 30" in running.below.text()
    running.field.setText("−46,5")
    qtbot.keyClick(running.field, Qt.Key.Key_Return)
    qtbot.waitUntil(lambda: running.prompt.text().startswith("Modulate"), timeout=PATIENCE_MS)
    assert window.run is not None
    while not ended(window):
        qtbot.keyClick(window, Qt.Key.Key_Return)
        qtbot.wait(20)
        if running.stop.hasFocus():
            # Enter with the focus on the stop must not stop.
            qtbot.keyClick(running.stop, Qt.Key.Key_Return)
    assert window.run.moment.report.complete


@pytest.fixture
def on_the_card(window: BenchWindow, tmp_path: Path) -> BenchWindow:
    save_output(OutputScale(name="out", full_scale_mv=500.0, ceiling_mv=700.0), tmp_path / "out.toml")
    save_feed(MONITOR_FEED, tmp_path / "feed.toml")
    window.choice.live.setChecked(True)
    window.choice.fields.output_file.line.setText(str(tmp_path / "out.toml"))
    window.choice.fields.feed_file.line.setText(str(tmp_path / "feed.toml"))
    return window


def test_nothing_is_opened_before_a_plain_yes(qtbot: Any, on_the_card: BenchWindow, opened: Opened) -> None:
    window = on_the_card
    window.choice.choose("hum")
    window.choice.start.click()
    assert window.pages.currentWidget() is window.consent
    assert HEADLINE in window.consent.headline.text()
    assert "dummy load" in window.consent.rest.text()
    assert not window.consent.go.isEnabled()
    qtbot.keyClick(window, Qt.Key.Key_Return)  # the focus is on the way back
    assert window.pages.currentWidget() is window.choice
    window.choice.start.click()
    window.consent.go.click()  # not enabled
    window._agreed()  # nor by any other way
    assert opened.calls == []
    assert window.run is None
    window.consent.agreed.setChecked(True)
    window.consent.go.click()
    qtbot.waitUntil(lambda: len(opened.calls) == 1, timeout=PATIENCE_MS)
    assert window.pages.currentWidget() is window.running
    qtbot.waitUntil(window.running.done.isVisible, timeout=PATIENCE_MS)
    assert window.running.prompt.text() == "Key the set."
    qtbot.keyClick(window, Qt.Key.Key_Return)
    qtbot.waitUntil(lambda: "SET KEYED" in window.running.state.text(), timeout=PATIENCE_MS)
    while not ended(window):
        qtbot.keyClick(window, Qt.Key.Key_Return)
        qtbot.wait(20)
    assert "unkey it now" in window.outcome.trouble.text()
    # The yes holds for one run only.
    window.outcome.buttons["again"].click()
    assert window.pages.currentWidget() is window.consent
    assert not window.consent.agreed.isChecked()
    assert len(opened.calls) == 1


def test_what_is_missing_is_said_on_the_first_page(window: BenchWindow, opened: Opened) -> None:
    window.choice.live.setChecked(True)
    window.choice.choose("limiting")
    window.choice.start.click()
    assert "needs a learned output" in window.choice.trouble.text()
    window.choice.fields.output_file.line.setText("/nowhere.toml")
    window.choice.start.click()
    assert "/nowhere.toml" in window.choice.trouble.text()
    assert window.pages.currentWidget() is window.choice
    assert opened.calls == []


def test_a_device_that_does_not_open_is_said_at_the_end(
    qtbot: Any, on_the_card: BenchWindow, opened: Opened
) -> None:
    opened.refusal = DeviceError("the input cannot be opened", "close other programs that use it")
    on_the_card.choice.choose("squelch")
    on_the_card.choice.start.click()
    assert "Never key a transmitter" in on_the_card.consent.headline.text()
    on_the_card.consent.agreed.setChecked(True)
    on_the_card.consent.go.click()
    qtbot.waitUntil(lambda: ended(on_the_card), timeout=PATIENCE_MS)
    assert "the input cannot be opened" in on_the_card.outcome.trouble.text()


def live_run(qtbot: Any, window: BenchWindow, name: str) -> None:
    window.choice.choose(name)
    window.choice.start.click()
    window.consent.agreed.setChecked(True)
    window.consent.go.click()
    while not ended(window):
        qtbot.keyClick(window, Qt.Key.Key_Return)
        qtbot.wait(10)


def test_a_result_is_kept_on_a_sheet_and_saved(
    qtbot: Any, on_the_card: BenchWindow, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    window, file = on_the_card, tmp_path / "sheets.sqlite"
    monkeypatch.setattr(benchwindow, "sheets_path", lambda: file)
    live_run(qtbot, window, "distortion")
    window.keep()
    assert not window.box.keep.isEnabled()  # type: ignore[union-attr]
    assert "sheet begin" in window.box.word.text()  # type: ignore[union-attr]
    with Sheets(file) as sheets:
        set_id = sheets.add_set(maker="Invented", model="One", serial="7", service="uk-27fm")
        visit = sheets.open_visit(set_id)
    window.box.refresh()  # type: ignore[union-attr]
    window.box.stages["found"].setChecked(True)  # type: ignore[union-attr]
    window.box.keep.click()  # type: ignore[union-attr]
    assert "1 figures and the plot are on sheet" in window.outcome.said.text()
    with Sheets(file) as sheets:
        (reading,) = sheets.sheet(visit if isinstance(visit, int) else visit.id).readings
        assert (reading.quantity, reading.stage) == ("distortion", "found")
    window.save_as(str(tmp_path / "result.json"))
    saved = json.loads((tmp_path / "result.json").read_text(encoding="utf-8"))
    assert saved["schema"] == "audiotest-bench-1"
    assert saved["rehearsed"] is False
    window.save_as("/nowhere/at/all.json")
    assert "cannot be written" in window.outcome.said.text()


def test_a_rehearsal_is_not_kept(qtbot: Any, window: BenchWindow) -> None:
    rehearse(qtbot, window, "rx-distortion")
    window.keep()
    assert "rehearsal" in window.outcome.said.text()
    assert window.box is None


def test_a_carrier_null_is_stored_as_a_feed(qtbot: Any, on_the_card: BenchWindow, tmp_path: Path) -> None:
    window = on_the_card
    window.choice.fields.deemphasis.setCurrentIndex(1)
    live_run(qtbot, window, "carrier-null")
    assert window.outcome.buttons["feed"].isVisible()
    window.store_feed_as(str(tmp_path / "null.toml"))
    feed = load_feed(tmp_path / "null.toml")
    assert feed.method == "carrier-null"
    assert feed.scale_khz_per_fs == pytest.approx(8.0, rel=0.02)
    assert window.choice.fields.feed_file.text() == str(tmp_path / "null.toml")


def test_live_sinad_runs_until_it_is_stopped_and_is_complete_then(qtbot: Any, window: BenchWindow) -> None:
    window.choice.choose("sinad")
    window.choice.start.click()
    # What the window shows follows the run by a tick of its timer.
    qtbot.waitUntil(lambda: window.running.live.text().endswith(" dB"), timeout=PATIENCE_MS)
    assert "readings" in window.running.progress.format()
    window.running.stop.click()
    qtbot.waitUntil(lambda: ended(window), timeout=PATIENCE_MS)
    assert "SINAD, live: complete" in window.outcome.title.text()


def test_a_null_by_hand_shows_carrier_and_sidebands_and_is_caught(qtbot: Any, window: BenchWindow) -> None:
    window.choice.fields.seen_by.setCurrentIndex(1)
    rehearse(qtbot, window, "carrier-null-hand")
    assert "Carrier null by hand: complete" in window.outcome.title.text()
    names = {curve.name for curve in window.outcome.plot.shown}
    assert names == {"carrier", "first sidebands", "|J0|", "|J1|"}
    assert window.outcome.buttons["feed"].isVisible()
    window.store_feed()
    assert "simulated radio only" in window.outcome.said.text()


def test_a_null_in_i_and_q_is_opened_on_two_channels(qtbot: Any, window: BenchWindow, opened: Opened) -> None:
    window.choice.live.setChecked(True)
    window.choice.fields.seen_by.setCurrentIndex(1)
    window.choice.fields.swapped.setChecked(True)
    opened.refusal = DeviceError("not here", "never mind")
    for name in ("carrier-null-hand", "squelch"):
        window.choice.choose(name)
        window.choice.start.click()
        window.consent.agreed.setChecked(True)
        window.consent.go.click()
        qtbot.waitUntil(lambda: ended(window), timeout=PATIENCE_MS)
        window.back()
    assert opened.calls[0][1]["iq"] is True
    assert opened.calls[0][1]["swapped"] is True
    assert opened.calls[1][1]["iq"] is False


def test_closing_in_the_middle_ends_the_run_and_it_opens_again(qtbot: Any, window: BenchWindow) -> None:
    window.choice.choose("limiting")
    window.choice.start.click()
    run = window.run
    assert run is not None
    window.close()
    assert run.wait(10.0)
    window.open_up()
    assert window.pages.currentWidget() is window.choice
    rehearse(qtbot, window, "rx-distortion")


def test_everything_has_a_name_for_a_screen_reader(window: BenchWindow) -> None:
    for kind in (QAbstractButton, QLineEdit, QComboBox, QAbstractSpinBox, QListWidget):
        for widget in window.findChildren(kind):
            if widget.parent() is not None and isinstance(widget.parent(), QAbstractSpinBox | QComboBox):
                continue
            if widget.objectName().startswith("qt_") or "ScrollBar" in type(widget).__name__:
                continue
            text = widget.text() if isinstance(widget, QAbstractButton) else ""
            assert text or widget.accessibleName(), widget


def visible(widget: QWidget) -> bool:
    return widget.isVisible()


def test_only_what_matters_is_asked_for(window: BenchWindow) -> None:
    fields = window.choice.fields
    window.choice.choose("squelch")
    assert not visible(fields.start_mv)
    assert not visible(fields.device)
    window.choice.live.setChecked(True)
    assert visible(fields.device)
    assert not visible(fields.output_file)
    window.choice.choose("limiting")
    assert visible(fields.output_file)
    assert visible(fields.feed_file)
    window.choice.choose("frequency-iq")
    assert visible(fields.swapped)
    assert not visible(fields.channel)


def test_the_instruments_are_opened_only_when_the_inputs_have_been_listed(
    qtbot: Any, tmp_path: Path, opened: Opened
) -> None:
    # Listing starts the sound system again: whatever opens meanwhile is lost.
    listed, settings = threading.Event(), Settings(appearance="light")

    def slowly() -> tuple[InputDevice, ...]:
        assert listed.wait(60.0)
        return ()

    window = BenchWindow(lambda: settings, lambda **changes: None, tmp_path, open_live=opened, inputs=slowly)
    window.open_up()
    window.choice.live.setChecked(True)
    window.choice.choose("squelch")
    window.choice.start.click()
    window.consent.agreed.setChecked(True)
    window.consent.go.click()
    qtbot.wait(200)
    assert opened.calls == []
    listed.set()
    qtbot.waitUntil(lambda: len(opened.calls) == 1, timeout=PATIENCE_MS)
    window.shut()
