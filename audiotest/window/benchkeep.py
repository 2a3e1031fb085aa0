"""Keep a bench measurement on a sheet: which file of sheets, which sheet, as found or as left."""

from collections.abc import Callable
from pathlib import Path

from PySide6.QtCore import Qt
from PySide6.QtWidgets import (
    QComboBox,
    QDialog,
    QFormLayout,
    QHBoxLayout,
    QLabel,
    QPushButton,
    QRadioButton,
    QVBoxLayout,
    QWidget,
)

from audiotest.errors import AudiotestError
from audiotest.keep.benchresult import BenchResult
from audiotest.keep.benchsheet import add_bench_result
from audiotest.keep.sheetrecords import STAGE_WORDS, STAGES, Stage
from audiotest.keep.sheets import Sheets
from audiotest.window.announcing import name_choices
from audiotest.window.benchfields import FileField

NO_SHEETS = "no sheet is open in this file: start one with 'audiotest sheet begin'"


def open_sheets_of(file: Path) -> list[tuple[int, str]]:
    """Number and words of every sheet that is on the bench, the newest first."""
    if not file.exists():
        return []
    with Sheets(file) as sheets:
        return [
            (visit.id, f"sheet {visit.id}: {sheets.get_set(visit.set_id).name}, since {visit.opened[:10]}")
            for visit in reversed(sheets.visits())
            if visit.closed is None
        ]


class KeepDialog(QDialog):
    """Puts one result on one sheet."""

    def __init__(
        self, result: BenchResult, name: str, file: Path, said: Callable[[str], None], parent: QWidget
    ) -> None:
        super().__init__(parent)
        self.setAttribute(Qt.WidgetAttribute.WA_DeleteOnClose)
        self.setWindowTitle("Keep on a sheet")
        self._result, self._name, self._said = result, name, said
        self.file = FileField("file of sheets", "Sheets (*.sqlite)", lambda: self._path().parent)
        self.file.line.setText(str(file))
        self.file.line.textChanged.connect(lambda _: self.refresh())
        self.sheet = QComboBox()
        self.sheet.setAccessibleName("sheet")
        self.stages = {stage: QRadioButton(STAGE_WORDS[stage]) for stage in STAGES}
        self.stages["left"].setChecked(True)
        what = QLabel(f"{result.title}: {len(result.figures)} figures for the sheet"
                      f"{'' if result.curves is None else ', and the plot'}")  # fmt: skip
        what.setWordWrap(True)
        self.word = QLabel()
        self.word.setWordWrap(True)
        self.keep = QPushButton("&Keep")
        self.keep.setDefault(True)
        self.keep.clicked.connect(self.put)
        cancel = QPushButton("&Cancel")
        cancel.clicked.connect(self.close)
        stages = QHBoxLayout()
        for button in self.stages.values():
            stages.addWidget(button)
        stages.addStretch(1)
        form = QFormLayout()
        form.addRow("file", self.file)
        form.addRow("sheet", self.sheet)
        form.addRow("the set is", stages)
        foot = QHBoxLayout()
        foot.addStretch(1)
        foot.addWidget(cancel)
        foot.addWidget(self.keep)
        layout = QVBoxLayout(self)
        layout.addWidget(what)
        layout.addLayout(form)
        layout.addWidget(self.word)
        layout.addLayout(foot)
        name_choices(self)
        self.resize(self.fontMetrics().height() * 34, self.sizeHint().height())
        self.refresh()

    def _path(self) -> Path:
        return Path(self.file.text())

    @property
    def stage(self) -> Stage:
        """As found or as left."""
        return next(stage for stage, button in self.stages.items() if button.isChecked())

    def refresh(self) -> None:
        """Look into the file for sheets."""
        self.sheet.clear()
        word = ""
        try:
            for number, words in open_sheets_of(self._path()):
                self.sheet.addItem(words, number)
        except (AudiotestError, OSError) as error:
            word = str(error)
        if not self.sheet.count():
            word = word or NO_SHEETS
        self.word.setText(word)
        self.keep.setEnabled(bool(self.sheet.count()))

    def put(self) -> None:
        """Put it there, and say so."""
        try:
            with Sheets(self._path()) as sheets:
                words = add_bench_result(
                    sheets, int(self.sheet.currentData()), self.stage, self._result, self._name
                )
        except (AudiotestError, OSError) as error:
            self.word.setText(str(error))
            return
        self._said(words)
        self.close()
