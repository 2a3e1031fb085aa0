"""A page of text in a window of its own, that scrolls where the screen is small."""

from PySide6.QtCore import QSize, Qt
from PySide6.QtGui import QFontMetricsF
from PySide6.QtWidgets import QApplication, QDialog, QPushButton, QTextBrowser, QVBoxLayout, QWidget


class TextPage(QDialog):
    """Shows HTML; does not hold the bench up."""

    def __init__(self, title: str, html: str, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setAttribute(Qt.WidgetAttribute.WA_DeleteOnClose)
        self.setModal(False)
        self.setWindowTitle(title)
        self._html = html
        self._page = QTextBrowser()
        self._page.setAccessibleName(title)
        self._page.setHtml(f"<h3>{title}</h3>{html}")
        done = QPushButton("&Done")
        done.clicked.connect(self.close)
        layout = QVBoxLayout(self)
        layout.addWidget(self._page, 1)
        layout.addWidget(done, 0, Qt.AlignmentFlag.AlignRight)
        self.resize(self.sizeHint())

    def sizeHint(self) -> QSize:
        """As much of the text as the screen has room for."""
        line = QFontMetricsF(QApplication.font()).height()
        room = self.screen().availableSize()
        width = min(round(36 * line), round(0.95 * room.width()))
        document = self._page.document()
        document.setTextWidth(width - 3 * line)
        return QSize(width, min(round(document.size().height() + 5.5 * line), round(0.92 * room.height())))

    def text(self) -> str:
        """The HTML as it was given."""
        return self._html
