"""What the tests of the sheet page have in common: a set and its sheet begun, readings typed."""

from typing import Any

from PySide6.QtCore import Qt

from audiotest.window.sheetforms import SetForm, VisitForm
from audiotest.window.sheetpage import SheetPage
from tests.window.handling import wait


def begin(qtbot: Any, page: SheetPage, maker: str = "Elm", model: str = "27", serial: str = "0815") -> None:
    """Put a set on the books and begin its sheet, through the forms."""
    page.ask_set()
    form = page.findChild(SetForm)
    for field, text in ((form.maker, maker), (form.model, model), (form.serial, serial)):
        field.setText(text)
    form.accept()
    wait(qtbot, lambda: page.question.set_id is not None and page.new_visit.isEnabled())
    page.ask_visit()
    visit = page.findChild(VisitForm)
    visit.channel.setValue(1)
    visit.complaint.setText("quiet on the air")
    visit.accept()
    wait(qtbot, lambda: page.visit_id is not None and page.typing.isEnabled())


def type_in(qtbot: Any, page: SheetPage, key: str, text: str, stage: str = "found", point: str = "") -> None:
    typing = page.typing
    typing.quantity.setCurrentIndex(typing.quantity.findData(key))
    typing.stage.setCurrentIndex(typing.stage.findData(stage))
    typing.point.setText(point)
    typing.text.clear()
    page.say("")
    qtbot.keyClicks(typing.text, text)
    qtbot.keyClick(typing.text, Qt.Key.Key_Return)
    wait(qtbot, lambda: page.said.text() != "")
