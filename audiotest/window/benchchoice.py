"""The first page of the bench window: which measurement, on what, with which files and levels."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from PySide6.QtCore import QSize, Qt
from PySide6.QtWidgets import (
    QAbstractItemView,
    QCheckBox,
    QFormLayout,
    QFrame,
    QGroupBox,
    QHBoxLayout,
    QLabel,
    QListWidget,
    QListWidgetItem,
    QPushButton,
    QRadioButton,
    QScrollArea,
    QSplitter,
    QVBoxLayout,
    QWidget,
)

from audiotest.tones.needs import Needs
from audiotest.window.announcing import announce, name_choices
from audiotest.window.benchfields import Fields
from audiotest.window.theme import Theme, dress_marks

NAME = Qt.ItemDataRole.UserRole


@dataclass(frozen=True, slots=True, kw_only=True)
class Listed:
    """One measurement of the list."""

    name: str
    group: str
    words: str
    needs: Needs


class ChoicePane(QWidget):
    """Says what every measurement needs, and hands over what was chosen."""

    def __init__(self, listed: tuple[Listed, ...], fields: Fields, start: Callable[[], None]) -> None:
        super().__init__()
        self._listed = {each.name: each for each in listed}
        self.fields = fields
        self.list = QListWidget()
        self.list.setAccessibleName("measurements")
        self.list.setWordWrap(True)
        self.list.setVerticalScrollMode(QAbstractItemView.ScrollMode.ScrollPerPixel)
        self.list.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        self._fill(listed)
        self.rehearse = QRadioButton("&Rehearse: simulated radio, nothing is sent")
        self.live = QRadioButton("So&und card: the set on the bench")
        self.automatic = QCheckBox("&answer every question for me")
        self.automatic.setChecked(True)
        self.rehearse.setChecked(True)
        self.trouble = _wrapped()
        self.start = QPushButton("&Start")
        self.start.setDefault(True)
        self.start.setMinimumHeight(36)
        self.start.clicked.connect(lambda: start())
        self._arrange()
        name_choices(self)
        self.list.currentItemChanged.connect(lambda *_: self.refresh())
        self.list.itemActivated.connect(lambda _: start())
        self.rehearse.toggled.connect(lambda _: self.refresh())
        self.choose(listed[0].name)

    def _fill(self, listed: tuple[Listed, ...]) -> None:
        group = ""
        for each in listed:
            if each.group != group:
                group = each.group
                head = QListWidgetItem(group)
                head.setFlags(Qt.ItemFlag.NoItemFlags)
                font = head.font()
                font.setBold(True)
                head.setFont(font)
                self.list.addItem(head)
            item = QListWidgetItem(
                f"{each.words[:1].upper()}{each.words[1:]}\n      needs {each.needs.words}"
            )
            item.setData(NAME, each.name)
            self.list.addItem(item)

    def _arrange(self) -> None:
        where = QGroupBox("On what")
        column = QVBoxLayout(where)
        column.addWidget(self.rehearse)
        indented = QHBoxLayout()
        indented.setContentsMargins(24, 0, 0, 0)
        indented.addWidget(self.automatic)
        column.addLayout(indented)
        column.addWidget(self.live)
        self._settings = QGroupBox("With")
        self.form = QFormLayout(self._settings)
        self.form.setRowWrapPolicy(QFormLayout.RowWrapPolicy.WrapLongRows)
        self.form.setFieldGrowthPolicy(QFormLayout.FieldGrowthPolicy.AllNonFixedFieldsGrow)
        for name, widget in self.fields.rows:
            self.form.addRow(name, widget)
        right = QWidget()
        right_column = QVBoxLayout(right)
        for part in (where, self._settings):
            right_column.addWidget(part)
        right_column.addStretch(1)
        area = QScrollArea()
        area.setWidgetResizable(True)
        area.setFrameShape(QFrame.Shape.NoFrame)
        area.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        area.setWidget(right)
        area.setAccessibleName("what it is measured on and with")
        self.area, self._right = area, right
        halves = QSplitter(Qt.Orientation.Horizontal)
        halves.addWidget(self.list)
        halves.addWidget(area)
        halves.setStretchFactor(0, 45)
        halves.setStretchFactor(1, 55)
        halves.setSizes([450, 550])
        halves.setChildrenCollapsible(False)
        foot = QHBoxLayout()
        foot.addWidget(self.trouble, 1)
        foot.addWidget(self.start, 0, Qt.AlignmentFlag.AlignBottom)
        layout = QVBoxLayout(self)
        layout.addWidget(halves, 1)
        layout.addLayout(foot)

    @property
    def chosen(self) -> str:
        """Name of the measurement that is chosen."""
        item = self.list.currentItem()
        return "" if item is None else str(item.data(NAME) or "")

    def choose(self, name: str) -> None:
        """Choose a measurement."""
        for row in range(self.list.count()):
            if self.list.item(row).data(NAME) == name:
                self.list.setCurrentRow(row)
        self.refresh()

    def refresh(self) -> None:
        """Show what the chosen measurement needs, and only the settings that it has."""
        listed = self._listed.get(self.chosen)
        if listed is None:
            return
        rehearsed = self.rehearse.isChecked()
        self.automatic.setEnabled(rehearsed)
        self.say("")
        wanted = self.fields.wanted(listed.needs, listed.name, rehearsed=rehearsed)
        for name, widget in self.fields.rows:
            self.form.setRowVisible(widget, name in wanted)
        self.fit()

    def dress(self, theme: Theme) -> None:
        """Colours and sizes of letters."""
        dress_marks(self, theme)
        self.fit()

    def fit(self) -> None:
        """Give the settings the width they need: the list can wrap its lines, they cannot."""
        layout = self._right.layout()
        assert layout is not None
        layout.activate()
        bar = self.area.verticalScrollBar().sizeHint().width()
        self.area.setMinimumWidth(self._right.minimumSizeHint().width() + bar)

    def say(self, trouble: str) -> None:
        """Say why it cannot start."""
        self.trouble.setText(trouble)
        if trouble:
            announce(self.trouble, trouble)

    def sizeHint(self) -> QSize:
        """Room for the list and the settings beside it."""
        line = self.fontMetrics().height()
        return QSize(62 * line, 40 * line)


def _wrapped() -> Any:
    label = QLabel()
    label.setWordWrap(True)
    label.setTextInteractionFlags(Qt.TextInteractionFlag.NoTextInteraction)
    return label


def _sentence(words: str) -> str:
    return words[:1].upper() + words[1:]
