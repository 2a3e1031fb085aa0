"""The files that the job sheets ask for: that of the sheets, where one goes, one to be taken in."""

from collections.abc import Callable
from pathlib import Path

from PySide6.QtCore import Qt
from PySide6.QtWidgets import QFileDialog, QWidget

REPORT_KINDS = {"PDF (*.pdf)": "pdf", "Page for the browser (*.html)": "html"}
SHEET_KINDS = {
    "Sheet with all that is attached (*.zip)": "zip", "Sheet without its files (*.json)": "json",
    "Readings for a spreadsheet (*.csv)": "csv",
}  # fmt: skip


def ask_for_sheets(parent: QWidget, folder: Path, take: Callable[[Path], None]) -> None:
    """Choose a file of sheets that is there, or name a new one."""
    dialog = QFileDialog(parent, "File of the sheets", str(folder), "Sheets (*.sqlite);;All (*)")
    # Opened, not overwritten: there is nothing to ask.
    dialog.setOption(QFileDialog.Option.DontConfirmOverwrite)
    dialog.setLabelText(QFileDialog.DialogLabel.Accept, "Open")
    dialog.setAcceptMode(QFileDialog.AcceptMode.AcceptSave)
    _open(dialog, take)


def ask_where(
    parent: QWidget, title: str, kinds: dict[str, str], stem: str, take: Callable[[Path], None]
) -> None:
    """Choose where a sheet goes, as one of these kinds with their endings; the first, unless one is chosen.

    The dialog asks before it replaces a file.
    """
    dialog = QFileDialog(parent, title, str(Path.home()), ";;".join(kinds))
    first = next(iter(kinds.values()))
    dialog.setDefaultSuffix(first)
    dialog.filterSelected.connect(lambda kind: dialog.setDefaultSuffix(kinds[kind]))
    dialog.setAcceptMode(QFileDialog.AcceptMode.AcceptSave)
    dialog.selectFile(f"{stem}.{first}")
    _open(dialog, take)


def ask_for_sheet(parent: QWidget, take: Callable[[Path], None]) -> None:
    """Choose a sheet that somebody has handed out."""
    dialog = QFileDialog(parent, "Sheet from a file", str(Path.home()), "Sheets (*.zip *.json);;All (*)")
    dialog.setFileMode(QFileDialog.FileMode.ExistingFile)
    dialog.setLabelText(QFileDialog.DialogLabel.Accept, "Take in")
    _open(dialog, take)


def _open(dialog: QFileDialog, take: Callable[[Path], None]) -> None:
    dialog.setAttribute(Qt.WidgetAttribute.WA_DeleteOnClose)
    dialog.fileSelected.connect(lambda chosen: take(Path(chosen)))
    dialog.open()
