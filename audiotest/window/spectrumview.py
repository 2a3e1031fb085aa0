"""The spectrum with its average and held peaks, and the waterfall."""

from collections import deque
from math import floor
from typing import Any

import numpy as np
import pyqtgraph as pg
from numpy.typing import NDArray
from PySide6.QtCore import QRectF, Qt
from PySide6.QtGui import QColor
from PySide6.QtWidgets import QGraphicsRectItem

from audiotest.records import Feed, LimitSet
from audiotest.window.cursor import Read
from audiotest.window.meters import SETTLED_S
from audiotest.window.plots import DASHED, SOLID, Legend, dress_plot, make_plot
from audiotest.window.spectra import (
    COLOURS,
    SPECTRUM_HIGH_HZ,
    WATERFALL_RANGE_DB,
    SpectrumMemory,
    colour_row,
    response_mask,
    spectrum_dbfs,
    spectrum_size,
)
from audiotest.window.theme import LIGHT, Theme

LEVEL_RANGE_DBFS = (-110.0, 0.0)
HARMONICS = 6
ROWS, COLUMNS = 160, 250
ROW_S = 0.05


class SpectrumView:
    """Amplitude spectrum of the audio to 5 kHz; `plot` is the widget."""

    def __init__(self, limits: LimitSet) -> None:
        self.plot: Any = make_plot("spectrum")
        self.plot.setMouseEnabled(x=True, y=False)
        self.average = True
        self._above = QGraphicsRectItem()
        self._above.setZValue(-20)
        self.plot.addItem(self._above, ignoreBounds=True)
        self._peak = pg.PlotCurveItem(skipFiniteCheck=True)
        self._curve = pg.PlotCurveItem(skipFiniteCheck=True)
        self._mask = pg.PlotCurveItem(skipFiniteCheck=True)
        for curve in (self._peak, self._curve, self._mask):
            self.plot.addItem(curve, ignoreBounds=True)
        self._harmonics = [pg.InfiniteLine(angle=90, movable=False) for _ in range(HARMONICS)]
        for line in self._harmonics:
            line.setVisible(False)
            self.plot.addItem(line, ignoreBounds=True)
        self._legend = Legend(self.plot)
        self._high_hz = limits.audio_high_hz
        self._deemphasised = True
        self._memory: SpectrumMemory | None = None
        self._recent: deque[tuple[float, NDArray[np.float32]]] = deque()
        self._hz = np.zeros(0, dtype=np.float32)
        self._rate_hz = 0
        self.dress(LIGHT, limits, None)

    def dress(self, theme: Theme, limits: LimitSet, feed: Feed | None) -> None:
        """Draw in these colours; the shade begins where the service's audio ends."""
        dress_plot(self.plot, theme)
        self._high_hz = limits.audio_high_hz
        self._deemphasised = feed is None or feed.deemphasis_us != 0.0
        self._mask.setPen(pg.mkPen(theme.limit, width=2, style=Qt.PenStyle.DashLine))
        self._mask.setData([], [])
        self._curve.setPen(pg.mkPen(theme.trace, width=1))
        self._peak.setPen(pg.mkPen(theme.peak, width=1))
        # An opaque colour: shading through it would have to be mixed pixel by pixel in every frame.
        self._above.setBrush(pg.mkBrush(theme.ground))
        self._above.setPen(pg.mkPen(theme.edge, width=1))
        low, high = LEVEL_RANGE_DBFS
        self._above.setRect(
            QRectF(limits.audio_high_hz, low, SPECTRUM_HIGH_HZ - limits.audio_high_hz, high - low)
        )
        for line in self._harmonics:
            line.setPen(pg.mkPen(theme.faint, width=1, style=Qt.PenStyle.DotLine))
        self._legend.dress(theme)
        self._legend.write(
            [
                (SOLID, "now", theme.trace),
                (SOLID, "peaks held", theme.peak),
                (DASHED, "mask", theme.limit),
            ]
        )
        self.reset_zoom()

    def reset_zoom(self) -> None:
        """Back to the whole band."""
        self.plot.setXRange(0.0, SPECTRUM_HIGH_HZ, padding=0.0)
        self.plot.setYRange(*LEVEL_RANGE_DBFS, padding=0.0)

    def clear_peaks(self) -> None:
        """Forget the held peaks."""
        if self._memory is not None:
            self._memory.clear()
        self._mask.setData([], [])

    def draw(
        self, samples: NDArray[np.float32], rate_hz: int, *, over_s: float | None = None
    ) -> NDArray[np.float32]:
        """Draw from samples of shape (spectrum_size(rate_hz),); hands the spectrum on, to 5 kHz.

        `over_s` is how long a running over has lasted. Peaks are held of what lies well inside an over, which
        is certain a moment later: the hiss around it would bury what was said.
        """
        level = spectrum_dbfs(samples)
        if self._memory is None or rate_hz != self._rate_hz:
            self._rate_hz = rate_hz
            count = int(np.searchsorted(np.fft.rfftfreq(len(samples), 1 / rate_hz), SPECTRUM_HIGH_HZ)) + 1
            self._hz = np.fft.rfftfreq(len(samples), 1 / rate_hz)[:count].astype(np.float32)
            self._memory = SpectrumMemory(len(self._hz))
            self._recent.clear()
        level = level[: len(self._hz)]
        self._memory.push(level, hold=False)
        held = self._hold_settled(level, over_s)
        self._peak.setData(self._hz, self._memory.peak_dbfs)
        self._curve.setData(self._hz, self._memory.average_dbfs if self.average else level)
        if held:
            self._mask.setData(
                *response_mask(
                    self._hz, self._memory.peak_dbfs, self._high_hz, deemphasised=self._deemphasised
                )
            )
        return level

    def _hold_settled(self, level_dbfs: NDArray[np.float32], over_s: float | None) -> bool:
        """Hold the peaks of the spectra that more of the over has followed; whether there were any."""
        if over_s is None or self._memory is None:
            self._recent.clear()
            return False
        if over_s > SETTLED_S:
            self._recent.append((over_s, level_dbfs))
        held = False
        while self._recent and over_s - self._recent[0][0] > SETTLED_S:
            self._memory.hold(self._recent.popleft()[1])
            held = True
        return held

    def read_off(self, x: float, y: float) -> tuple[Read, ...]:
        """Frequency and level of the curve there; nothing before the first spectrum."""
        hz, level = self._curve.getData()
        if hz is None or len(hz) == 0:
            return ()
        there = float(np.interp(x, hz, level))
        return Read(value=x, unit="Hz", digits=0), Read(value=there, unit="dBFS", digits=1)

    def mark_harmonics(self, tone_hz: float | None) -> None:
        """Mark a steady tone and its harmonics; None takes the marks away."""
        for order, line in enumerate(self._harmonics, start=1):
            line.setVisible(tone_hz is not None and order * tone_hz < SPECTRUM_HIGH_HZ)
            if tone_hz is not None:
                line.setValue(order * tone_hz)

    def needed_n(self, rate_hz: int) -> int:
        """Samples that one spectrum needs."""
        return spectrum_size(rate_hz)

    def strongest_hz(self) -> float | None:
        """Frequency of the highest line of the average, None before the first spectrum."""
        if self._memory is None:
            return None
        return float(self._hz[int(np.argmax(self._memory.average_dbfs))])


class Waterfall:
    """Spectra of the last seconds, the newest on top; `plot` is the widget."""

    def __init__(self) -> None:
        self.plot: Any = make_plot("waterfall")
        self.plot.getViewBox().invertY(True)
        self.plot.setMouseEnabled(x=True, y=False)
        self._rows = np.zeros((ROWS, COLUMNS), dtype=np.uint8)
        self._image = pg.ImageItem()
        self._image.setImage(self._rows, autoLevels=False, levels=(0, COLOURS - 1))
        self._image.setRect(QRectF(0.0, 0.0, SPECTRUM_HIGH_HZ, ROWS * ROW_S))
        self.plot.addItem(self._image)
        self.dress(LIGHT)

    def dress(self, theme: Theme) -> None:
        """Dark to bright on a dark ground, bright to dark on a light one: quiet stays in the background."""
        dress_plot(self.plot, theme)
        self.plot.showGrid(x=False, y=False)
        self._image.setLookupTable(colour_table(theme))
        self.reset_zoom()

    def reset_zoom(self) -> None:
        """Back to the whole band."""
        self.plot.setXRange(0.0, SPECTRUM_HIGH_HZ, padding=0.0)
        self.plot.setYRange(0.0, ROWS * ROW_S, padding=0.02)

    def read_off(self, x: float, y: float) -> tuple[Read, ...]:
        """Frequency, time ago and level there; nothing outside the picture."""
        row, column = floor(y / ROW_S), floor(x / SPECTRUM_HIGH_HZ * COLUMNS)
        if not (0 <= row < ROWS and 0 <= column < COLUMNS):
            return ()
        low_db, high_db = WATERFALL_RANGE_DB
        level = low_db + (high_db - low_db) * float(self._rows[row, column]) / (COLOURS - 1)
        return (
            Read(value=x, unit="Hz", digits=0), Read(value=y, unit="s ago", digits=1),
            Read(value=level, unit="dBFS", digits=0),
        )  # fmt: skip

    def add(self, level_dbfs: NDArray[np.float32]) -> None:
        """Put a spectrum on top, shape (lines,), in dBFS."""
        self._rows[1:] = self._rows[:-1]
        self._rows[0] = colour_row(level_dbfs, COLUMNS)
        self._image.setImage(self._rows, autoLevels=False)


def colour_table(theme: Theme) -> NDArray[np.uint8]:
    """256 colours from the panel's own to the ink, through the trace: brightness alone tells the level."""
    stops = [QColor(theme.panel), QColor(theme.trace), QColor(theme.ink)]
    if theme.name == "dark":
        stops = [QColor(theme.panel), QColor(theme.trace).darker(160), QColor("#fff6c8")]
    at = np.linspace(0.0, 1.0, COLOURS)
    parts = [
        np.interp(at, (0.0, 0.6, 1.0), [getattr(colour, part)() for colour in stops])
        for part in ("red", "green", "blue")
    ]
    return np.stack(parts, axis=1).astype(np.uint8)
