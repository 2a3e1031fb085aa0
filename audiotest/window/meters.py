"""The meters: speech level and deviation with their peaks, and the overload lamp that stays lit."""

from collections import deque
from dataclasses import dataclass

from PySide6.QtCore import QRectF, QSize, Qt
from PySide6.QtGui import QBrush, QColor, QFontMetricsF, QPainter, QPaintEvent, QPen
from PySide6.QtWidgets import QHBoxLayout, QLabel, QPushButton, QSizePolicy, QVBoxLayout, QWidget

from audiotest.records import LimitSet, LiveReading
from audiotest.units import amplitude_db
from audiotest.window.ballistics import PeakHold
from audiotest.window.labels import FittedLabel
from audiotest.window.listening import MeterLevels
from audiotest.window.minus import with_minus
from audiotest.window.presenter import good_region
from audiotest.window.theme import LIGHT, Theme, bigger

LEVEL_RANGE_DBFS = (-60.0, 0.0)
LEVEL_TICKS_DBFS = (0, -6, -12, -20, -30, -40, -50, -60)
HISS_LIKE_DB = 1.0
SETTLED_S = 0.6
"""Longer than the reading looks back and than the end of an over takes to be found."""
METER_WORDS = "level: IEC 60268-17; peaks held 2 s; deviation: 99.9 % of 0.3 s"
LEVEL_GOOD_DBFS = (-26.0, -12.0)
"""Where speech on the volume indicator leaves room for peaks and stands clear of noise (common practice)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class BarScale:
    """Range, ticks, good stretch and limit of one bar."""

    low: float
    high: float
    ticks: tuple[float, ...]
    good: tuple[float, float]
    limit: float | None
    unit: str


class Bar(QLabel):
    """One upright meter: a bar, a line for the held peak, the figure below."""

    def __init__(self, name: str, scale: BarScale, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._name, self._scale, self._theme = name, scale, LIGHT
        self.value: float | None = None
        self.peak: float | None = None
        self.setAccessibleName(name)
        self.setSizePolicy(QSizePolicy.Policy.Preferred, QSizePolicy.Policy.Expanding)

    def dress(self, theme: Theme, scale: BarScale) -> None:
        """Draw in these colours, with this scale."""
        self._theme, self._scale = theme, scale
        self.update()

    def show_value(self, value: float | None, peak: float | None) -> None:
        """Move the bar."""
        if (value, peak) != (self.value, self.peak):
            self.value, self.peak = value, peak
            self.update()

    def figure(self) -> str:
        """The figure as it stands below the bar."""
        digits = 0 if self._scale.unit == "dBFS" else 2
        text = "–" if self.value is None else f"{self.value:.{digits}f}"
        return with_minus(f"{text} {self._scale.unit}")

    def sizeHint(self) -> QSize:
        """Room for the figures beside the bar."""
        metrics = QFontMetricsF(self.font())
        return QSize(round(metrics.horizontalAdvance("−60 dBFS_")), round(12 * metrics.height()))

    def minimumSizeHint(self) -> QSize:
        """The same width, half as high."""
        hint = self.sizeHint()
        return QSize(hint.width(), hint.height() // 2)

    def paintEvent(self, event: QPaintEvent) -> None:
        """Draw name, bar, ticks, peak and figure."""
        painter = QPainter(self)
        theme, scale = self._theme, self._scale
        small = bigger(self.font(), 0.88)
        line = QFontMetricsF(self.font()).height()
        painter.setFont(bigger(self.font(), 1.0, bold=True))
        painter.setPen(QColor(theme.ink))
        painter.drawText(QRectF(0, 0, self.width(), line), Qt.AlignmentFlag.AlignCenter, self._name)
        foot = QRectF(0, self.height() - line, self.width(), line)
        painter.drawText(foot, Qt.AlignmentFlag.AlignCenter, self.figure())
        painter.setFont(small)
        tick_w = QFontMetricsF(small).horizontalAdvance("−60 ")
        well = QRectF(tick_w + 4, 1.6 * line, self.width() - tick_w - 12, self.height() - 3.2 * line)
        painter.fillRect(well, QColor(theme.ground))
        self._fill(painter, well, scale.good[0], scale.good[1], QBrush(QColor(theme.region)))
        if self.value is not None:
            inset = well.adjusted(well.width() * 0.28, 0, -well.width() * 0.28, 0)
            over = scale.limit is not None and self.value > scale.limit
            self._fill(
                painter, inset, scale.low, self.value, QBrush(QColor(theme.down if over else theme.trace))
            )
        painter.setPen(QColor(theme.faint))
        for tick in scale.ticks:
            y = self._y(well, tick)
            painter.drawText(
                QRectF(0, y - line / 2, tick_w, line),
                Qt.AlignmentFlag.AlignRight | Qt.AlignmentFlag.AlignVCenter,
                with_minus(f"{tick:g}"),
            )
            painter.drawLine(round(well.left()) - 3, round(y), round(well.left()), round(y))
        if scale.limit is not None:
            painter.setPen(QPen(QColor(theme.limit), 2))
            y = round(self._y(well, scale.limit))
            painter.drawLine(round(well.left()), y, round(well.right()), y)
        if self.peak is not None and self.peak > scale.low:
            painter.setPen(QPen(QColor(theme.ink), 2))
            y = round(self._y(well, self.peak))
            painter.drawLine(round(well.left()), y, round(well.right()), y)

    def _y(self, well: QRectF, value: float) -> float:
        share = (value - self._scale.low) / (self._scale.high - self._scale.low)
        return well.bottom() - min(max(share, 0.0), 1.0) * well.height()

    def _fill(self, painter: QPainter, well: QRectF, low: float, high: float, brush: QBrush) -> None:
        top, bottom = self._y(well, high), self._y(well, low)
        painter.fillRect(QRectF(well.left(), top, well.width(), bottom - top), brush)


def level_scale() -> BarScale:
    """Scale of the level meter."""
    low, high = LEVEL_RANGE_DBFS
    return BarScale(
        low=low, high=high, ticks=tuple(float(tick) for tick in LEVEL_TICKS_DBFS), good=LEVEL_GOOD_DBFS,
        limit=None, unit="dBFS",
    )  # fmt: skip


def deviation_scale(limits: LimitSet) -> BarScale:
    """Scale of the deviation meter: half as much again as the limit."""
    region = good_region(limits)
    step = 0.5 if limits.deviation_khz <= 2.5 else 1.0
    count = int(1.5 * limits.deviation_khz / step + 1e-9)
    return BarScale(
        low=0.0, high=1.5 * limits.deviation_khz, ticks=tuple(step * k for k in range(count + 1)),
        good=(region.peak_low_khz, region.peak_high_khz), limit=limits.deviation_khz, unit="kHz",
    )  # fmt: skip


class MeterPane(QWidget):
    """Level, deviation and the lamp."""

    def __init__(self, limits: LimitSet, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.level = Bar("level", level_scale())
        self.deviation = Bar("deviation", deviation_scale(limits))
        self.lamp = QPushButton("no overload")
        self.lamp.setToolTip("Stays lit after an overload of the sound card during an over; press to clear")
        self.lamp.clicked.connect(self.clear)
        self._level_peak, self._deviation_peak = PeakHold(), PeakHold(fall_db_per_s=6.0)
        self._theme = LIGHT
        self._recent: deque[tuple[float, float]] = deque()
        self._suspect_s: float | None = None
        self.overloaded = False
        bars = QHBoxLayout()
        bars.addWidget(self.level)
        bars.addWidget(self.deviation)
        layout = QVBoxLayout(self)
        layout.setContentsMargins(4, 0, 4, 0)
        self.source = FittedLabel(0.6, 0.85, lines=2.6, spoken="what the meters show")
        self.source.setText(METER_WORDS)
        layout.addLayout(bars, 8)
        layout.addWidget(self.source, 1)
        layout.addWidget(self.lamp)
        self._light()

    def dress(self, theme: Theme, limits: LimitSet) -> None:
        """Draw in these colours, against these limits."""
        self._theme = theme
        self.level.dress(theme, level_scale())
        self.deviation.dress(theme, deviation_scale(limits))
        self._light()

    def describe(self) -> None:
        """Let a screen reader have the figures; called a few times a second, since each is an event."""
        for bar in (self.level, self.deviation):
            bar.setAccessibleDescription(bar.figure())

    def show_levels(self, levels: MeterLevels | None, reading: LiveReading | None) -> None:
        """Move the needles; the lamp lights when an over overloads the sound card, and stays lit."""
        if levels is not None:
            peak = self._level_peak.update(levels.peak_dbfs, levels.time_s)
            self.level.show_value(levels.level_dbfs, peak)
        if reading is None:
            return
        deviation = None if sounds_like_hiss(reading) else reading.deviation_khz
        # Held and let fall in decibels like the other peak, drawn in kilohertz.
        held = self._deviation_peak.update(self._settled_db(reading, deviation), reading.time_s)
        self.deviation.show_value(deviation, None if held is None else float(10 ** (held / 20.0)))
        self._watch(reading)

    def _settled_db(self, reading: LiveReading, deviation_khz: float | None) -> float | None:
        """Deviation of a moment ago, once it is certain that the over went on after it; in dB re 1 kHz."""
        if reading.over_s is None:
            self._recent.clear()
            return None
        if deviation_khz is not None and reading.over_s > SETTLED_S:
            self._recent.append((reading.over_s, deviation_khz))
        settled = None
        while self._recent and reading.over_s - self._recent[0][0] > SETTLED_S:
            settled = max(settled or 0.0, self._recent.popleft()[1])
        return None if settled is None else amplitude_db(settled)

    def _watch(self, reading: LiveReading) -> None:
        """Light the lamp for an overload inside an over; hiss at its two ends may be as loud as it likes."""
        if reading.over_s is None:
            self._suspect_s = None
            return
        if reading.overloaded and self._suspect_s is None and reading.over_s > SETTLED_S:
            self._suspect_s = reading.over_s
        # The end of an over is found a moment late: only what is followed by more of it was inside.
        if self._suspect_s is not None and reading.over_s - self._suspect_s > SETTLED_S:
            self.latch()

    def latch(self) -> None:
        """Light the lamp until it is cleared."""
        if not self.overloaded:
            self.overloaded = True
            self._light()

    def clear(self) -> None:
        """Forget the peaks and put the lamp out."""
        self._level_peak.clear()
        self._deviation_peak.clear()
        self._suspect_s = None
        self.overloaded = False
        self._light()

    def _light(self) -> None:
        theme = self._theme
        ground, ink, edge = theme.panel, theme.faint, theme.edge
        if self.overloaded:
            ground, ink, edge = theme.warn, theme.ink_on_colour, theme.ink
        self.lamp.setText("OVERLOAD" if self.overloaded else "no overload")
        self.lamp.setStyleSheet(
            f"background: {ground}; color: {ink}; border: 1px solid {edge}; padding: 5px; font-weight: bold;"
        )
        self.lamp.setAccessibleName(f"overload lamp: {self.lamp.text().lower()}")


def sounds_like_hiss(reading: LiveReading) -> bool:
    """Whether a running over is as loud as the hiss without a carrier: its end is then only not yet found."""
    return reading.sinad_db is None and reading.quieting_db is not None and reading.quieting_db < HISS_LIKE_DB
