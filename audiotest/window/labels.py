"""Labels that make the best of their room: one grows and shrinks its letters, one cuts its end off."""

from html import escape

from PySide6.QtCore import QEvent, QRect, QSize, Qt
from PySide6.QtGui import QFont, QFontMetrics, QFontMetricsF, QPainter, QPaintEvent, QResizeEvent
from PySide6.QtWidgets import QApplication, QLabel, QSizePolicy, QWidget

from audiotest.window.minus import with_minus
from audiotest.window.theme import bigger

STEPS = 24


def plain_tip(text: str) -> str:
    """A tool tip that says `text`, markup or not, with a minus sign before negative numbers.

    >>> plain_tip("-8 dB"), plain_tip("a <b> c")
    ('−8 dB', '<qt>a &lt;b&gt; c</qt>')
    """
    text = with_minus(text)
    return f"<qt>{escape(text)}</qt>" if "<" in text or "&" in text else text


class FittedLabel(QLabel):
    """Wrapped text in the largest letters that fit, between two sizes relative to the usual font.

    Parameters
    ----------
    smallest, largest : float
        Bounds of the letters; text that does not fit at `smallest` is cut at the bottom, and the tool tip
        has all of it.
    lines : float
        Lines of the usual font that it asks for.
    bold : bool
        Weight of the letters.
    spoken : str
        What the text is, for a screen reader; said before it.
    """

    def __init__(
        self, smallest: float, largest: float, *, lines: float, bold: bool = False, spoken: str = "",
        parent: QWidget | None = None,
    ) -> None:  # fmt: skip
        super().__init__(parent)
        self._whole = ""
        self._spoken = spoken
        self._bounds, self._lines, self._bold = (smallest, largest), lines, bold
        self.setWordWrap(True)
        self.setTextFormat(Qt.TextFormat.PlainText)
        self.setAlignment(Qt.AlignmentFlag.AlignLeft | Qt.AlignmentFlag.AlignTop)
        self.setSizePolicy(QSizePolicy.Policy.Ignored, QSizePolicy.Policy.Ignored)

    def setText(self, text: str) -> None:
        """Show another text."""
        text = with_minus(text)
        if text != self._whole:
            self._whole = text
            self.setToolTip(plain_tip(text))
            self.setAccessibleName(f"{self._spoken}: {text}" if self._spoken else text)
            self.fit()

    def text(self) -> str:
        """All of the text, also what there is no room for."""
        return self._whole

    def hasHeightForWidth(self) -> bool:
        """Its height is its room's affair, never the text's."""
        return False

    def sizeHint(self) -> QSize:
        """The lines it asks for."""
        line = QFontMetricsF(QApplication.font()).height()
        return QSize(round(12 * line), round(self._lines * line))

    def minimumSizeHint(self) -> QSize:
        """Half of that."""
        hint = self.sizeHint()
        return QSize(hint.width() // 2, hint.height() // 2)

    def resizeEvent(self, event: QResizeEvent) -> None:
        """Fit the letters to the new room."""
        super().resizeEvent(event)
        self.fit()

    def changeEvent(self, event: QEvent) -> None:
        """Follow the size of the usual font."""
        super().changeEvent(event)
        if event.type() == QEvent.Type.ApplicationFontChange:
            self.fit()

    def fit(self) -> None:
        """Choose the largest letters that fit; what does not fit at the smallest ends in an ellipsis."""
        smallest, largest = self._bounds
        usual = QApplication.font()
        for step in range(STEPS + 1):
            font = bigger(usual, largest + (smallest - largest) * step / STEPS, bold=self._bold)
            if self._fits(self._whole, font):
                break
        words = self._whole.split(" ")
        shown = self._whole
        while len(words) > 1 and not self._fits(shown, font):
            words.pop()
            shown = " ".join(words) + " …"
        if font != self.font():
            self.setFont(font)
        if shown != super().text():
            super().setText(shown)

    def _fits(self, text: str, font: QFont) -> bool:
        room = self.contentsRect()
        flags = int(self.alignment().value) | int(Qt.TextFlag.TextWordWrap.value)
        box = QFontMetrics(font).boundingRect(QRect(0, 0, max(room.width(), 1), 100000), flags, text)
        return box.width() <= room.width() and box.height() <= room.height()


class CutLabel(QLabel):
    """One line that ends in an ellipsis where there is no room; the tool tip has all of it.

    With `whole` set it asks for all its room and leaves the cutting to its neighbours.
    """

    def __init__(self, *, whole: bool = False, spoken: str = "", parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._keep = whole
        self._spoken = spoken
        self.setSizePolicy(QSizePolicy.Policy.Preferred, QSizePolicy.Policy.Fixed)

    def keep_whole(self, whole: bool) -> None:
        """From now on it asks for all its room, or no longer."""
        if whole != self._keep:
            self._keep = whole
            self.updateGeometry()

    def setText(self, text: str) -> None:
        """Show another text."""
        text = with_minus(text)
        if text != self.text():
            super().setText(text)
            self.setToolTip(plain_tip(text))
            self.setAccessibleName(f"{self._spoken}: {text}" if self._spoken else text)

    def sizeHint(self) -> QSize:
        """Room for the whole line."""
        hint = super().sizeHint()
        return QSize(hint.width() + 2, hint.height())

    def minimumSizeHint(self) -> QSize:
        """A few letters, or all of them."""
        hint = self.sizeHint()
        few = QFontMetrics(self.font()).averageCharWidth() * 6
        return QSize(hint.width() if self._keep else min(few, hint.width()), hint.height())

    def paintEvent(self, event: QPaintEvent) -> None:
        """Write what fits."""
        painter = QPainter(self)
        painter.setPen(self.palette().color(self.foregroundRole()))
        painter.setFont(self.font())
        room = self.contentsRect()
        text = QFontMetrics(self.font()).elidedText(self.text(), Qt.TextElideMode.ElideRight, room.width())
        painter.drawText(room, int((self.alignment() | Qt.AlignmentFlag.AlignVCenter).value), text)
