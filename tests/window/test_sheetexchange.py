"""A sheet is handed out and taken in from the sheet page; what is broken, hostile or gone changes nothing."""

import json
import time
import zipfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PySide6.QtCore import QCoreApplication, QEvent, Qt
from PySide6.QtWidgets import QFileDialog, QPushButton

from audiotest.keep.bundle import SHEET_NAME, sheet_bundle
from audiotest.keep.clips import save_clip
from audiotest.keep.sheets import Sheets
from audiotest.window.mainwindow import MainWindow
from audiotest.window.sheetdesk import Question
from audiotest.window.sheetpage import SheetPage
from tests.window.handling import wait

pytestmark = pytest.mark.window
Change = Callable[[dict[str, Any], dict[str, bytes]], None]


@pytest.fixture
def file(tmp_path: Path) -> Path:
    """A sheet with a reading, a fault and a clip, and a set beside it."""
    path = tmp_path / "sheets.sqlite"
    noise = np.random.default_rng(7).integers(-9000, 9000, 4800).astype(np.int16)
    with Sheets(path) as sheets:
        visit = sheets.open_visit(sheets.add_set("Elm", "27", "0815", service="uk-27fm"), channel=3)
        sheets.type_reading(visit, "left", "power", "3.9 W")
        sheets.add_fault(visit, "dry <joint>", "soldered")
        clip = save_clip(tmp_path, "over 1", noise, 48000)
        sheets.attach(visit, "left", "clip", clip, title="over 1 as left")
        sheets.add_set("Birch", "40", "2", service="uk-27fm")
    return path


def asked(page: SheetPage, button: QPushButton) -> QFileDialog:
    """Press a button that asks for a file."""
    QCoreApplication.sendPostedEvents(None, QEvent.Type.DeferredDelete.value)
    button.click()
    (dialog,) = page.findChildren(QFileDialog)
    assert dialog.isVisible()
    return dialog


def bring(qtbot: Any, page: SheetPage, file: Path) -> str:
    """Take a file in by the button, and wait for what the page says about it."""
    dialog = asked(page, page.exchange.take_in)
    # As if it went away between the choice and the reading, for a file that is not there.
    dialog.fileSelected.emit(str(file))
    dialog.reject()
    assert page.said.text() == f"taking {file.name} in …"
    assert not page.exchange.take_in.isEnabled()
    wait(qtbot, lambda: not page.said.text().startswith("taking "))
    assert page.exchange.take_in.isEnabled()
    return page.said.text()


def books(file: Path) -> tuple[int, int, list[str]]:
    """How many sets and sheets there are, and which attached files."""
    with Sheets(file) as sheets:
        kept = sorted(path.name for path in sheets.files.glob("*")) if sheets.files.exists() else []
        return len(sheets.sets()), len(sheets.visits()), kept


def test_a_sheet_handed_out_as_zip_comes_in_whole_elsewhere(
    qtbot: Any, page: SheetPage, file: Path, tmp_path: Path
) -> None:
    target = tmp_path / "for a colleague.zip"
    dialog = asked(page, page.exchange.hand_out)
    assert dialog.acceptMode() == QFileDialog.AcceptMode.AcceptSave
    assert not dialog.testOption(QFileDialog.Option.DontConfirmOverwrite)
    dialog.selectFile(str(target.with_suffix("")))
    dialog.accept()
    wait(qtbot, lambda: page.said.text() == f"{target}: all of sheet 1")
    with Sheets(file) as sheets:
        assert target.read_bytes() == sheet_bundle(sheets, 1)[0]
        content = sheets.attachment_bytes(sheets.sheet(1).attachments[0])
    other = tmp_path / "other.sqlite"
    page.use_file(other)
    wait(qtbot, lambda: page.heading.text().startswith("No sets yet"))
    assert not page.exchange.hand_out.isEnabled()
    assert page.exchange.take_in.isEnabled()
    page.search.setText("what is not on the sheet that comes in")
    dialog = asked(page, page.exchange.take_in)
    assert dialog.fileMode() == QFileDialog.FileMode.ExistingFile
    assert dialog.acceptMode() == QFileDialog.AcceptMode.AcceptOpen
    dialog.selectFile(str(target))
    dialog.accept()
    wait(qtbot, lambda: page.said.text() == f"{target}: taken in as sheet 1")
    wait(qtbot, lambda: page.heading.text() == "Elm 27, serial 0815")
    assert page.search.text() == ""
    assert page.readings.cell_text(0, 2) == "✓ 3.90 W"
    assert page.notes.texts() == ["Fault: dry <joint>: soldered", "Clip as left: over 1 as left"]
    with Sheets(other) as sheets:
        assert sheets.attachment_bytes(sheets.sheet(1).attachments[0]) == content


def test_a_sheet_goes_out_as_data_and_comes_in_again(qtbot: Any, page: SheetPage, file: Path) -> None:
    dialog = asked(page, page.exchange.hand_out)
    endings = []
    for kind in dialog.nameFilters():
        dialog.filterSelected.emit(kind)
        endings.append(dialog.defaultSuffix())
    assert endings == ["zip", "json", "csv"]
    dialog.reject()
    for ending, words in (("json", "sheet 1"), ("csv", "readings of sheet 1")):
        target = file.with_name(f"out.{ending}")
        dialog = asked(page, page.exchange.hand_out)
        dialog.fileSelected.emit(str(target))
        dialog.reject()
        wait(qtbot, lambda target=target, words=words: page.said.text() == f"{target}: {words}")
    assert "carrier power" in target.read_text(encoding="utf-8-sig")
    # The set is known by its serial number: it gets a second sheet, which is the one that is shown.
    page._look(Question(set_id=2))
    wait(qtbot, lambda: page.question.set_id == 2)
    said = bring(qtbot, page, file.with_name("out.json"))
    assert said.endswith("taken in as sheet 2; sheet 1 of this set has the same opening time and readings")
    wait(qtbot, lambda: page.visits.count() == 2 and page.visit_id == 2)
    assert page.question.set_id == 1
    assert books(file)[:2] == (2, 2)


def test_what_is_missing_of_a_sheet_is_said_when_it_goes_out(
    qtbot: Any, page: SheetPage, file: Path, tmp_path: Path
) -> None:
    with Sheets(file) as sheets:
        next(sheets.files.glob("*.flac")).unlink()
    page.exchange.write(tmp_path / "out.zip")
    wait(qtbot, lambda: "all of sheet 1; " in page.said.text())
    assert ".flac" in page.said.text()


def repacked(file: Path, target: Path, change: Change) -> None:
    """The ZIP of a sheet with its document and its files changed."""
    with Sheets(file) as sheets:
        target.write_bytes(sheet_bundle(sheets, 1)[0])
    with zipfile.ZipFile(target) as old:
        files = {name: old.read(name) for name in old.namelist()}
    document = json.loads(files.pop(SHEET_NAME))
    change(document, files)
    with zipfile.ZipFile(target, "w", zipfile.ZIP_DEFLATED) as new:
        new.writestr(SHEET_NAME, json.dumps(document))
        for name, content in files.items():
            new.writestr(name, content)


def other_sound(document: dict[str, Any], files: dict[str, bytes]) -> None:
    (name,) = files
    files[name] = files[name][:-1] + b"!"


def way_out(document: dict[str, Any], files: dict[str, bytes]) -> None:
    files["../../way out.flac"] = files.pop(document["attachments"][0]["member"])
    document["attachments"][0]["member"] = "<b>gone</b>.flac"


def swollen(document: dict[str, Any], files: dict[str, bytes]) -> None:
    files[document["attachments"][0]["member"]] = bytes(65 * 1024 * 1024)


def out_of_bounds(document: dict[str, Any], files: dict[str, bytes]) -> None:
    document["readings"][0]["value"] = -1.0


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (other_sound, "is not the file that was attached"),
        (way_out, "no item named '<b>gone</b>.flac' in the archive"),
        (swollen, "is too large"),
        (out_of_bounds, "carrier power"),
    ],
)
def test_a_hostile_zip_is_refused_in_words_and_changes_nothing(
    qtbot: Any, page: SheetPage, file: Path, tmp_path: Path, change: Change, words: str
) -> None:
    hostile = tmp_path / "hostile.zip"
    repacked(file, hostile, change)
    before = books(file)
    said = bring(qtbot, page, hostile)
    assert said.startswith(f"⚠ {hostile}: is not a sheet that can be taken in: ")
    assert words in said
    assert page.said.textFormat() == Qt.TextFormat.PlainText
    assert page.said.accessibleName() == said
    assert books(file) == before
    assert page.visit_id == 1


@pytest.mark.parametrize(
    ("name", "content", "words"),
    [
        ("cut.zip", None, "is not a sheet that can be taken in"),
        ("letter.zip", b"Dear customer", "is not a sheet that can be taken in"),
        ("other.json", b'{"schema": "something-else"}', "its schema is not audiotest-sheet-1"),
        ("nowhere.zip", b"", "cannot be read: No such file or directory: check the name"),
    ],
)
def test_a_file_that_is_broken_or_not_there_is_named(
    qtbot: Any, page: SheetPage, file: Path, tmp_path: Path, name: str, content: bytes | None, words: str
) -> None:
    chosen = tmp_path / name
    if content is None:
        with Sheets(file) as sheets:
            content = sheet_bundle(sheets, 1)[0]
            content = content[: len(content) // 2]
    if content:
        chosen.write_bytes(content)
    before = books(file)
    said = bring(qtbot, page, chosen)
    assert said.startswith(f"⚠ {chosen}: ")
    assert words in said
    assert books(file) == before


def test_taking_in_does_not_hold_up_the_window_and_stays_with_its_books(
    qtbot: Any, window: MainWindow, page: SheetPage, file: Path, tmp_path: Path
) -> None:
    page.exchange.write(tmp_path / "out.json")
    wait(qtbot, lambda: page.said.text().endswith("sheet 1"))
    other = tmp_path / "other.sqlite"
    with Sheets(file) as sheets, sheets.all_or_nothing():
        # Another command is writing: this has to wait for it, the window has not.
        started_s = time.monotonic()
        page.use_file(other)
        page.exchange.read_in(tmp_path / "out.json")
        frames = window.frames
        assert time.monotonic() - started_s < 1.0
        wait(qtbot, lambda: window.frames > frames + 3)
        assert not page.exchange.take_in.isEnabled()
    # It went on the books that were open when it was asked for, and those that are open now show theirs.
    wait(qtbot, lambda: "taken in as sheet 2" in page.said.text())
    assert books(file)[:2] == (2, 2)
    assert page.path == other
    page.refresh()
    wait(qtbot, lambda: page.heading.text().startswith("No sets yet"))
    assert page.question == Question()
