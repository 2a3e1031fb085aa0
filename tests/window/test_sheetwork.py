"""The work on a set, noted from the sheet page: faults, parts, the helper's report, withdrawing, closing."""

from pathlib import Path
from typing import Any

import pytest
from PySide6.QtCore import QCoreApplication, QEvent, Qt
from PySide6.QtWidgets import QDialogButtonBox, QLabel, QWidget

from audiotest.keep.sheets import Sheets
from audiotest.window.sheetpage import SheetPage
from audiotest.window.sheetwork import WORK, WorkForm
from tests.window.handling import wait

pytestmark = pytest.mark.window


@pytest.fixture
def file(tmp_path: Path) -> Path:
    path = tmp_path / "sheets.sqlite"
    with Sheets(path) as sheets:
        visit = sheets.open_visit(sheets.add_set("Elm", "27", "0815", service="uk-27fm"))
        sheets.type_reading(visit, "found", "power", "3.1 W")
        sheets.type_reading(visit, "left", "power", "3.9 W")
        sheets.type_reading(visit, "left", "power", "39 W", sure=True)
        sheets.type_reading(visit, "found", "swr", "1.4")
    return path


def ask(page: SheetPage, name: str) -> WorkForm:
    """Choose an entry of the menu."""
    page.work.actions[name].trigger()
    return shown(page)


def shown(page: SheetPage) -> WorkForm:
    QCoreApplication.sendPostedEvents(None, QEvent.Type.DeferredDelete.value)
    (form,) = page.findChildren(WorkForm)
    assert form.isVisible()
    return form


def agree(form: WorkForm) -> None:
    form.findChild(QDialogButtonBox).button(QDialogButtonBox.StandardButton.Ok).click()


def gone(qtbot: Any, page: SheetPage) -> None:
    wait(qtbot, lambda: page._form is None)


def test_a_fault_is_noted_and_its_cure_later(qtbot: Any, page: SheetPage, file: Path) -> None:
    assert not page.work.actions["cure"].isEnabled()
    form = ask(page, "fault")
    agree(form)
    wait(qtbot, lambda: "the fault" in form.said.text())
    assert form.isVisible()
    form.fields["Fault"].setText("cracked joint at the <mic> socket")
    agree(form)
    wait(qtbot, lambda: page.said.text() == "fault on sheet 1, not cured yet")
    wait(qtbot, lambda: page.notes.texts() == ["Fault: cracked joint at the <mic> socket: not cured yet"])
    assert page.work.actions["cure"].isEnabled()
    form = ask(page, "cure")
    assert form.fields["Fault"].currentText() == "cracked joint at the <mic> socket"
    form.fields["Cure"].setText("soldered")
    agree(form)
    wait(qtbot, lambda: page.notes.texts() == ["Fault: cracked joint at the <mic> socket: soldered"])
    with Sheets(file) as sheets:
        assert [fault.cure for fault in sheets.sheet(1).faults] == ["soldered"]
    page.work.cure()
    assert page.said.text() == "no fault on this sheet waits for its cure"


def test_a_fault_may_come_with_its_cure(qtbot: Any, page: SheetPage, file: Path) -> None:
    form = ask(page, "fault")
    form.fields["Fault"].setText("dry capacitor")
    form.fields["Cure"].setText("changed")
    agree(form)
    wait(qtbot, lambda: page.said.text() == "fault on sheet 1")
    gone(qtbot, page)
    with Sheets(file) as sheets:
        assert sheets.sheet(1).faults[0].cure == "changed"


def test_parts_and_the_helpers_report(qtbot: Any, page: SheetPage, file: Path) -> None:
    form = ask(page, "part")
    form.fields["Part"].setText("10 µF 16 V")
    form.fields["Count"].setValue(3)
    agree(form)
    wait(qtbot, lambda: page.said.text() == "3 × 10 µF 16 V on sheet 1")
    gone(qtbot, page)
    form = ask(page, "spoken")
    form.fields["The set is heard"].setCurrentIndex(1)
    form.fields["Readability, 1 to 5"].setValue(4)
    form.fields["Strength, 1 to 9"].setValue(7)
    form.fields["By whom"].setText("Ada")
    form.fields["Where from"].setText("the hill")
    form.fields["Words"].setText("clear, a little thin")
    agree(form)
    wait(qtbot, lambda: page.said.text() == "R4 S7 as left on sheet 1")
    wait(qtbot, lambda: page.notes.count() == 2)
    assert page.notes.texts() == [
        "Fitted: 3 × 10 µF 16 V", "Heard as left: R4 S7 clear, a little thin, Ada, the hill",
    ]  # fmt: skip


def test_a_reading_is_withdrawn_by_key_and_the_one_before_it_stands_again(
    qtbot: Any, page: SheetPage, file: Path
) -> None:
    table = page.readings
    assert table.cell_text(0, 2).startswith("? 39")
    page.work.withdraw()
    assert page.said.text().startswith("choose the reading first")
    page.activateWindow()
    qtbot.waitUntil(page.isActiveWindow)
    table.setFocus()
    table.setCurrentCell(1, 2)
    assert table.chosen_reading() is None
    table.setCurrentCell(0, 2)
    qtbot.keyClick(table, Qt.Key.Key_Delete)
    form = shown(page)
    assert any(label.text().startswith("carrier power, as left: 39") for label in form.findChildren(QLabel))
    form.reject()
    gone(qtbot, page)
    with Sheets(file) as sheets:
        assert all(reading.withdrawn is None for reading in sheets.sheet(1).readings)
    qtbot.keyClick(table, Qt.Key.Key_Delete)
    agree(shown(page))
    wait(qtbot, lambda: page.said.text().startswith("withdrawn: carrier power, as left: 39"))
    wait(qtbot, lambda: "3.90 W" in table.cell_text(0, 2))
    with Sheets(file) as sheets:
        assert sum(reading.withdrawn is not None for reading in sheets.sheet(1).readings) == 1


def test_the_set_leaves_the_bench_once_that_is_confirmed(qtbot: Any, page: SheetPage, file: Path) -> None:
    form = ask(page, "close")
    form.reject()
    gone(qtbot, page)
    with Sheets(file) as sheets:
        assert sheets.get_visit(1).closed is None
    agree(ask(page, "close"))
    wait(qtbot, lambda: page.said.text() == "sheet 1 is closed: the set has left the bench")
    wait(qtbot, lambda: ", left 20" in page.about.text())
    assert ", left 20" in page.visits.texts()[0]
    assert not page.work.actions["close"].isEnabled()


def test_without_a_sheet_there_is_no_work(qtbot: Any, page: SheetPage, tmp_path: Path) -> None:
    page.use_file(tmp_path / "new.sqlite")
    wait(qtbot, lambda: page.heading.text().startswith("No sets yet"))
    assert not page.work.button.isEnabled()
    page.work.fault()
    page.work.close()
    assert page.findChildren(WorkForm) == []


def test_menu_and_forms_have_names_and_keys(qtbot: Any, page: SheetPage) -> None:
    letters = [text[text.index("&") + 1].lower() for _, text in WORK]
    assert len(set(letters)) == len(letters)
    with Sheets(page.path) as sheets:
        sheets.add_fault(1, "hum")
    page.refresh()
    wait(qtbot, lambda: page.work.actions["cure"].isEnabled())
    for name in ("fault", "cure", "part", "spoken"):
        form = ask(page, name)
        labels = [
            label for label in form.findChildren(QLabel) if label.buddy() is not None and not label.isHidden()
        ]
        assert len(labels) == len(form.fields)
        letters = [label.text()[label.text().index("&") + 1].lower() for label in labels]
        assert len(set(letters)) == len(letters), letters
        for field in form.fields.values():
            assert isinstance(field, QWidget)
            assert field.accessibleName()
        form.reject()
        gone(qtbot, page)
