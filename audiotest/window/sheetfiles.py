"""The two files that the job sheets ask for: that of the sheets themselves, and where a report goes."""

from collections.abc import Callable
from pathlib import Path

from PySide6.QtCore import Qt
from PySide6.QtWidgets import QFileDialog, QWidget


def ask_for_sheets(parent: QWidget, folder: Path, take: Callable[[Path], None]) -> None:
    """Choose a file of sheets that is there, or name a new one."""
    dialog = QFileDialog(parent, "File of the sheets", str(folder), "Sheets (*.sqlite);;All (*)")
    # Opened, not overwritten: there is nothing to ask.
    dialog.setOption(QFileDialog.Option.DontConfirmOverwrite)
    dialog.setLabelText(QFileDialog.DialogLabel.Accept, "Open")
    _open(dialog, take)


def ask_for_report(parent: QWidget, name: str, take: Callable[[Path], None]) -> None:
    """Choose where a report goes, as PDF or as a page; the dialog asks before it replaces a file."""
    dialog = QFileDialog(parent, "Report", str(Path.home()), "PDF (*.pdf);;Page for the browser (*.html)")
    dialog.setDefaultSuffix("pdf")
    dialog.filterSelected.connect(lambda kind: dialog.setDefaultSuffix("html" if "html" in kind else "pdf"))
    dialog.selectFile(name)
    _open(dialog, take)


def _open(dialog: QFileDialog, take: Callable[[Path], None]) -> None:
    dialog.setAcceptMode(QFileDialog.AcceptMode.AcceptSave)
    dialog.setAttribute(Qt.WidgetAttribute.WA_DeleteOnClose)
    dialog.fileSelected.connect(lambda chosen: take(Path(chosen)))
    dialog.open()
