"""The balance map: drive into the limiter across, peak deviation up, every over a dot with its bounds."""

import math

import pyqtgraph as pg
from PySide6.QtCore import QRectF, Qt
from PySide6.QtGui import QColor, QFontMetricsF, QResizeEvent
from PySide6.QtWidgets import QApplication, QGraphicsRectItem, QVBoxLayout, QWidget

from audiotest.records import LimitSet, Turn
from audiotest.window.minus import with_minus
from audiotest.window.plots import dress_plot, make_plot
from audiotest.window.presenter import DRIVE_RANGE_DB, TRAIL_N, MapPoint, good_region
from audiotest.window.theme import LIGHT, Theme

HIGHEST_SHARE = 1.5
NARROW_LINES = 27.0
"""Below this width, in heights of a line of text, the regions are named in fewer words."""
WORD_ANCHORS = {
    "right": (0.0, 0.0), "quiet": (0.0, 1.0), "hard": (1.0, 1.0), "over": (0.0, 0.0), "limit": (0.0, 1.0),
}  # fmt: skip
SYMBOLS: dict[Turn, str] = {"raise": "t1", "lower": "t", "keep": "o", "unknown": "x"}


class BalanceMap(QWidget):
    """Turning one control moves the dot along one axis; the shaded region is where it belongs."""

    def __init__(self, limits: LimitSet, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.plot = make_plot("balance map", "drive into the limiter, dB", "peak deviation, kHz")
        layout = QVBoxLayout(self)
        layout.setContentsMargins(0, 0, 0, 0)
        layout.addWidget(self.plot)
        self._theme = LIGHT
        self._limits = limits
        self._top_khz = HIGHEST_SHARE * limits.deviation_khz
        self._points: tuple[MapPoint, ...] = ()
        self._chosen: tuple[int, ...] = ()
        self._region = QGraphicsRectItem()
        self._region.setZValue(-20)
        self.plot.addItem(self._region, ignoreBounds=True)
        self._limit = pg.InfiniteLine(angle=0, movable=False)
        self._reached = pg.InfiniteLine(pos=0.0, angle=90, movable=False)
        for line in (self._limit, self._reached):
            line.setZValue(-10)
            self.plot.addItem(line, ignoreBounds=True)
        self._words = {name: pg.TextItem(anchor=anchor) for name, anchor in WORD_ANCHORS.items()}
        for word in self._words.values():
            word.setZValue(-5)
            self.plot.addItem(word, ignoreBounds=True)
        self._path = pg.PlotCurveItem(antialias=True)
        self.plot.addItem(self._path)
        self._arrow = pg.ArrowItem(headLen=12, tipAngle=50, tailLen=None, pxMode=True)
        self.plot.addItem(self._arrow, ignoreBounds=True)
        self._last_step: tuple[tuple[float, float], tuple[float, float]] | None = None
        self._bars = [pg.PlotCurveItem(connect="pairs") for _ in range(TRAIL_N)]
        for bar in self._bars:
            self.plot.addItem(bar)
        self._dots = pg.ScatterPlotItem(antialias=True)
        self.plot.addItem(self._dots)
        self._numbers = [pg.TextItem(anchor=(-0.3, 1.1)) for _ in range(TRAIL_N)]
        for number in self._numbers:
            self.plot.addItem(number, ignoreBounds=True)
        self.dress(LIGHT, limits)

    def dress(self, theme: Theme, limits: LimitSet) -> None:
        """Draw in these colours, against these limits."""
        self._theme, self._limits = theme, limits
        dress_plot(self.plot, theme)
        region = good_region(limits)
        self._region.setRect(
            QRectF(
                region.drive_low_db, region.peak_low_khz, region.drive_high_db - region.drive_low_db,
                region.peak_high_khz - region.peak_low_khz,
            )
        )  # fmt: skip
        self._region.setPen(pg.mkPen(theme.right, width=1))
        self._region.setBrush(pg.mkBrush(theme.region))
        self._limit.setValue(limits.deviation_khz)
        self._limit.setPen(pg.mkPen(theme.limit, width=2))
        self._reached.setPen(pg.mkPen(theme.edge, width=1, style=Qt.PenStyle.DashLine))
        self._place_words()
        self.show_points(self._points, self._chosen)

    def resizeEvent(self, event: QResizeEvent) -> None:
        """Choose words that fit."""
        super().resizeEvent(event)
        self._place_words()
        self._place_arrow()

    def _place_words(self) -> None:
        """Name the regions from the corners in, in few words where there is little room."""
        theme, region, edge = self._theme, good_region(self._limits), self._limits.deviation_khz
        narrow = self.width() < NARROW_LINES * QFontMetricsF(QApplication.font()).height()
        low, high = DRIVE_RANGE_DB
        texts = {
            "right": ("right", theme.right, region.drive_low_db, region.peak_high_khz),
            "quiet": ("mic low" if narrow else "mic gain too low", theme.faint, low, 0.0),
            "hard": ("clipped" if narrow else "clipped: mic gain too high", theme.faint, high, 0.0),
            "over": ("" if narrow else "over the limit: deviation too high", theme.faint, low, self._top_khz),
            "limit": (f"limit {edge:g} kHz", theme.limit, low, edge),
        }  # fmt: skip
        for name, (text, colour, x, y) in texts.items():
            self._words[name].setText(text, color=colour)
            self._words[name].setPos(x, y)
            self._words[name].setFont(QApplication.font())

    def show_points(self, points: tuple[MapPoint, ...], chosen: tuple[int, ...] = ()) -> None:
        """Draw the trail, oldest first; `chosen` are the numbers of overs that stand out."""
        self._points, self._chosen = points[-TRAIL_N:], chosen
        top = HIGHEST_SHARE * self._limits.deviation_khz
        highest = max([point.peak_high_khz or 0.0 for point in self._points], default=0.0)
        top = max(top, 1.05 * highest)
        self.plot.setXRange(*DRIVE_RANGE_DB, padding=0.0)
        self.plot.setYRange(0.0, top, padding=0.0)
        self._top_khz = top
        self._words["over"].setPos(DRIVE_RANGE_DB[0], top)
        spots, xs, ys = [], [], []
        for k, bar in enumerate(self._bars):
            number = self._numbers[k]
            if k >= len(self._points):
                bar.setData([], [])
                number.setText("")
                continue
            point = self._points[k]
            colour = self._faded(point)
            x, y = _place(point, top)
            self._draw_bounds(bar, point, x, y, top, colour)
            spots.append(self._spot(point, x, y, colour))
            number.setText(str(point.number), color=colour)
            number.setPos(x, y)
            if point.drive_db is not None and point.peak_khz is not None:
                xs.append(x)
                ys.append(y)
        self._dots.setData(spots)
        self._path.setData(xs, ys, pen=pg.mkPen(self._theme.faint, width=1, style=Qt.PenStyle.DotLine))
        moved = bool(self._points) and self._points[-1].moved and len(xs) > 1
        moved = moved and self._points[-1].drive_db is not None and self._points[-1].peak_khz is not None
        self._last_step = ((xs[-2], ys[-2]), (xs[-1], ys[-1])) if moved else None
        self._place_arrow()
        self.plot.setAccessibleDescription(_spoken(self._points))

    def _place_arrow(self) -> None:
        """An arrowhead half way along the last step, when it was more than chance."""
        self._arrow.setVisible(self._last_step is not None)
        if self._last_step is None:
            return
        (x0, y0), (x1, y1) = self._last_step
        across, up = self.plot.getViewBox().viewPixelSize()
        # An arrow at angle 0 points to the left, and angles grow clockwise on the screen.
        angle = 180.0 - math.degrees(math.atan2((y1 - y0) / up, (x1 - x0) / across))
        self._arrow.setStyle(angle=angle, brush=pg.mkBrush(self._theme.ink), pen=pg.mkPen(None))
        self._arrow.setPos((x0 + x1) / 2.0, (y0 + y1) / 2.0)

    def _faded(self, point: MapPoint) -> QColor:
        colour = self._theme.turn(point.turn)
        if point.number not in self._chosen:
            colour.setAlpha(max(255 - 38 * point.age, 50))
        return colour

    def _spot(self, point: MapPoint, x: float, y: float, colour: QColor) -> dict[str, object]:
        large = point.age == 0 or point.number in self._chosen
        symbol = SYMBOLS[point.turn]
        return {
            "pos": (x, y), "size": 19 if large else 12, "symbol": symbol,
            "brush": pg.mkBrush(colour), "pen": pg.mkPen(self._theme.ink if large else colour, width=1.5),
        }  # fmt: skip

    def _draw_bounds(
        self, bar: object, point: MapPoint, x: float, y: float, top: float, colour: QColor
    ) -> None:
        low, high = point.drive_low_db, point.drive_high_db
        if point.drive_db is None:
            low = DRIVE_RANGE_DB[0] if low is None else low
            high = DRIVE_RANGE_DB[1] if high is None else high
        bottom, upper = point.peak_low_khz, point.peak_high_khz
        if point.peak_khz is None:
            bottom, upper = 0.0, top
        xs = [x if low is None else low, x if high is None else high, x, x]
        ys = [y, y, y if bottom is None else bottom, y if upper is None else upper]
        width = 2 if point.age == 0 else 1
        bar.setData(xs, ys, pen=pg.mkPen(colour, width=width))  # type: ignore[attr-defined]


def _place(point: MapPoint, top: float) -> tuple[float, float]:
    """Where the dot is drawn: inside the picture, at the bound when only a bound is known."""
    low, high = DRIVE_RANGE_DB
    x = point.drive_db
    if x is None:
        x = point.drive_high_db if point.drive_high_db is not None else point.drive_low_db
    x = (low + high) / 2.0 if x is None else x
    y = top / 2.0 if point.peak_khz is None else point.peak_khz
    return min(max(x, low), high), y


def _spoken(points: tuple[MapPoint, ...]) -> str:
    if not points:
        return "no over yet"
    last = points[-1]
    drive = "drive unknown" if last.drive_db is None else f"drive {last.drive_db:+.1f} dB"
    peak = "peak unknown" if last.peak_khz is None else f"peak {last.peak_khz:.2f} kHz"
    return with_minus(f"over {last.number}: {drive}, {peak}")
