"""The over tape: every over of the session as a strip that can be chosen, replayed, kept or discarded."""

import numpy as np
from numpy.typing import NDArray
from PySide6.QtCore import (
    QAbstractItemModel,
    QItemSelectionModel,
    QModelIndex,
    QPersistentModelIndex,
    QRectF,
    QSize,
    Qt,
)
from PySide6.QtGui import QColor, QFontMetricsF, QPainter, QPaintEvent, QPen
from PySide6.QtWidgets import (
    QAbstractItemView,
    QApplication,
    QGridLayout,
    QListWidget,
    QListWidgetItem,
    QPushButton,
    QSizePolicy,
    QStyle,
    QStyledItemDelegate,
    QStyleOptionViewItem,
    QWidget,
)

from audiotest.window.labels import plain_tip
from audiotest.window.presenter import (
    ARROWS,
    Heard,
    control_views,
    needs,
    over_figures,
    over_label,
)
from audiotest.window.theme import LIGHT, Theme, bigger

OUTLINE_COLUMNS = 96
NUMBER_ROLE = Qt.ItemDataRole.UserRole
TAPE_DEEDS = (
    ("replay", "Replay", "Play the chosen over, or the last (R)"),
    ("compare", "Compare", "What changed between two overs (C); Ctrl and click chooses a second one"),
    ("keep", "Keep", "Write the chosen overs to disk (K); the last ten minutes are at hand"),
    ("discard", "Discard", "Take the chosen overs off the tape (D)"),
)
Index = QModelIndex | QPersistentModelIndex


class OverTape(QListWidget):
    """Overs from left to right, the newest at the right end."""

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._cells: dict[int, tuple[Heard, NDArray[np.float32]]] = {}
        self.kept: set[int] = set()
        self.theme = LIGHT
        self.setFlow(QListWidget.Flow.LeftToRight)
        self.setWrapping(False)
        self.setUniformItemSizes(True)
        self.setSelectionMode(QAbstractItemView.SelectionMode.ExtendedSelection)
        self.setHorizontalScrollMode(QAbstractItemView.ScrollMode.ScrollPerPixel)
        self.setVerticalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        self.setAccessibleName("over tape")
        self.setItemDelegate(_OverPainter(self))
        self.fit_height()

    def fit_height(self) -> None:
        """Take the height that the font asks for."""
        line = QFontMetricsF(QApplication.font()).height()
        self.setFixedHeight(round(5.2 * line) + self.horizontalScrollBar().sizeHint().height() + 6)

    def cell_size(self) -> QSize:
        """Size of one over."""
        line = QFontMetricsF(QApplication.font()).height()
        return QSize(round(9.5 * line), round(5.2 * line))

    def paintEvent(self, event: QPaintEvent) -> None:
        """An empty tape says what will be on it."""
        super().paintEvent(event)
        if self.count() == 0:
            painter = QPainter(self.viewport())
            painter.setPen(QColor(self.theme.faint))
            words = "Over tape: every over appears here, with the last ten minutes to replay and keep."
            place = QRectF(self.viewport().rect()).adjusted(12, 0, -12, 0)
            flags = Qt.AlignmentFlag.AlignCenter.value | Qt.TextFlag.TextWordWrap.value
            painter.drawText(place, int(flags), words)

    def dress(self, theme: Theme) -> None:
        """Draw in these colours."""
        self.theme = theme
        self.fit_height()
        self.viewport().update()

    def add(self, heard: Heard, outline: NDArray[np.float32]) -> None:
        """Put an over at the right end; the view follows unless an older one is chosen."""
        follow = self.currentRow() in (-1, self.count() - 1)
        self._cells[heard.number] = (heard, outline)
        item = QListWidgetItem()
        item.setData(NUMBER_ROLE, heard.number)
        item.setData(Qt.ItemDataRole.AccessibleTextRole, over_label(heard))
        item.setToolTip(plain_tip(heard.advice.sentence))
        self.addItem(item)
        if follow:
            self.setCurrentItem(item, QItemSelectionModel.SelectionFlag.ClearAndSelect)
            self.scrollToItem(item)

    def drop_missing(self, present: set[int]) -> None:
        """Take overs off that are no longer in the log."""
        for row in range(self.count() - 1, -1, -1):
            number = self.number_at(row)
            if number not in present:
                self.takeItem(row)
                self._cells.pop(number, None)
                self.kept.discard(number)

    def renew(self, heard: Heard) -> None:
        """Show an over that was judged again."""
        if heard.number in self._cells:
            self._cells[heard.number] = (heard, self._cells[heard.number][1])
            self.viewport().update()

    def mark_kept(self, number: int) -> None:
        """Show that an over is on disk."""
        self.kept.add(number)
        self.viewport().update()

    def cell(self, number: int) -> tuple[Heard, NDArray[np.float32]] | None:
        """Record and outline of an over."""
        return self._cells.get(number)

    def number_at(self, row: int) -> int:
        """Number of the over in a row."""
        return int(self.item(row).data(NUMBER_ROLE))

    def chosen(self) -> tuple[int, ...]:
        """Numbers of the chosen overs, oldest first."""
        return tuple(sorted(int(item.data(NUMBER_ROLE)) for item in self.selectedItems()))


class TapeButtons(QWidget):
    """What can be done with the chosen overs, as buttons; the same is in the menu and on keys."""

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        grid = QGridLayout(self)
        grid.setContentsMargins(0, 0, 0, 0)
        grid.setSpacing(3)
        self.buttons: dict[str, QPushButton] = {}
        for k, (name, text, tip) in enumerate(TAPE_DEEDS):
            button = QPushButton(text)
            button.setToolTip(tip)
            button.setSizePolicy(QSizePolicy.Policy.Preferred, QSizePolicy.Policy.Expanding)
            self.buttons[name] = button
            grid.addWidget(button, k // 2, k % 2)


class _OverPainter(QStyledItemDelegate):
    """Draws one over: outline in the colour of the advice, number, time, the two arrows, the figures."""

    def __init__(self, tape: OverTape) -> None:
        super().__init__(tape)
        self._tape = tape

    def sizeHint(self, option: QStyleOptionViewItem, index: Index) -> QSize:
        return self._tape.cell_size()

    def paint(self, painter: QPainter, option: QStyleOptionViewItem, index: Index) -> None:
        model: QAbstractItemModel = index.model()
        found = self._tape.cell(int(model.data(index, NUMBER_ROLE)))
        if found is None:
            return
        heard, outline = found
        theme = self._tape.theme
        rect = QRectF(option.rect).adjusted(2, 2, -3, -2)
        chosen = bool(option.state & QStyle.StateFlag.State_Selected)
        painter.save()
        painter.fillRect(rect, QColor(theme.panel))
        colour = theme.turn(needs(heard.advice))
        painter.fillRect(QRectF(rect.left(), rect.top(), 5.0, rect.height()), colour)
        painter.setPen(QPen(QColor(theme.ink if chosen else theme.edge), 2.0 if chosen else 1.0))
        painter.drawRect(rect)
        inner = rect.adjusted(11, 3, -5, -3)
        line = QFontMetricsF(QApplication.font()).height()
        self._text(painter, heard, inner, line)
        box = QRectF(inner.left(), inner.top() + 2.05 * line, inner.width(), inner.height() - 3.1 * line)
        self._outline(painter, outline, box, colour)
        painter.restore()

    def _text(self, painter: QPainter, heard: Heard, inner: QRectF, line: float) -> None:
        theme, font = self._tape.theme, QApplication.font()
        left, right = Qt.AlignmentFlag.AlignLeft, Qt.AlignmentFlag.AlignRight
        top = QRectF(inner.left(), inner.top(), inner.width(), line)
        painter.setFont(bigger(font, 1.0, bold=True))
        painter.setPen(QColor(theme.ink))
        kept = "  kept" if heard.number in self._tape.kept else ""
        painter.drawText(top, left, f"{heard.number}{kept}")
        painter.setFont(bigger(font, 0.9))
        painter.setPen(QColor(theme.faint))
        painter.drawText(top, right, heard.time_of_day)
        second = top.translated(0, line)
        mic, deviation = control_views(heard)
        painter.setFont(bigger(font, 0.95, bold=True))
        painter.setPen(theme.turn(mic.turn))
        painter.drawText(second, left, f"mic {ARROWS[mic.turn]}")
        painter.setPen(theme.turn(deviation.turn))
        painter.drawText(second, right, f"dev {ARROWS[deviation.turn]}")
        painter.setFont(bigger(font, 0.95))
        painter.setPen(QColor(theme.ink))
        painter.drawText(
            QRectF(inner.left(), inner.bottom() - line, inner.width(), line), left, over_figures(heard)
        )

    def _outline(self, painter: QPainter, outline: NDArray[np.float32], box: QRectF, colour: QColor) -> None:
        if box.height() < 4.0 or len(outline) == 0:
            return
        top = max(float(np.max(outline)), 1e-3)
        painter.setPen(QPen(colour, 1.0))
        middle, half = box.center().y(), box.height() / 2.0
        columns = int(box.width())
        sizes = np.interp(np.linspace(0, len(outline) - 1, columns), np.arange(len(outline)), outline) / top
        for k in range(columns):
            x = round(box.left()) + k
            reach = max(half * float(sizes[k]), 0.5)
            painter.drawLine(x, round(middle - reach), x, round(middle + reach))
