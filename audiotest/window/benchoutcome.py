"""The last page of the bench window: verdict, figures with their limits, the plot, and where to keep it."""

from collections.abc import Callable, Sequence

from PySide6.QtCore import Qt
from PySide6.QtGui import QColor
from PySide6.QtWidgets import (
    QAbstractItemView,
    QApplication,
    QHBoxLayout,
    QHeaderView,
    QLabel,
    QPushButton,
    QSplitter,
    QTableWidget,
    QTableWidgetItem,
    QTextBrowser,
    QVBoxLayout,
    QWidget,
)

from audiotest.tones.reported import (
    VERDICTS,
    heading,
    interval_words,
    limit_sources,
    limit_words,
    value_words,
    verdict_words,
)
from audiotest.tones.steps import Report
from audiotest.window.announcing import announce
from audiotest.window.benchplot import BenchPlot, Line
from audiotest.window.minus import with_minus
from audiotest.window.theme import LIGHT, Theme, bigger

COLUMNS = ("figure", "value", "about 95 %", "limit", "")
SIGNS = {"pass": "✓ pass", "inside": "✓ inside", "FAIL": "✗ FAIL", "OUTSIDE": "✗ OUTSIDE"}


class OutcomePane(QWidget):
    """Shows a report as the terminal prints it, and offers to keep it."""

    def __init__(self, actions: Sequence[tuple[str, str, Callable[[], None]]]) -> None:
        super().__init__()
        self.theme = LIGHT
        self.title = _wrapped()
        self.verdict = _wrapped()
        self.trouble = _wrapped()
        self.said = _wrapped()
        self.table = QTableWidget(0, len(COLUMNS))
        self.table.setAccessibleName("figures")
        self.table.setHorizontalHeaderLabels(list(COLUMNS))
        self.table.verticalHeader().hide()
        self.table.verticalHeader().setSectionResizeMode(QHeaderView.ResizeMode.ResizeToContents)
        self.table.setEditTriggers(QAbstractItemView.EditTrigger.NoEditTriggers)
        self.table.setSelectionBehavior(QAbstractItemView.SelectionBehavior.SelectRows)
        self.table.setTabKeyNavigation(False)
        self.table.setShowGrid(False)
        self.table.setAlternatingRowColors(True)
        self.plot = BenchPlot()
        self.notes = QTextBrowser()
        self.notes.setAccessibleName("notes")
        self.buttons = {}
        foot = QHBoxLayout()
        foot.addStretch(1)
        for name, text, act in actions:
            button = QPushButton(text)
            button.setMinimumHeight(34)
            button.clicked.connect(lambda _=False, act=act: act())
            self.buttons[name] = button
            foot.addWidget(button, 0, Qt.AlignmentFlag.AlignBottom)
        right = QSplitter(Qt.Orientation.Vertical)
        right.addWidget(self.plot)
        right.addWidget(self.notes)
        right.setSizes([300, 140])
        self.halves = QSplitter(Qt.Orientation.Horizontal)
        self.halves.addWidget(self.table)
        self.halves.addWidget(right)
        self.halves.setSizes([560, 440])
        self.halves.setChildrenCollapsible(False)
        layout = QVBoxLayout(self)
        layout.addWidget(self.title)
        layout.addWidget(self.verdict)
        layout.addWidget(self.trouble)
        layout.addWidget(self.halves, 1)
        layout.addWidget(self.said)
        layout.addLayout(foot)

    def show_report(
        self, report: Report, *, rehearsed: bool, trouble: str, lines: Sequence[Line], theme: Theme
    ) -> None:
        """Show what a run has left behind."""
        self.theme = theme
        self.title.setText(heading(report, rehearsed=rehearsed))
        self.trouble.setText(f"⚠  {trouble}" if trouble else "")
        self.trouble.setVisible(bool(trouble))
        words = VERDICTS[report.passed]
        self.verdict.setText({"PASS": "✓ PASS", "FAIL": "✗ FAIL"}.get(words, ""))
        self.verdict.setVisible(bool(words))
        self.say("")
        self._fill(report)
        self.plot.setVisible(bool(report.curves))
        for name in ("keep", "json"):
            self.buttons[name].setEnabled(bool(report.figures or report.curves))
        self.notes.setPlainText(_notes(report))
        self.dress(theme)
        self.plot.show_report(report, lines)

    def _fill(self, report: Report) -> None:
        self.table.setRowCount(len(report.figures))
        for row, figure in enumerate(report.figures):
            said = verdict_words(figure)
            texts = (
                figure.label, value_words(figure), interval_words(figure), limit_words(figure),
                SIGNS.get(said, said),
            )  # fmt: skip
            for column, text in enumerate(texts):
                item = QTableWidgetItem(with_minus(text))
                if column in (1, 2, 3):
                    item.setTextAlignment(Qt.AlignmentFlag.AlignRight | Qt.AlignmentFlag.AlignVCenter)
                self.table.setItem(row, column, item)
        for column in range(2, len(COLUMNS)):
            items = [self.table.item(row, column) for row in range(self.table.rowCount())]
            self.table.setColumnHidden(column, not any(item is not None and item.text() for item in items))

    def dress(self, theme: Theme) -> None:
        """Colours and sizes of letters."""
        self.theme = theme
        usual = QApplication.font()
        self.title.setFont(bigger(usual, 1.3, bold=True))
        self.verdict.setFont(bigger(usual, 2.2, bold=True))
        self.trouble.setFont(bigger(usual, 1.1, bold=True))
        self.trouble.setStyleSheet(f"color: {theme.warn};")
        failed = "FAIL" in self.verdict.text()
        self.verdict.setStyleSheet(f"color: {theme.down if failed else theme.right};")
        for row in range(self.table.rowCount()):
            item = self.table.item(row, len(COLUMNS) - 1)
            if item is None:
                continue
            bad = item.text().startswith("✗")
            item.setForeground(
                QColor(theme.down if bad else theme.right if item.text().startswith("✓") else theme.faint)
            )
        header = self.table.horizontalHeader()
        header.setSectionResizeMode(QHeaderView.ResizeMode.ResizeToContents)
        header.setSectionResizeMode(0, QHeaderView.ResizeMode.Stretch)
        self.plot.dress(theme)

    def say(self, text: str) -> None:
        """Say what was kept, or why not."""
        self.said.setText(text)
        if text:
            announce(self.said, text)
        self.said.setVisible(bool(text))


def _notes(report: Report) -> str:
    lines = [f"{kind}: {source}" for kind, source in limit_sources(report)]
    return "\n".join(lines + [f"note: {note}" for note in report.notes])


def _wrapped() -> QLabel:
    label = QLabel()
    label.setWordWrap(True)
    label.setTextFormat(Qt.TextFormat.PlainText)
    return label
