"""The job sheets in the window: sets, sheets, readings and reports, by hand and by key."""

import time
from pathlib import Path
from typing import Any

import pytest
from PySide6.QtCore import QCoreApplication, QEvent, Qt
from PySide6.QtWidgets import (
    QCheckBox,
    QComboBox,
    QFileDialog,
    QLabel,
    QLineEdit,
    QListWidget,
    QPushButton,
    QSpinBox,
    QTableWidget,
    QWidget,
)

from audiotest.keep.sheets import Sheets
from audiotest.records import LimitSet
from audiotest.window import sheetdesk
from audiotest.window.mainwindow import MainWindow
from audiotest.window.settings import load_settings
from audiotest.window.sheetdesk import Question, TypedReading
from audiotest.window.sheetforms import SetForm, VisitForm
from audiotest.window.sheetpage import SheetPage
from tests.window.handling import main_window, wait
from tests.window.sheethandling import begin, type_in

pytestmark = pytest.mark.window
HOSTILE = ("<b>bold</b> & co", "M" * 300, "דגם שבע", "two\nlines")


@pytest.fixture
def file(tmp_path: Path) -> Path:
    return tmp_path / "sheets.sqlite"


@pytest.fixture
def page(empty_page: SheetPage) -> SheetPage:
    return empty_page


def test_a_form_stays_with_what_was_typed_until_it_is_right(qtbot: Any, page: SheetPage, file: Path) -> None:
    page.ask_set()
    form = page.findChild(SetForm)
    form.serial.setText("0815")
    form.accept()
    wait(qtbot, lambda: form.said.text() == "⚠ a set needs a maker or a model: give at least one of them")
    assert form.isVisible()
    assert form.serial.text() == "0815"
    form.maker.setText("Elm")
    form.accept()
    wait(qtbot, lambda: page._form is None and page.question.set_id == 1)
    page.ask_visit()
    visit = page.findChild(VisitForm)
    visit.channel.setValue(99)
    visit.accept()
    wait(qtbot, lambda: "has no channel 99: choose other limits, or no channel" in visit.said.text())
    # Given up meanwhile: what goes wrong then is said on the page.
    visit.reject()
    page.add_visit("uk-27fm", 99, None, "")
    wait(qtbot, lambda: "has no channel 99" in page.said.text())
    with Sheets(file) as sheets:
        assert len(sheets.sets()) == 1
        assert sheets.visits() == []


def test_from_an_empty_file_to_a_judged_reading(qtbot: Any, page: SheetPage, file: Path) -> None:
    assert page.heading.text().startswith("No sets yet")
    assert not page.typing.isEnabled()
    assert not page.exchange.report.isEnabled()
    begin(qtbot, page)
    assert page.heading.text() == "Elm 27, serial 0815"
    assert page.about.text().startswith("Sheet 1")
    type_in(qtbot, page, "deviation", "2k9")
    type_in(qtbot, page, "deviation", "2,3 kHz", stage="left")
    wait(qtbot, lambda: page.readings.cell_text(0, 2) != "")
    assert page.readings.cell_text(0, 0) == "peak deviation"
    assert page.readings.cell_text(0, 1) == "✗ 2.90 kHz  FAIL"
    assert page.readings.cell_text(0, 2) == "✓ 2.30 kHz"
    assert page.readings.cell_text(0, 3) == "±2.5 kHz"
    assert page.summary.text().startswith("As left, 1 readings held against limits, none outside")
    assert page.course.texts()[0].endswith("peak deviation 2.30 kHz")
    assert page.notes.texts() == ["Complaint: quiet on the air"]
    with Sheets(file) as sheets:
        assert [reading.typed for reading in sheets.sheet(1).readings] == ["2k9", "2,3 kHz"]


def test_a_negative_reading_has_a_minus_sign_wherever_the_page_shows_it(qtbot: Any, page: SheetPage) -> None:
    begin(qtbot, page)
    type_in(qtbot, page, "frequency-error", "-312 Hz")
    wait(qtbot, lambda: page.readings.cell_text(0, 1) != "")
    shown = (page.readings.cell_text(0, 1), page.said.text(), page.course.texts()[0])
    assert not [text for text in shown if "−312 Hz" not in text]


@pytest.mark.parametrize(
    ("key", "text", "words"),
    [
        ("deviation", "2500", "has no unit"),
        ("deviation", "loud", "is not such a reading: write it like 1.8 kHz or 2k5"),
        ("power", "1,500 W", "can be read in two ways"),
        ("swr", "0.5", "SWR is never below 1"),
        ("s-meter", "50 uV", "name the point of the scale, such as S9"),
        ("deviation", "<b>2</b>", "'<b>2</b>' is not such a reading"),
    ],
)
def test_a_reading_that_cannot_be_is_refused_in_words(
    qtbot: Any, page: SheetPage, file: Path, key: str, text: str, words: str
) -> None:
    begin(qtbot, page)
    type_in(qtbot, page, key, text)
    assert page.said.text().startswith("⚠ ")
    assert words in page.said.text()
    assert "--" not in page.said.text()
    assert page.said.textFormat() == Qt.TextFormat.PlainText
    assert page.typing.text.text() == text
    assert not page.typing.sure.isVisible()
    with Sheets(file) as sheets:
        assert sheets.sheet(1).readings == ()


def test_an_unlikely_reading_passes_when_somebody_says_that_it_is_right(
    qtbot: Any, page: SheetPage, file: Path
) -> None:
    begin(qtbot, page)
    type_in(qtbot, page, "deviation", "25 kHz")
    assert "expected 0.05 to 15 kHz" in page.said.text()
    assert page.typing.sure.isVisible()
    page.typing.sure.setChecked(True)
    page.typing.button.click()
    wait(qtbot, lambda: page.said.text() == "peak deviation, as found: 25.00 kHz")
    assert not page.typing.sure.isVisible()
    assert page.typing.text.text() == ""
    type_in(qtbot, page, "s-meter", "50 uV", point="s9")
    wait(qtbot, lambda: page.readings.rowCount() == 2)
    assert page.readings.cell_text(1, 0) == "S-meter reads S9"


def test_search_history_and_other_sheets(qtbot: Any, page: SheetPage, file: Path) -> None:
    with Sheets(file) as sheets:
        first = sheets.add_set("Elm", "27", "1", service="uk-27fm")
        second = sheets.add_set("Birch", "40", "2", service="uk-27fm")
        old = sheets.open_visit(first)
        sheets.type_reading(old, "left", "power", "3.8 W")
        sheets.close_visit(old)
        new = sheets.open_visit(first, complaint="no audio")
        sheets.add_fault(new, "cracked solder joint")
        sheets.open_visit(second)
    page.refresh()
    wait(qtbot, lambda: page.sets.count() == 2)
    qtbot.keyClicks(page.search, "solder")
    wait(qtbot, lambda: page.sets.texts() == ["Elm 27, serial 1 (on: sheet 2, fault)"])
    page.sets.setCurrentRow(0)
    wait(qtbot, lambda: page.visit_id == new)
    assert page.visits.count() == 2
    assert page.notes.texts() == ["Complaint: no audio", "Fault: cracked solder joint: not cured yet"]
    assert [text.split("\n")[1] for text in page.course.texts()] == [
        "no readings yet", "carrier power 3.80 W",
    ]  # fmt: skip
    page.visits.setCurrentRow(0)
    wait(qtbot, lambda: page.readings.rowCount() == 1)
    assert page.visit_id == old
    page.search.clear()
    qtbot.keyClicks(page.search, "no such set")
    wait(qtbot, lambda: page.sets.count() == 0)


@pytest.mark.parametrize("name", HOSTILE)
def test_hostile_names_are_shown_as_they_are(qtbot: Any, page: SheetPage, name: str, tmp_path: Path) -> None:
    begin(qtbot, page, maker=name, model=name, serial=name)
    shown = sheetdesk.one_line(f"{name} {name}, serial {name}")
    assert page.heading.text() == shown
    assert page.sets.texts() == [shown]
    assert "<b>" not in page.sets.item(0).toolTip()
    assert page.width() <= page.screen().availableSize().width()
    target = tmp_path / "out.html"
    page.exchange.write(target)
    wait(qtbot, lambda: "report on sheet 1" in page.said.text())
    assert "<b>bold" not in target.read_text(encoding="utf-8")


def test_report_as_page_and_as_pdf(qtbot: Any, page: SheetPage, tmp_path: Path) -> None:
    begin(qtbot, page)
    type_in(qtbot, page, "power", "4 W", stage="left")
    for name, start in (("out.html", b"<!"), ("out.pdf", b"%PDF")):
        page.exchange.write(tmp_path / name)
        wait(qtbot, lambda name=name: name in page.said.text() and "report on" in page.said.text())
        assert (tmp_path / name).read_bytes().lower().startswith(start.lower())
    page.exchange.write(tmp_path / "nowhere" / "out.pdf")
    wait(qtbot, lambda: page.said.text().startswith("⚠") and "cannot be written" in page.said.text())
    page.exchange.write(tmp_path / "out.doc")
    wait(qtbot, lambda: "end the name in .html, .pdf, .csv, .json or .zip" in page.said.text())


def test_the_files_are_asked_for_without_holding_anything_up(
    qtbot: Any, page: SheetPage, tmp_path: Path
) -> None:
    begin(qtbot, page)
    page.exchange.report.click()
    dialog = page.findChild(QFileDialog)
    assert dialog.isVisible()
    assert dialog.defaultSuffix() == "pdf"
    dialog.filterSelected.emit("Page for the browser (*.html)")
    assert dialog.defaultSuffix() == "html"
    dialog.fileSelected.emit(str(tmp_path / "asked.html"))
    wait(qtbot, lambda: "asked.html: report on sheet 1" in page.said.text())
    dialog.reject()
    QCoreApplication.sendPostedEvents(None, QEvent.Type.DeferredDelete.value)
    page.other_file.click()
    dialog = page.findChild(QFileDialog)
    assert dialog.testOption(QFileDialog.Option.DontConfirmOverwrite)
    dialog.fileSelected.emit(str(tmp_path / "other.sqlite"))
    wait(qtbot, lambda: page.path == tmp_path / "other.sqlite")
    dialog.reject()


def test_two_windows_work_on_one_file(
    qtbot: Any, window: MainWindow, page: SheetPage, limits: LimitSet, file: Path, tmp_path: Path
) -> None:
    begin(qtbot, page)
    with main_window(limits, tmp_path, sheets_file=str(file)) as other:
        other.timer.start()
        other.sheet_deeds.job_sheets()
        second = other.sheet_deeds.page
        assert second is not None
        wait(qtbot, lambda: second.sets.count() == 1)
        second.sets.setCurrentRow(0)
        wait(qtbot, lambda: second.visit_id == 1)
        for k in range(3):
            type_in(qtbot, page, "power", f"{k + 1} W")
            type_in(qtbot, second, "swr", f"1.{k + 1}")
        page.refresh()
        second.refresh()
        for one in (page, second):
            wait(qtbot, lambda one=one: one.readings.cell_text(0, 1).startswith("✓ 3.00 W"))
            wait(qtbot, lambda one=one: one.readings.cell_text(1, 1).startswith("✓ 1.30"))
        with Sheets(file) as sheets:
            assert len(sheets.sheet(1).readings) == 6
        # Without being asked it looks again by itself.
        with Sheets(file) as sheets:
            sheets.type_reading(1, "left", "power", "4 W")
        page._look_while_seen()
        wait(qtbot, lambda: page.readings.cell_text(0, 2).startswith("✓ 4.00 W"))


def test_a_file_that_is_none_is_refused_and_the_old_one_stays(
    qtbot: Any, window: MainWindow, page: SheetPage, file: Path, tmp_path: Path
) -> None:
    begin(qtbot, page)
    wrong = tmp_path / "letter.sqlite"
    wrong.write_text("Dear customer" * 100)
    page.use_file(wrong)
    wait(qtbot, lambda: page.said.text().startswith("⚠") and "letter.sqlite" in page.said.text())
    assert page.path == file
    page.use_file(tmp_path / "new.sqlite")
    wait(qtbot, lambda: page.heading.text().startswith("No sets yet"))
    assert load_settings(tmp_path / "window.toml").sheets_file == str(tmp_path / "new.sqlite")


def test_the_window_is_not_held_up_by_a_file_that_is_busy(
    qtbot: Any, window: MainWindow, page: SheetPage, file: Path
) -> None:
    begin(qtbot, page)
    with Sheets(file) as sheets, sheets.all_or_nothing():
        started_s = time.monotonic()
        page.type_reading(TypedReading(stage="found", quantity="power", point="", text="4 W"))
        frames = window.frames
        assert time.monotonic() - started_s < 1.0
        wait(qtbot, lambda: window.frames > frames + 3)
        assert page.readings.rowCount() == 0
    wait(qtbot, lambda: page.readings.rowCount() == 1)


def test_an_answer_to_an_older_question_is_not_shown(qtbot: Any, page: SheetPage, file: Path) -> None:
    begin(qtbot, page)
    old = sheetdesk.look(file, Question())
    page._show(old)
    assert page.heading.text() == "Elm 27, serial 0815"


def test_every_part_has_a_name_for_the_screen_reader_and_a_key(page: SheetPage) -> None:
    for kind in (QLineEdit, QComboBox, QListWidget, QTableWidget, QSpinBox):
        for part in page.findChildren(kind):
            inside: QWidget | None = part.parentWidget()
            if isinstance(inside, QComboBox | QSpinBox) or part.objectName().startswith("qt_"):
                continue
            assert part.accessibleName(), part
    texts = [part.text() for kind in (QPushButton, QCheckBox) for part in page.findChildren(kind)]
    texts += [
        label.text()
        for label in page.findChildren(QLabel)
        if label.buddy() is not None and not label.isHidden()
    ]
    texts += [page.tabs.tabText(k) for k in range(page.tabs.count())]
    assert all("&" in text for text in texts if text), texts
    letters = [text[text.index("&") + 1].lower() for text in texts if text]
    assert len(letters) == len(set(letters)), sorted(letters)
