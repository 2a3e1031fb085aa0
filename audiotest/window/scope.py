"""The scope: audio over a few pitch periods, standing still, with the flattened view beside the raw one."""

from typing import Any

import numpy as np
import pyqtgraph as pg
from numpy.typing import NDArray
from PySide6.QtCore import Qt

from audiotest.measure.emphasis import USUAL_DEEMPHASIS_US
from audiotest.measure.filters import undo_deemphasis
from audiotest.measure.views import AUDIO_HIGH_HZ
from audiotest.records import Feed, LimitSet
from audiotest.window.cursor import Read
from audiotest.window.envelope import thinned
from audiotest.window.plots import DASHED, SOLID, Legend, dress_plot, make_plot
from audiotest.window.spectra import Trace, scope_trace, trigger_at
from audiotest.window.theme import LIGHT, Theme

BEFORE_S, AFTER_S, MARGIN_S, SEARCH_S = 0.005, 0.025, 0.010, 0.025
SPAN_S = BEFORE_S + AFTER_S + SEARCH_S + 2 * MARGIN_S
GHOSTS = 3
VIEWS = ("both", "flattened", "raw")


class Scope:
    """Draws the last few hundredths of a second; `plot` is the widget."""

    def __init__(self, limits: LimitSet, feed: Feed | None) -> None:
        self.plot: Any = make_plot("scope")
        self.plot.setMouseEnabled(x=True, y=False)
        self._view = "both"
        self._theme = LIGHT
        self.persistence = False
        self._feed, self._limits = feed, limits
        self._ghosts = [pg.PlotCurveItem(skipFiniteCheck=True) for _ in range(GHOSTS)]
        self._raw = pg.PlotCurveItem(skipFiniteCheck=True)
        self._flat = pg.PlotCurveItem(skipFiniteCheck=True)
        for curve in (*self._ghosts, self._raw, self._flat):
            self.plot.addItem(curve, ignoreBounds=True)
        self._limit_lines = [pg.InfiniteLine(angle=0, movable=False) for _ in range(2)]
        self._limiter_lines = [pg.InfiniteLine(angle=0, movable=False) for _ in range(2)]
        for line in (*self._limit_lines, *self._limiter_lines):
            self.plot.addItem(line, ignoreBounds=True)
        self._legend = Legend(self.plot)
        self._limiter_khz: float | None = None
        self._read: Trace | None = None
        self._last: list[tuple[NDArray[np.float32], NDArray[np.float32]]] = []
        self.dress(LIGHT, limits, feed)

    @property
    def unit(self) -> str:
        """What the upright axis counts in."""
        return "full scale" if self._feed is None else "kHz"

    def span_n(self, rate_hz: int) -> int:
        """Samples that one picture needs."""
        return round(SPAN_S * rate_hz)

    def dress(self, theme: Theme, limits: LimitSet, feed: Feed | None) -> None:
        """Draw in these colours, against these limits, in kHz when there is a scale."""
        self._feed, self._limits = feed, limits
        dress_plot(self.plot, theme)
        self._legend.dress(theme)
        self._flat.setPen(pg.mkPen(theme.trace, width=1))
        self._raw.setPen(pg.mkPen(theme.trace_back, width=1))
        for ghost in self._ghosts:
            ghost.setPen(pg.mkPen(theme.edge, width=1))
            ghost.setData([], [])
        for line, sign in zip(self._limit_lines, (1.0, -1.0), strict=True):
            line.setPen(pg.mkPen(theme.limit, width=1))
            line.setVisible(feed is not None)
            line.setValue(sign * limits.deviation_khz)
        for line in self._limiter_lines:
            line.setPen(pg.mkPen(theme.peak, width=1, style=Qt.PenStyle.DashLine))
        self._last.clear()
        self._theme = theme
        self.mark_limiter(self._limiter_khz)
        self.reset_zoom()

    @property
    def view(self) -> str:
        """Which traces are drawn: one of `VIEWS`."""
        return self._view

    @view.setter
    def view(self, view: str) -> None:
        self._view = view
        self._write_legend()

    def _write_legend(self) -> None:
        theme = self._theme
        entries = []
        if self._view != "raw":
            entries.append((SOLID, "flattened", theme.trace))
        if self._view != "flattened":
            entries.append((SOLID, "raw", theme.faint))
        if self._feed is not None:
            entries.append((SOLID, "limit", theme.limit))
            if self._limiter_khz is not None:
                entries.append((DASHED, "limiter", theme.peak))
        self._legend.write(entries)

    def read_off(self, x: float, y: float) -> tuple[Read, ...]:
        """Time from the trigger and the value of the trace there; nothing before the first trace."""
        # From the samples, not from the thinned curve that is drawn.
        if self._read is None:
            return ()
        time_ms, value = self._read
        unit, digits = ("kHz", 2) if self._feed is not None else ("of full scale", 3)
        there = float(np.interp(x, time_ms, value))
        return Read(value=x, unit="ms", digits=1), Read(value=there, unit=unit, digits=digits)

    def mark_limiter(self, level_khz: float | None) -> None:
        """Mark where the limiter held the last over; None when it did not act or no scale is known."""
        self._limiter_khz = level_khz
        for line, sign in zip(self._limiter_lines, (1.0, -1.0), strict=True):
            line.setVisible(level_khz is not None and self._feed is not None)
            if level_khz is not None:
                line.setValue(sign * level_khz)
        self._write_legend()

    def reset_zoom(self) -> None:
        """Back to the usual span."""
        high = 1.0 if self._feed is None else 1.5 * self._limits.deviation_khz
        self.plot.setXRange(-1000.0 * BEFORE_S, 1000.0 * AFTER_S, padding=0.0)
        self.plot.setYRange(-high, high, padding=0.0)

    def draw(self, samples: NDArray[np.float32], rate_hz: int) -> None:
        """Draw from the last `span_n` samples, shape (n,), full scale 1.0."""
        tau = self._feed.deemphasis_us if self._feed is not None else None
        tau = USUAL_DEEMPHASIS_US if tau is None else tau
        flat = undo_deemphasis(samples - np.mean(samples), rate_hz, tau, high_hz=AUDIO_HIGH_HZ)
        scale = 1.0 if self._feed is None else self._feed.scale_khz_per_fs
        before_n, after_n = round(BEFORE_S * rate_hz), round(AFTER_S * rate_hz)
        margin_n = round(MARGIN_S * rate_hz)
        inner = flat[margin_n : len(flat) - margin_n]
        at_n = margin_n + trigger_at(inner, before_n, after_n, round(SEARCH_S * rate_hz) - 1)
        columns = max(self.plot.width(), 100)
        if self.view != "raw":
            trace = scope_trace(flat * scale, at_n, before_n, after_n, rate_hz)
            self._read = trace
            x, y = thinned(trace.time_ms, trace.value, columns)
            self._keep_ghost(x, y)
            self._flat.setData(x, y)
        else:
            self._flat.setData([], [])
        if self.view != "flattened":
            trace = scope_trace(samples * scale, at_n, before_n, after_n, rate_hz)
            if self.view == "raw":
                self._read = trace
            self._raw.setData(*thinned(trace.time_ms, trace.value, columns))
        else:
            self._raw.setData([], [])

    def _keep_ghost(self, x: NDArray[np.float32], y: NDArray[np.float32]) -> None:
        if not self.persistence:
            if self._last:
                self._last.clear()
                for ghost in self._ghosts:
                    ghost.setData([], [])
            return
        for ghost, (old_x, old_y) in zip(self._ghosts, self._last, strict=False):
            ghost.setData(old_x, old_y)
        self._last = [*self._last[-(GHOSTS - 1) :], (x, y)]
