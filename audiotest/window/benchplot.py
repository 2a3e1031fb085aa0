"""The plot of a bench measurement: it grows point by point, against its limit, mask or marks."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import pyqtgraph as pg
from PySide6.QtCore import Qt
from PySide6.QtWidgets import QSizePolicy, QVBoxLayout, QWidget

from audiotest.measure.sensitivity import SINAD_12_DB, SINAD_20_DB
from audiotest.tones.reported import curves_on_axes, on_axis
from audiotest.tones.steps import Curve, Report
from audiotest.window.plots import DASHED, SOLID, Legend, dress_plot, make_plot
from audiotest.window.theme import LIGHT, Theme

MARGIN = 0.06
SYMBOLS = ("o", "t", "s", "d", "t1")
BOUNDS = ("mask low", "mask high", "|J0|", "|J1|", "|J2|")
"""Curves that nobody measured: what the others are held against. They are drawn as broken lines."""
LEVELS_DB = (SINAD_12_DB, SINAD_20_DB)


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """A level to hold the curves against, with its name, which stands where no curve runs."""

    at: float
    name: str
    left: bool = False


def lines_for(procedure: str, limit_khz: float) -> tuple[Line, ...]:
    """The levels that belong into a procedure's plot."""
    if procedure == "limiting":
        return (Line(at=limit_khz, name=f"limit {limit_khz:g} kHz", left=True),)
    if procedure in ("sensitivity", "sinad"):
        return tuple(Line(at=level_db, name=f"{level_db:.0f} dB") for level_db in LEVELS_DB)
    return ()


class BenchPlot(QWidget):
    """Draws a report's curves as far as they have come; the axes widen with them."""

    def __init__(self) -> None:
        super().__init__()
        self.theme = LIGHT
        self.shown: tuple[Curve, ...] = ()
        self._lines: tuple[Line, ...] = ()
        self._report: Report | None = None
        self._plot = make_plot("plot")
        self._items: list[Any] = []
        self._legend = Legend(self._plot)
        self._x_log = False
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Expanding)
        self.setMinimumSize(180, 110)
        self.setAccessibleName("plot")
        layout = QVBoxLayout(self)
        layout.setContentsMargins(0, 0, 0, 0)
        layout.addWidget(self._plot)

    def dress(self, theme: Theme) -> None:
        """Colours and sizes of letters."""
        self.theme = theme
        report, self._report = self._report, None
        dress_plot(self._plot, theme)
        self._legend.dress(theme)
        if report is not None:
            self.show_report(report, self._lines)

    def show_report(self, report: Report, lines: Sequence[Line]) -> None:
        """Draw it; nothing is drawn anew while nothing has changed."""
        if report is self._report:
            return
        self._report, self._lines = report, tuple(lines)
        self.shown = tuple(curves_on_axes(report))
        self._x_log = report.x_logarithmic
        self._clear()
        # A single curve that has its own unit has its own axis name too.
        alone = len(self.shown) == 1 and ", " in self.shown[0].name and not report.y_label
        self._name_axes(report.x_label, self.shown[0].name if alone else report.y_label)
        self._fit_axes()
        for line in self._lines:
            self._draw_line(line)
        entries = [self._draw(curve, k) for k, curve in enumerate(self.shown)]
        self._legend.write(entries)
        self.setAccessibleDescription(self.spoken())

    def spoken(self) -> str:
        """The plot in words, for a screen reader."""
        report = self._report
        if report is None or not self.shown:
            return "nothing measured yet"
        parts = []
        for curve in self.shown:
            x, y = curve.points[-1]
            last = f"{on_axis(y, report.y_label)} at {on_axis(x, report.x_label)}"
            parts.append(f"{curve.name}: {len(curve.points)} points, last {last}")
        return "; ".join(parts)

    def _clear(self) -> None:
        for item in self._items:
            self._plot.removeItem(item)
        self._items = []

    def _name_axes(self, x_label: str, y_label: str) -> None:
        self._plot.setLabel("bottom", x_label)
        self._plot.setLabel("left", y_label)
        dress_plot(self._plot, self.theme)

    def _fit_axes(self) -> None:
        xs = [self._place(x) for curve in self.shown for x, _ in curve.points]
        ys = [y for curve in self.shown for _, y in curve.points]
        measured = [y for curve in self.shown if curve.name not in BOUNDS for _, y in curve.points]
        if not xs:
            xs, ys = [0.0, 1.0], [0.0, 1.0]
        ys += [line.at for line in self._lines]
        if measured and min(measured) >= 0.0 and self._counts_from_nothing():
            ys.append(0.0)
        x_range, y_range = _widened(xs), _widened(ys)
        # Room for the names of the lines above the highest point.
        y_range = (y_range[0], y_range[1] + 0.12 * (y_range[1] - y_range[0]))
        self._plot.setRange(xRange=x_range, yRange=y_range, padding=0.0)
        self._plot.getAxis("bottom").setTicks(_log_ticks(*x_range) if self._x_log else None)
        self._plot.getAxis("left").setTicks(None)
        if not self.shown:
            # No numbers on the axes of a plot without points: they would mean nothing.
            for side in ("bottom", "left"):
                self._plot.getAxis(side).setTicks([[]])

    def _counts_from_nothing(self) -> bool:
        return self._report is not None and "kHz" in self._report.y_label

    def _place(self, x: float) -> float:
        return math.log10(x) if self._x_log and x > 0.0 else x

    def _colour(self, k: int) -> str:
        theme = self.theme
        return (theme.trace, theme.down, theme.right, theme.peak, theme.ink)[k % 5]

    def _draw(self, curve: Curve, k: int) -> tuple[str, str, str]:
        bound = curve.name in BOUNDS
        colour = self.theme.faint if bound else self._colour(k)
        pen = pg.mkPen(colour, width=1, style=Qt.PenStyle.DashLine if bound else Qt.PenStyle.SolidLine)
        item = pg.PlotDataItem(
            [self._place(x) for x, _ in curve.points], [y for _, y in curve.points], pen=pen,
            symbol=None if bound else SYMBOLS[k % len(SYMBOLS)], symbolSize=7,
            symbolPen=None if bound else colour, symbolBrush=None if bound else colour,
        )  # fmt: skip
        self._plot.addItem(item)
        self._items.append(item)
        return DASHED if bound else SOLID, curve.name, colour

    def _draw_line(self, line: Line) -> None:
        item = pg.InfiniteLine(
            pos=line.at, angle=0, pen=pg.mkPen(self.theme.limit, width=1, style=Qt.PenStyle.DashLine),
            label=line.name,
            labelOpts={
                "position": 0.02 if line.left else 0.98, "color": self.theme.limit,
                "anchors": [(0, 0), (0, 0)] if line.left else [(1, 1), (1, 1)],
            },
        )  # fmt: skip
        item.label.setFont(pg.QtWidgets.QApplication.font())
        self._plot.addItem(item)
        self._items.append(item)


def _widened(values: Sequence[float]) -> tuple[float, float]:
    """The range of values with a little room around.

    >>> _widened([0.0, 10.0])
    (-0.6, 10.6)
    """
    low, high = min(values), max(values)
    room = MARGIN * (high - low) or max(abs(low) * MARGIN, 0.1)
    return low - room, high + room


def _log_ticks(low: float, high: float) -> list[list[tuple[float, str]]]:
    """Ticks at 1, 2, 5 of each decade, as numbers; `low` and `high` are logarithms.

    >>> [text for _, text in _log_ticks(-0.5, 0.8)[0]]
    ['0.5', '1', '2', '5']
    """
    found = []
    steps = (1.0, 2.0, 5.0) if high - low > 0.5 else (1.0, 1.5, 2.0, 3.0, 4.0, 5.0, 7.0)
    for decade in range(math.floor(low), math.ceil(high) + 1):
        for step in steps:
            at = decade + math.log10(step)
            if low <= at <= high:
                found.append((at, f"{step * 10.0**decade:g}"))
    return [found]
