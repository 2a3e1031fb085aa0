"""Overs put on a job sheet from the window, by key and by button."""

from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PySide6.QtCore import Qt

from audiotest.keep.sheets import Sheets
from audiotest.records import Over
from audiotest.window.mainwindow import MainWindow
from audiotest.window.practice import PRACTICE_FEED
from audiotest.window.sheetpage import SheetPage
from audiotest.window.sitting import Fresh
from tests.window.handling import wait
from tests.window.sheethandling import begin

pytestmark = pytest.mark.window
MakeOver = Callable[..., Over]


@pytest.fixture
def file(tmp_path: Path) -> Path:
    return tmp_path / "sheets.sqlite"


@pytest.fixture
def page(empty_page: SheetPage) -> SheetPage:
    return empty_page


def hear(window: MainWindow, over: Over, *, seconds: float = 8.0) -> None:
    """Let an invented over come in from an input, with noise for its sound."""
    heard = window.sitting.log.take(over, "14:05:09")
    codes = np.random.default_rng(1).integers(-9000, 9000, round(seconds * 48000)).astype(np.int16)
    window.sitting.audio = lambda number, around=True: codes  # type: ignore[method-assign, assignment]
    window._take(Fresh(heard=heard, outline=np.linspace(0, 1, 96, dtype=np.float32)))


def test_one_key_puts_the_chosen_over_and_its_clip_on_the_sheet(
    qtbot: Any, window: MainWindow, page: SheetPage, file: Path, over: MakeOver
) -> None:
    begin(qtbot, page)
    hear(window, over(19.0, 2.3))
    hear(window, over(5.0, 2.2, start_s=20.0))
    window.bench.tape.setCurrentRow(0)
    window.activateWindow()
    qtbot.waitUntil(window.isActiveWindow)
    qtbot.keyClick(window, Qt.Key.Key_1)
    wait(qtbot, lambda: page.said.text().startswith("over 1: "))
    window.bench.tape.setCurrentRow(1)
    qtbot.keyClick(window, Qt.Key.Key_2)
    wait(qtbot, lambda: page.said.text().startswith("over 2: "))
    assert "and the clip on sheet 1, as left" in page.said.text()
    assert window.sitting.message == page.said.text()
    wait(qtbot, lambda: page.notes.count() == 3)
    drive = next(row for row in range(page.readings.rowCount()) if "drive" in page.readings.cell_text(row, 0))
    assert page.readings.cell_text(drive, 1) == "✗ +19.0 dB  FAIL"
    assert page.readings.cell_text(drive, 2) == "✓ +5.0 dB"
    with Sheets(file) as sheets:
        kept = sheets.sheet(1).attachments
        assert [clip.stage for clip in kept] == ["found", "left"]
        assert kept[0].measured is not None
        assert kept[0].measured["over"]["limiter"]["drive_db"] == 19.0
        assert sheets.attachment_bytes(kept[1]).startswith(b"fLaC")


def test_an_over_without_audio_gives_its_figures_and_says_so(
    qtbot: Any, window: MainWindow, page: SheetPage, file: Path, over: MakeOver
) -> None:
    begin(qtbot, page)
    hear(window, over(5.0, 2.2), seconds=0.0)
    page.over_buttons["left"].click()
    wait(qtbot, lambda: "no clip: its audio is gone" in page.said.text())
    with Sheets(file) as sheets:
        assert sheets.sheet(1).attachments == ()
        assert len(sheets.sheet(1).readings) >= 4


def test_an_over_of_the_simulated_set_goes_on_a_sheet_only_when_it_is_asked_for_twice(
    qtbot: Any, window: MainWindow, page: SheetPage, file: Path, over: MakeOver
) -> None:
    begin(qtbot, page)
    window.sitting.log.feed = PRACTICE_FEED
    hear(window, over(5.0, 2.2))
    page.over_buttons["found"].click()
    assert "comes from the simulated set" in page.said.text()
    page.over_buttons["left"].click()
    assert "comes from the simulated set" in page.said.text()
    with Sheets(file) as sheets:
        assert sheets.sheet(1).readings == ()
    page.over_buttons["left"].click()
    wait(qtbot, lambda: page.said.text().endswith("on sheet 1, as left"))


def test_without_a_sheet_or_an_over_the_keys_say_what_is_missing(
    qtbot: Any, window: MainWindow, page: SheetPage
) -> None:
    window.sheet_deeds.over_as_found()
    assert window.sitting.message == "no sheet is chosen: J opens the job sheets"
    begin(qtbot, page)
    window.sheet_deeds.over_as_left()
    assert window.sitting.message == "no over yet"
