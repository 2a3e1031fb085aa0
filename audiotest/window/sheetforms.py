"""The small forms of the job sheets: a set, a sheet for it, and the row in which a reading is typed."""

from collections.abc import Callable

from PySide6.QtCore import Qt
from PySide6.QtWidgets import (
    QCheckBox,
    QComboBox,
    QDialog,
    QDialogButtonBox,
    QDoubleSpinBox,
    QFormLayout,
    QGridLayout,
    QHBoxLayout,
    QLabel,
    QLineEdit,
    QPushButton,
    QSpinBox,
    QWidget,
)

from audiotest.keep.quantities import QUANTITIES, example
from audiotest.keep.sheetrecords import STAGE_WORDS, STAGES, Stage
from audiotest.standards.limits import LIMIT_SETS
from audiotest.window.announcing import SaidLine, name_choices
from audiotest.window.sheetdesk import TypedReading, takes_point

LONGEST_NAME = 400


class AskingForm(QDialog):
    """A form that stays, with what was typed, until what it asks for has been done.

    Parameters
    ----------
    title : str
        Of its window.
    """

    def __init__(self, title: str, parent: QWidget | None) -> None:
        super().__init__(parent)
        self.setAttribute(Qt.WidgetAttribute.WA_DeleteOnClose)
        self.setWindowTitle(title)
        self.said = SaidLine()

    def finish(self, form: QFormLayout) -> None:
        """Put the line for what went wrong and the buttons below the fields."""
        box = QDialogButtonBox(QDialogButtonBox.StandardButton.Ok | QDialogButtonBox.StandardButton.Cancel)
        box.accepted.connect(self.accept)
        box.rejected.connect(self.reject)
        form.addRow(self.said)
        form.addRow(box)
        name_choices(self)

    def refuse(self, words: str) -> None:
        """Say why it cannot be done; what was typed stays."""
        self.said.clear()  # refused again it is said again
        self.said.say(words, wrong=True)


class SetForm(AskingForm):
    """A set to put on the books: maker, model and serial number are free text."""

    def __init__(
        self, take: Callable[[str, str, str, str], None], parent: QWidget | None = None, *, limits: str = ""
    ) -> None:
        super().__init__("New set", parent)
        self._take = take
        self.maker, self.model, self.serial = (
            text_field("maker"),
            text_field("model"),
            text_field("serial number"),
        )
        self.service = _limits_box("service of the set")
        self.service.setCurrentIndex(max(self.service.findData(limits), 0))
        form = QFormLayout(self)
        form.addRow("&Maker", self.maker)
        form.addRow("Mo&del", self.model)
        form.addRow("&Serial number", self.serial)
        form.addRow("Ser&vice", self.service)
        self.finish(form)

    def accept(self) -> None:
        """Hand the set over; whoever takes it closes the form."""
        self._take(self.maker.text(), self.model.text(), self.serial.text(), str(self.service.currentData()))


class VisitForm(AskingForm):
    """A sheet to begin: which limits count, where the carrier should be, what the set was brought for."""

    def __init__(
        self,
        take: Callable[[str, int | None, float | None, str], None],
        parent: QWidget | None = None,
        *,
        limits: str = "",
    ) -> None:
        super().__init__("New sheet", parent)
        self._take = take
        self.limits = _limits_box("limits of the sheet")
        self.limits.setCurrentIndex(max(self.limits.findData(limits), 0))
        self.channel = QSpinBox()
        self.channel.setRange(0, 999)
        self.channel.setSpecialValueText("none")
        self.channel.setAccessibleName("channel")
        self.assigned = QDoubleSpinBox()
        self.assigned.setRange(0.0, 3000.0)
        self.assigned.setDecimals(6)
        self.assigned.setSuffix(" MHz")
        self.assigned.setSpecialValueText("not given")
        self.assigned.setAccessibleName("assigned frequency")
        self.complaint = text_field("complaint")
        form = QFormLayout(self)
        form.addRow("&Limits", self.limits)
        form.addRow("C&hannel", self.channel)
        form.addRow("or its &frequency", self.assigned)
        form.addRow("Brought &in because", self.complaint)
        self.finish(form)

    def accept(self) -> None:
        """Hand the sheet over; whoever takes it closes the form."""
        self._take(
            str(self.limits.currentData()), self.channel.value() or None, self.assigned.value() or None,
            self.complaint.text(),
        )  # fmt: skip


class TypeRow(QWidget):
    """The row in which a reading is typed; Enter puts it on the sheet.

    Parameters
    ----------
    put : callable
        Takes the reading.
    """

    def __init__(self, put: Callable[[TypedReading], None]) -> None:
        super().__init__()
        self._put = put
        self.quantity, self.point, self.text = QComboBox(), QLineEdit(), QLineEdit()
        self.stage = QComboBox()
        self.sure = QCheckBox("it i&s right")
        self.sure.setToolTip("The reading is unlikely, but it was read so")
        self.sure.hide()
        for quantity in QUANTITIES.values():
            self.quantity.addItem(quantity.label, quantity.key)
        for stage in STAGES:
            self.stage.addItem(STAGE_WORDS[stage], stage)
        self.quantity.setAccessibleName("what was read")
        self.point.setAccessibleName("point of the scale, such as S9")
        self.point.setPlaceholderText("S9")
        self.point.setMaximumWidth(70)
        self.text.setAccessibleName("reading with its unit")
        self.text.setMaxLength(LONGEST_NAME)
        self.stage.setAccessibleName("as found or as left")
        self.button = QPushButton("&Put on the sheet")
        self.button.setAutoDefault(False)
        self.quantity.currentIndexChanged.connect(self._quantity_chosen)
        self.text.textEdited.connect(lambda _: self.doubt(False))
        self.text.returnPressed.connect(self.put)
        self.point.returnPressed.connect(self.put)
        self.button.clicked.connect(self.put)
        label = QLabel("&Reading")
        label.setBuddy(self.quantity)
        # The names are long: the box asks for some of them, and its list shows all.
        self.quantity.setSizeAdjustPolicy(QComboBox.SizeAdjustPolicy.AdjustToMinimumContentsLengthWithIcon)
        self.quantity.setMinimumContentsLength(12)
        self.text.setMinimumWidth(120)
        grid = QGridLayout(self)
        grid.setContentsMargins(0, 0, 0, 0)
        grid.addWidget(label, 0, 0)
        first, second = QHBoxLayout(), QHBoxLayout()
        for widget, share in ((self.quantity, 3), (self.point, 0), (self.text, 2)):
            first.addWidget(widget, share)
        for part in (self.stage, self.button, self.sure):
            second.addWidget(part)
        second.addStretch(1)
        grid.addLayout(first, 0, 1)
        grid.addLayout(second, 1, 1)
        self._quantity_chosen()

    def chosen_stage(self) -> Stage:
        """As found or as left."""
        stage: Stage = self.stage.currentData()
        return stage

    def put(self, *_: object) -> None:
        """Hand the reading over as it stands."""
        self._put(
            TypedReading(
                stage=self.chosen_stage(), quantity=str(self.quantity.currentData()),
                point=self.point.text(), text=self.text.text(), sure=self.sure.isChecked(),
            )
        )  # fmt: skip

    def taken(self) -> None:
        """The reading is on the sheet: make room for the next."""
        self.text.clear()
        self.doubt(False)
        self.text.setFocus()

    def doubt(self, doubtful: bool) -> None:
        """Offer to say that an unlikely reading is right, or take the offer away."""
        self.sure.setVisible(doubtful)
        self.sure.setChecked(False)

    def _quantity_chosen(self, *_: object) -> None:
        key = str(self.quantity.currentData())
        self.point.setVisible(takes_point(key))
        self.point.clear()
        self.text.setPlaceholderText(example(key))
        self.doubt(False)


def push_button(text: str, act: Callable[[], object]) -> QPushButton:
    """A button that does something, and never takes Enter away from the field in which one types."""
    button = QPushButton(text)
    button.setAutoDefault(False)
    button.clicked.connect(lambda *_: act())
    return button


def named(text: str, part: QWidget) -> QLabel:
    """The name of a part, whose key goes to that part."""
    label = QLabel(text)
    label.setBuddy(part)
    return label


def text_field(name: str) -> QLineEdit:
    """A line to type in, with its name for a screen reader."""
    field = QLineEdit()
    field.setMaxLength(LONGEST_NAME)
    field.setAccessibleName(name)
    return field


def _limits_box(name: str) -> QComboBox:
    box = QComboBox()
    box.setAccessibleName(name)
    for limits in LIMIT_SETS:
        box.addItem(f"±{limits.deviation_khz:g} kHz  {limits.title}", limits.id)
    return box
