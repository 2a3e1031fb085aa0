"""Folders to choose, each with its path in sight: where kept overs and recordings go."""

from collections.abc import Callable
from functools import partial
from pathlib import Path

from PySide6.QtCore import Qt
from PySide6.QtWidgets import QFileDialog, QFormLayout, QGroupBox, QHBoxLayout, QLabel, QPushButton

from audiotest.window.labels import CutLabel
from audiotest.window.settings import Settings, clips_folder, recordings_folder

WORDS = (
    "Each recording gets a folder of its own in there. Nothing is written over, and one that runs stays "
    "where it is."
)
FOLDERS: dict[str, tuple[str, str, Callable[[Settings], Path]]] = {
    "clips_folder": ("kept overs (K)", "Anoth&er …", clips_folder),
    "recordings_folder": ("recordings (Ctrl+R)", "An&other …", recordings_folder),
}
"""What goes into it, the words on its button, and the folder that counts, by the name of the setting."""


class FoldersGroup(QGroupBox):
    """Step of the set-up: where kept overs and the next recording go.

    Parameters
    ----------
    title : str
        What stands above it.
    settings : callable
        The settings that count now.
    chosen : callable
        Takes a folder by the name of its setting.
    """

    def __init__(
        self, title: str, settings: Callable[[], Settings], chosen: Callable[[str, str], None]
    ) -> None:
        super().__init__(title)
        self._settings, self._chosen = settings, chosen
        self.paths: dict[str, CutLabel] = {}
        self.buttons: dict[str, QPushButton] = {}
        form = QFormLayout(self)
        for name, (what, words, _) in FOLDERS.items():
            path, button = CutLabel(spoken=f"folder for {what}"), QPushButton(words)
            button.setAccessibleName(f"another folder for {what}")
            button.clicked.connect(partial(self._ask, name))
            self.paths[name], self.buttons[name] = path, button
            row = QHBoxLayout()
            row.addWidget(path, 1)
            row.addWidget(button)
            form.addRow(what, row)
            self._show(name)
        note = QLabel(WORDS)
        note.setWordWrap(True)
        form.addRow(note)

    def _folder(self, name: str) -> Path:
        return FOLDERS[name][2](self._settings())

    def _show(self, name: str) -> None:
        self.paths[name].setText(str(self._folder(name)))

    def _ask(self, name: str, *_: object) -> None:
        dialog = QFileDialog(self, f"Folder for {FOLDERS[name][0]}", str(self._folder(name)))
        dialog.setFileMode(QFileDialog.FileMode.Directory)
        dialog.setOption(QFileDialog.Option.ShowDirsOnly)
        dialog.setAttribute(Qt.WidgetAttribute.WA_DeleteOnClose)
        dialog.fileSelected.connect(partial(self._take, name))
        dialog.open()

    def _take(self, name: str, folder: str) -> None:
        self._chosen(name, folder)
        self._show(name)
