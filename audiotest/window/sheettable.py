"""What the job sheets are shown in: lists of plain lines, and the table of readings."""

from collections.abc import Iterable

from PySide6.QtCore import QSignalBlocker, Qt, Signal
from PySide6.QtGui import QColor, QFont, QFontMetricsF
from PySide6.QtWidgets import (
    QAbstractItemView,
    QApplication,
    QHeaderView,
    QListWidget,
    QListWidgetItem,
    QTableWidget,
    QTableWidgetItem,
)

from audiotest.keep.judging import Verdict
from audiotest.keep.report import VERDICT_WORDS, Cell, Row
from audiotest.keep.sheetrecords import STAGE_WORDS, STAGES
from audiotest.window.labels import plain_tip
from audiotest.window.minus import with_minus
from audiotest.window.sheetdesk import Line
from audiotest.window.theme import LIGHT, Theme

ID_ROLE = Qt.ItemDataRole.UserRole
VERDICT_SIGNS: dict[Verdict, str] = {"pass": "✓ ", "fail": "✗ ", "doubt": "? ", "none": ""}


class LineList(QListWidget):
    """Plain lines to choose from, cut where there is no room; the tool tip has the whole line."""

    chosen = Signal(int)

    def __init__(self, name: str, *, wrapped: bool = False) -> None:
        super().__init__()
        self.setWordWrap(wrapped)
        self.setSpacing(2 if wrapped else 0)
        self.setResizeMode(QListWidget.ResizeMode.Adjust)
        self.setAccessibleName(name)
        self.setTextElideMode(Qt.TextElideMode.ElideRight)
        self.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        self.currentItemChanged.connect(self._tell)

    def show_lines(self, lines: Iterable[Line], chosen: int | None) -> None:
        """Show these lines and mark the one with this number."""
        with QSignalBlocker(self):
            self.clear()
            for line in lines:
                item = self._add(line.text)
                item.setData(ID_ROLE, line.id)
                if line.id == chosen:
                    self.setCurrentItem(item)

    def show_texts(self, texts: Iterable[str]) -> None:
        """Show lines that have no number and are only read."""
        with QSignalBlocker(self):
            self.clear()
            for text in texts:
                self._add(text)

    def texts(self) -> list[str]:
        """The lines as they stand."""
        return [self.item(row).text() for row in range(self.count())]

    def _add(self, text: str) -> QListWidgetItem:
        item = QListWidgetItem(text)
        item.setToolTip(plain_tip(text))
        self.addItem(item)
        return item

    def _tell(self, item: QListWidgetItem | None, *_: object) -> None:
        number = None if item is None else item.data(ID_ROLE)
        if number is not None:
            self.chosen.emit(int(number))


class ReadingTable(QTableWidget):
    """As found against as left, each with its verdict, and the limit; sign and word say what colour says."""

    def __init__(self) -> None:
        super().__init__()
        self._theme = LIGHT
        self._rows: tuple[Row, ...] = ()
        self.setAccessibleName("readings as found and as left")
        heads = ["reading", *(STAGE_WORDS[stage] for stage in STAGES), "limit"]
        self.setColumnCount(len(heads))
        self.setHorizontalHeaderLabels(heads)
        self.verticalHeader().hide()
        self.setEditTriggers(QAbstractItemView.EditTrigger.NoEditTriggers)
        self.setSelectionMode(QAbstractItemView.SelectionMode.SingleSelection)
        self.setTabKeyNavigation(False)
        self.setWordWrap(True)
        self.verticalHeader().setSectionResizeMode(QHeaderView.ResizeMode.ResizeToContents)
        header = self.horizontalHeader()
        header.setDefaultAlignment(Qt.AlignmentFlag.AlignLeft | Qt.AlignmentFlag.AlignVCenter)
        for column in range(len(heads)):
            outer = column in (0, len(heads) - 1)
            mode = QHeaderView.ResizeMode.Stretch if outer else QHeaderView.ResizeMode.ResizeToContents
            header.setSectionResizeMode(column, mode)

    def dress(self, theme: Theme) -> None:
        """Draw in these colours."""
        self._theme = theme
        line = QFontMetricsF(QApplication.font()).height()
        self.horizontalHeader().setMinimumSectionSize(round(5.5 * line))
        self.show_rows(self._rows)

    def show_rows(self, rows: tuple[Row, ...]) -> None:
        """Show these readings."""
        self._rows = rows
        self.setRowCount(len(rows))
        for k, row in enumerate(rows):
            self._put(k, 0, row.label, row.label)
            for column, stage in enumerate(STAGES, start=1):
                self._put_cell(k, column, row.cells[stage])
            self._put(
                k, len(STAGES) + 1, row.limit, f"{row.limit}\nSource: {row.source}" if row.source else ""
            )

    def chosen_reading(self) -> tuple[int, str] | None:
        """Number of the reading in the chosen cell and what it says, None when no reading stands there."""
        row, column = self.currentRow(), self.currentColumn()
        if not (0 <= row < len(self._rows) and 1 <= column <= len(STAGES)):
            return None
        stage = STAGES[column - 1]
        cell = self._rows[row].cells[stage]
        if cell is None:
            return None
        return cell.reading_id, f"{self._rows[row].label}, {STAGE_WORDS[stage]}: {cell.text}"

    def cell_text(self, row: int, column: int) -> str:
        """What stands in a cell, empty when nothing does."""
        item = self.item(row, column)
        return "" if item is None else item.text()

    def _put_cell(self, row: int, column: int, cell: Cell | None) -> None:
        if cell is None:
            self._put(row, column, "", "")
            return
        how = "measured" if cell.measured else "typed"
        # The sign comes first: it is in sight even where the rest is cut.
        word = VERDICT_WORDS[cell.verdict]
        text = f"{VERDICT_SIGNS[cell.verdict]}{cell.text}"
        item = self._put(
            row,
            column,
            text if cell.verdict == "pass" else f"{text}  {word}".rstrip(),
            f"{cell.words}; {how}" if cell.words else how,
        )
        item.setData(
            Qt.ItemDataRole.AccessibleTextRole, f"{STAGE_WORDS[STAGES[column - 1]]} {cell.text} {word}"
        )
        theme = self._theme
        colours: dict[Verdict, str] = {
            "pass": theme.right, "fail": theme.warn, "doubt": theme.peak, "none": theme.ink,
        }  # fmt: skip
        item.setForeground(QColor(colours[cell.verdict]))
        if cell.verdict == "fail":
            font = QFont(self.font())
            font.setBold(True)
            item.setFont(font)

    def _put(self, row: int, column: int, text: str, tip: str) -> QTableWidgetItem:
        item = QTableWidgetItem(with_minus(text))
        item.setToolTip(plain_tip(tip))
        self.setItem(row, column, item)
        return item
