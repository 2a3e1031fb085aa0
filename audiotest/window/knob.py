"""A control drawn as a knob: an arrow for the way, its length for how far, a band for how sure."""

import math

from PySide6.QtCore import QPointF, QRectF, QSize, Qt
from PySide6.QtGui import QBrush, QColor, QFontMetricsF, QPainter, QPainterPath, QPaintEvent, QPen
from PySide6.QtWidgets import QLabel, QSizePolicy, QWidget

from audiotest.window.presenter import ARROWS, ControlView, control_views
from audiotest.window.theme import LIGHT, Theme, bigger

DEGREES_PER_DB = 7.0
FURTHEST_DEG = 140.0
HEAD_DEG = 18.0


def turn_degrees(change_db: float) -> float:
    """Angle drawn for a change, clockwise from the top; a picture of the amount, not turns of a trimmer.

    >>> turn_degrees(6.0), turn_degrees(-60.0)
    (42.0, -140.0)
    """
    return max(-FURTHEST_DEG, min(FURTHEST_DEG, DEGREES_PER_DB * change_db))


class ControlKnob(QLabel):
    """One of the two controls with its instruction. The top of the ring is where the control stands now.

    It is a label to Qt, so that a screen reader takes it for something to read.
    """

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._theme = LIGHT
        self.view = control_views(None)[0]
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Expanding)

    def show_view(self, view: ControlView, theme: Theme) -> None:
        """Draw another instruction."""
        self.view, self._theme = view, theme
        self.setAccessibleName(view.spoken)
        self.setAccessibleDescription(
            "An arrow shows the way, its length how far; the shaded band shows where the right place may lie."
        )
        self.update()

    def sizeHint(self) -> QSize:
        """Room for a ring and four lines."""
        line = round(QFontMetricsF(self.font()).height())
        return QSize(14 * line, 18 * line)

    def minimumSizeHint(self) -> QSize:
        """The least that can be read."""
        line = round(QFontMetricsF(self.font()).height())
        return QSize(6 * line, 7 * line)

    def paintEvent(self, event: QPaintEvent) -> None:
        """Draw name, ring with band and arrow, and the words; the words grow with the room."""
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        area = QRectF(self.rect())
        ink, colour = QColor(self._theme.ink), self._theme.turn(self.view.turn)
        name_h, word_h, span_h = 0.09 * area.height(), 0.15 * area.height(), 0.07 * area.height()
        top = area.top()
        self._write(painter, QRectF(area.left(), top, area.width(), name_h), self.view.name, ink)
        foot = area.bottom() - 2 * word_h - span_h
        side = min(area.width(), foot - top - name_h) - 4.0
        if side > 20.0:
            centre = QPointF(area.center().x(), (top + name_h + foot) / 2.0)
            self._draw_ring(painter, centre, side / 2.0)
        way, amount = f"{ARROWS[self.view.turn]} {self.view.word}", self.view.amount
        line = QRectF(area.left(), foot, area.width(), word_h)
        if amount:
            self._write(painter, line, way, colour)
            self._write(painter, line.translated(0, word_h), amount, colour)
            span = QRectF(area.left(), foot + 2 * word_h, area.width(), span_h)
            self._write(painter, span, self.view.span, ink)
        else:
            self._write(painter, line.adjusted(0, 0.5 * word_h, 0, 0.5 * word_h), way, colour)

    def _write(self, painter: QPainter, box: QRectF, text: str, colour: QColor) -> None:
        """Write one line as large as its box."""
        font = bigger(self.font(), 1.0, bold=True)
        font.setPixelSize(max(round(0.84 * box.height()), 7))
        width = QFontMetricsF(font).horizontalAdvance(text)
        room = 0.94 * box.width()
        if width > room:
            font.setPixelSize(max(int(font.pixelSize() * room / width), 7))
        painter.setFont(font)
        painter.setPen(colour)
        painter.drawText(box, Qt.AlignmentFlag.AlignCenter, text)

    def _draw_ring(self, painter: QPainter, centre: QPointF, radius: float) -> None:
        theme = self._theme
        colour = theme.turn(self.view.turn)
        outer = QRectF(centre.x() - radius, centre.y() - radius, 2 * radius, 2 * radius)
        self._draw_band(painter, centre, radius, colour)
        for step in range(-20, 21, 5):
            angle = turn_degrees(float(step))
            painter.setPen(QPen(QColor(theme.faint), 1.5 if step == 0 else 1.0))
            painter.drawLine(_on(centre, radius * 0.99, angle), _on(centre, radius * 0.90, angle))
        body = radius * 0.60
        painter.setPen(QPen(QColor(theme.edge), 1.5))
        painter.setBrush(QColor(theme.panel))
        painter.drawEllipse(centre, body, body)
        painter.setPen(QPen(QColor(theme.ink), max(radius * 0.08, 2.0)))
        painter.drawLine(_on(centre, body * 0.45, 0.0), _on(centre, body * 0.95, 0.0))
        if self.view.turn in ("raise", "lower") and self.view.change_db is not None:
            self._draw_arrow(painter, centre, radius * 0.80, turn_degrees(self.view.change_db), colour)
        elif self.view.turn == "keep":
            painter.setPen(QPen(colour, max(radius * 0.08, 2.0)))
            painter.setBrush(Qt.BrushStyle.NoBrush)
            painter.drawEllipse(centre, radius * 0.66, radius * 0.66)
        else:
            low = outer.center().y()
            self._write(painter, QRectF(outer.left(), low, outer.width(), 0.7 * body), "?", colour)

    def _draw_band(self, painter: QPainter, centre: QPointF, radius: float, colour: QColor) -> None:
        """Shade where the right place may lie: hatched, so that it is seen without colour."""
        low, high = self.view.low_db, self.view.high_db
        start, end = (-FURTHEST_DEG, FURTHEST_DEG)
        pattern = Qt.BrushStyle.BDiagPattern
        if low is not None and high is not None:
            start, end = turn_degrees(low), turn_degrees(high)
            pattern = Qt.BrushStyle.SolidPattern
        shade = QColor(colour)
        shade.setAlpha(90 if pattern == Qt.BrushStyle.SolidPattern else 60)
        band = QPainterPath()
        box = QRectF(centre.x() - radius, centre.y() - radius, 2 * radius, 2 * radius)
        inner = radius * 0.62
        small = QRectF(centre.x() - inner, centre.y() - inner, 2 * inner, 2 * inner)
        band.arcMoveTo(box, 90.0 - start)
        band.arcTo(box, 90.0 - start, start - end)
        band.arcTo(small, 90.0 - end, end - start)
        band.closeSubpath()
        painter.fillPath(band, QBrush(shade, pattern))

    def _draw_arrow(
        self, painter: QPainter, centre: QPointF, radius: float, angle: float, colour: QColor
    ) -> None:
        way = 1.0 if angle > 0.0 else -1.0
        # A small turn still gets a whole head: its way must be seen, its amount is written below.
        angle = way * max(abs(angle), HEAD_DEG)
        width = max(radius * 0.17, 3.0)
        shaft_end = angle - way * HEAD_DEG
        box = QRectF(centre.x() - radius, centre.y() - radius, 2 * radius, 2 * radius)
        painter.setPen(QPen(colour, width, Qt.PenStyle.SolidLine, Qt.PenCapStyle.FlatCap))
        painter.setBrush(Qt.BrushStyle.NoBrush)
        painter.drawArc(box, 90 * 16, round(-shaft_end * 16))
        tip = QPainterPath(_on(centre, radius, angle))
        tip.lineTo(_on(centre, radius + 1.7 * width, shaft_end))
        tip.lineTo(_on(centre, radius - 1.7 * width, shaft_end))
        tip.closeSubpath()
        painter.fillPath(tip, colour)


def _on(centre: QPointF, radius: float, degrees: float) -> QPointF:
    """Point on a circle, clockwise from the top."""
    turn = math.radians(degrees)
    return QPointF(centre.x() + radius * math.sin(turn), centre.y() - radius * math.cos(turn))
