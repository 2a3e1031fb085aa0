"""A job sheet of an invented set, filled in and opened on the page; for pictures."""

from pathlib import Path

from audiotest.keep.sheetrecords import Stage as StageOfWork
from audiotest.keep.sheets import Sheets
from audiotest.window.mainwindow import MainWindow
from audiotest.window.sheetdesk import Question
from audiotest.window.sheetpage import SheetPage
from tests.window.shots import Stage

TYPED: tuple[tuple[StageOfWork, str, str], ...] = (
    ("found", "supply-voltage", "13.8 V"), ("found", "power", "3.1 W"), ("left", "power", "3.9 W"),
    ("found", "swr", "1.4"), ("found", "frequency", "27.79195 MHz"), ("left", "frequency", "27.79130 MHz"),
    ("found", "sensitivity", "0.8 uV"), ("left", "sensitivity", "0.35 uV"),
)  # fmt: skip


def fill(folder: Path) -> Path:
    """A file of sheets with one set and its sheet."""
    file = folder / "sheets.sqlite"
    with Sheets(file) as sheets:
        radio = sheets.add_set("Alder", "27-40 FM", "A1043", service="uk-27fm")
        visit = sheets.open_visit(radio, channel=20, complaint="distorted when spoken to loudly")
        for stage, quantity, text in TYPED:
            sheets.type_reading(visit, stage, quantity, text)
        sheets.add_fault(visit, "cracked joint at the microphone socket")
    return file


def opened(stage: Stage, window: MainWindow, file: Path) -> SheetPage:
    """The page with that sheet; work is done at once, there is no timer to wait for."""
    window.remember(sheets_file=str(file))
    window.sheet_deeds.job_sheets()
    page = window.sheet_deeds.page
    assert page is not None
    page._look(Question(set_id=1))
    stage.settle()
    return page
