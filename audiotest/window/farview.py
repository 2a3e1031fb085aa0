"""The far view: one instruction and one figure, as large as the screen allows."""

from PySide6.QtCore import QRectF, Qt
from PySide6.QtGui import QColor, QFontMetricsF, QPainter, QPaintEvent, QPen
from PySide6.QtWidgets import QLabel, QSizePolicy, QWidget

from audiotest.window.fartext import FarView, Strip
from audiotest.window.presenter import ARROWS
from audiotest.window.theme import LIGHT, Theme, bigger


class FarPane(QLabel):
    """Fills its room with the advice; the text grows with it."""

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._theme = LIGHT
        self.view = FarView(
            turn="unknown",
            headline="TALK",
            amount="",
            then="",
            figure="",
            figure_note="",
            strip=None,
            state="",
        )
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Expanding)

    def show_view(self, view: FarView, theme: Theme) -> None:
        """Draw another instruction; nothing is drawn when nothing changed."""
        if (view, theme) == (self.view, self._theme):
            return
        self.view, self._theme = view, theme
        parts = (
            f"{view.headline} {view.amount}".strip(),
            view.then,
            view.trend,
            view.figure,
            view.figure_note,
        )
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
        below = QRectF(pad, banner.bottom(), w - 2 * pad, 0.44 * h)
        if not view.figure:
            if view.trend:
                below.setHeight(0.36 * h)
                line = QRectF(pad, below.bottom(), below.width(), 0.06 * h)
                self._fit(painter, line, view.trend, QColor(theme.faint), 0.055 * h)
            self._fit(painter, below, view.then, QColor(theme.ink), 0.16 * h, wrap=True)
        else:
            self._draw_figure(painter, below, h)
        state = QRectF(pad, 0.925 * h, w - 2 * pad, 0.07 * h)
        self._draw_state(painter, state, h)

    def _draw_state(self, painter: QPainter, box: QRectF, h: float) -> None:
        """How a recording stands, which no long message makes smaller; what else there is to say."""
        theme, view = self._theme, self.view
        if view.recording:
            own = QRectF(box.left(), box.top(), 0.5 * box.width(), box.height())
            used = self._fit(painter, own, view.recording, QColor(theme.ink), 0.05 * h, left=True)
            box = box.adjusted(used + 0.02 * box.width(), 0, 0, 0)
        said = f"{view.state}   ·   F or Esc: back to the bench"
        self._fit(painter, box, said, QColor(theme.faint), 0.04 * h, least=0.5)

    def _draw_figure(self, painter: QPainter, box: QRectF, h: float) -> None:
        """What comes then, what the last turn did, the figure, its band on a scale, and where it belongs."""
        theme, view = self._theme, self.view
        top = box.top() + 0.01 * h
        if view.then:
            line = QRectF(box.left(), top, box.width(), 0.10 * h)
            self._fit(painter, line, view.then, QColor(theme.ink), 0.085 * h, wrap=True)
            top += 0.10 * h
        if view.trend:
            line = QRectF(box.left(), top, box.width(), 0.06 * h)
            self._fit(painter, line, view.trend, QColor(theme.faint), 0.055 * h)
            top += 0.06 * h
        strip_h = 0.09 * h if view.strip is not None else 0.0
        note_h = 0.075 * h
        figure_h = box.bottom() - strip_h - note_h - top
        self._fit(
            painter, QRectF(box.left(), top, box.width(), figure_h), view.figure, theme.turn(view.turn),
            0.95 * figure_h,
        )  # fmt: skip
        if view.strip is not None:
            place = QRectF(box.left(), top + figure_h, box.width(), strip_h)
            self._draw_strip(painter, place, view.strip)
        note = QRectF(box.left(), top + figure_h + strip_h, box.width(), note_h)
        self._fit(painter, note, view.figure_note, QColor(theme.ink), 0.065 * h)

    def _draw_strip(self, painter: QPainter, box: QRectF, strip: Strip) -> None:
        """The scale with the right stretch shaded, and on it the band the figure lies in."""
        theme = self._theme

        def stretch(low: float, high: float, inset: float) -> QRectF:
            shares = [
                min(max((value - strip.low) / (strip.high - strip.low), 0.0), 1.0) for value in (low, high)
            ]
            left, right = (box.left() + share * box.width() for share in shares)
            return QRectF(left, box.top() + inset, max(right - left, 3.0), box.height() - 2 * inset)

        painter.fillRect(stretch(strip.low, strip.high, 0.1 * box.height()), QColor(theme.panel))
        good = stretch(strip.good_low, strip.good_high, 0.1 * box.height())
        painter.fillRect(good, QColor(theme.region))
        painter.setPen(QPen(QColor(theme.right), max(0.04 * box.height(), 1.5)))
        painter.drawRect(good)
        band = stretch(strip.band_low, strip.band_high, 0.28 * box.height())
        painter.fillRect(band, theme.turn(self.view.turn))

    def _fit(
        self, painter: QPainter, box: QRectF, text: str, colour: QColor, height: float, *, wrap: bool = False,
        left: bool = False, least: float = 0.0,
    ) -> float:  # fmt: skip
        """Write `text` into `box`, `height` pixels high or less if it would not fit; the width it has.

        At the `least` share of that height it gets no smaller and loses its beginning: a sentence's reason
        stands at its end.
        """
        if not text:
            return 0.0
        font = bigger(self.font(), 1.0, bold=True)
        font.setPixelSize(max(round(0.8 * height), 8))
        smallest = max(round(0.8 * least * height), 9)
        flags = Qt.AlignmentFlag.AlignVCenter | (
            Qt.AlignmentFlag.AlignLeft if left else Qt.AlignmentFlag.AlignHCenter
        )
        kind = int(flags.value) | (int(Qt.TextFlag.TextWordWrap.value) if wrap else 0)
        for _ in range(30):
            room = QFontMetricsF(font).boundingRect(box, kind, text)
            if (
                room.width() <= box.width() and room.height() <= box.height()
            ) or font.pixelSize() <= smallest:
                break
            font.setPixelSize(max(round(0.93 * font.pixelSize()), smallest))
        if not wrap:
            text = QFontMetricsF(font).elidedText(text, Qt.TextElideMode.ElideLeft, box.width())
        painter.setFont(font)
        painter.setPen(colour)
        painter.drawText(box, kind, text)
        return QFontMetricsF(font).horizontalAdvance(text)
