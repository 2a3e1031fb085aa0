"""The bench window rehearses: every page, on the offscreen platform."""

import time
from typing import Any

import pytest
from PySide6.QtCore import Qt, QTimer
from PySide6.QtWidgets import QAbstractButton, QAbstractSpinBox, QComboBox, QLineEdit, QListWidget, QWidget

from audiotest.window.benchlist import ENTRIES
from audiotest.window.benchwindow import BenchWindow
from tests.window.benchhandling import PATIENCE_MS, Opened, ended, rehearse

pytestmark = pytest.mark.window


@pytest.fixture
def window(bench_window: BenchWindow) -> BenchWindow:
    return bench_window


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


def test_a_rehearsal_is_not_kept(qtbot: Any, window: BenchWindow) -> None:
    rehearse(qtbot, window, "rx-distortion")
    window.keep()
    assert "rehearsal" in window.outcome.said.text()
    assert window.box is None


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
            # A screen reader says the text of a button that has no name of its own.
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
