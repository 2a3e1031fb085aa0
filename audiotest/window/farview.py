"""The far view: one instruction and one figure, as large as the screen allows."""

from PySide6.QtCore import QRectF, Qt
from PySide6.QtGui import QColor, QFontMetricsF, QPainter, QPaintEvent
from PySide6.QtWidgets import QSizePolicy, QWidget

from audiotest.window.presenter import ARROWS, FarView
from audiotest.window.theme import LIGHT, Theme, bigger


class FarPane(QWidget):
    """Fills its room with the advice; the text grows with it."""

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._theme = LIGHT
        self.view = FarView(
            turn="unknown", headline="TALK", amount="", then="", figure="", figure_note="", state=""
        )
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Expanding)

    def show_view(self, view: FarView, theme: Theme) -> None:
        """Draw another instruction; nothing is drawn when nothing changed."""
        if (view, theme) == (self.view, self._theme):
            return
        self.view, self._theme = view, theme
        parts = (f"{view.headline} {view.amount}".strip(), view.then, view.figure, view.figure_note)
        self.setAccessibleName(". ".join(part for part in parts if part))
        self.update()

    def paintEvent(self, event: QPaintEvent) -> None:
        """A banner in the colour of the advice; under it what comes then, and the figure being trimmed."""
        painter = QPainter(self)
        theme, view = self._theme, self.view
        painter.fillRect(self.rect(), QColor(theme.ground))
        w, h = float(self.width()), float(self.height())
        pad = 0.03 * w
        banner = QRectF(0, 0, w, 0.47 * h)
        painter.fillRect(banner, theme.turn(view.turn))
        ink = QColor(theme.ink_on_colour)
        arrow = QRectF(pad, 0, 0.16 * w, banner.height())
        self._fit(painter, arrow, ARROWS[view.turn], ink, 0.36 * h)
        words = QRectF(arrow.right() + pad, 0, w - arrow.right() - 2 * pad, banner.height())
        if view.amount:
            top = QRectF(words.left(), 0.02 * h, words.width(), 0.20 * h)
            self._fit(painter, top, view.headline, ink, 0.17 * h)
            below = QRectF(words.left(), 0.21 * h, words.width(), 0.25 * h)
            self._fit(painter, below, view.amount, ink, 0.24 * h)
        else:
            self._fit(painter, words, view.headline, ink, 0.26 * h)
        then = QRectF(pad, banner.bottom() + 0.015 * h, w - 2 * pad, 0.13 * h)
        self._fit(painter, then, view.then, QColor(theme.ink), 0.10 * h, wrap=True)
        top_share = 0.62 if view.then else 0.52
        figure = QRectF(pad, top_share * h, w - 2 * pad, (0.82 - top_share) * h)
        self._fit(painter, figure, view.figure, theme.turn(view.turn), (0.81 - top_share) * h)
        note = QRectF(pad, 0.82 * h, w - 2 * pad, 0.09 * h)
        self._fit(painter, note, view.figure_note, QColor(theme.ink), 0.07 * h)
        state = QRectF(pad, 0.915 * h, w - 2 * pad, 0.075 * h)
        self._fit(
            painter, state, f"{view.state}   ·   F or Esc: back to the bench", QColor(theme.faint), 0.04 * h
        )

    def _fit(
        self, painter: QPainter, box: QRectF, text: str, colour: QColor, height: float, *, wrap: bool = False
    ) -> None:
        """Write `text` into `box`, `height` pixels high or less if it would not fit."""
        if not text:
            return
        font = bigger(self.font(), 1.0, bold=True)
        font.setPixelSize(max(round(0.8 * height), 8))
        flags = Qt.AlignmentFlag.AlignCenter
        kind = int(flags.value) | (int(Qt.TextFlag.TextWordWrap.value) if wrap else 0)
        for _ in range(30):
            room = QFontMetricsF(font).boundingRect(box, kind, text)
            if (room.width() <= box.width() and room.height() <= box.height()) or font.pixelSize() <= 9:
                break
            font.setPixelSize(max(round(0.93 * font.pixelSize()), 9))
        painter.setFont(font)
        painter.setPen(colour)
        painter.drawText(box, kind, text)
