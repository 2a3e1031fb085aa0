"""A folder to choose, with its path in sight: where recordings go."""

from collections.abc import Callable
from pathlib import Path

from PySide6.QtCore import Qt
from PySide6.QtWidgets import QFileDialog, QGroupBox, QHBoxLayout, QLabel, QPushButton, QVBoxLayout, QWidget

from audiotest.window.labels import CutLabel

WORDS = (
    "Ctrl+R starts and stops. Each recording gets a folder of its own in there; nothing is written over. "
    "One that runs stays where it is."
)


class RecordingsGroup(QGroupBox):
    """Step of the set-up: where the next recording goes.

    Parameters
    ----------
    title : str
        What stands above it.
    folder : callable
        The folder that counts now.
    chosen : callable
        Takes the path of another.
    """

    def __init__(
        self,
        title: str,
        folder: Callable[[], Path],
        chosen: Callable[[str], None],
        parent: QWidget | None = None,
    ) -> None:
        super().__init__(title, parent)
        self._folder, self._chosen = folder, chosen
        self.path = CutLabel(spoken="folder for recordings")
        self.choose = QPushButton("Fold&er …")
        self.choose.clicked.connect(self._ask)
        words = QLabel(WORDS)
        words.setWordWrap(True)
        row = QHBoxLayout()
        row.addWidget(self.path, 1)
        row.addWidget(self.choose)
        column = QVBoxLayout(self)
        column.addLayout(row)
        column.addWidget(words)
        self.refresh()

    def refresh(self) -> None:
        """Show the folder that counts now."""
        self.path.setText(str(self._folder()))

    def _ask(self) -> None:
        dialog = QFileDialog(self, "Folder for recordings", str(self._folder()))
        dialog.setFileMode(QFileDialog.FileMode.Directory)
        dialog.setOption(QFileDialog.Option.ShowDirsOnly)
        dialog.setAttribute(Qt.WidgetAttribute.WA_DeleteOnClose)
        dialog.fileSelected.connect(self._take)
        dialog.open()

    def _take(self, name: str) -> None:
        self._chosen(name)
        self.refresh()
