"""The bench window on real instruments: nothing is opened before a plain yes, and results are kept."""

import json
import threading
from pathlib import Path
from typing import Any

import pytest
from PySide6.QtCore import Qt

from audiotest.errors import DeviceError
from audiotest.feeds.inputs import InputDevice
from audiotest.feeds.scale import load_feed, save_feed
from audiotest.keep.sheets import Sheets
from audiotest.tones.cautions import HEADLINE
from audiotest.tones.level import OutputScale, save_output
from audiotest.tones.rehearsal import MONITOR_FEED
from audiotest.window import benchwindow
from audiotest.window.benchwindow import BenchWindow
from audiotest.window.settings import Settings
from tests.window.benchhandling import PATIENCE_MS, Opened, ended

pytestmark = pytest.mark.window


@pytest.fixture
def window(bench_window: BenchWindow) -> BenchWindow:
    return bench_window


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
