"""The report's plots: the balance map, the spectrum of the clips, and curves that a procedure has left."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from audiotest.advise.rules import HIGH_DRIVE_DB, LOW_DRIVE_DB, LOW_PEAK_RATIO
from audiotest.keep.drawing import Axes, Box, Dot, Drawing, Ink, Line, Shape, Words
from audiotest.keep.plotfile import Curves
from audiotest.keep.sheetrecords import STAGE_WORDS, Reading, Stage
from audiotest.measure.lean import power_density
from audiotest.records import LimitSet

WIDTH, HEIGHT = 360.0, 230.0
FIELD = (42.0, 14.0, 306.0, 176.0)
DRIVE_RANGE_DB = (-15.0, 30.0)
HIGHEST_SHARE = 1.5
SPECTRUM_RANGE_DB = (-60.0, 3.0)
SPECTRUM_HIGH_HZ = 4000.0
RESOLUTION_S = 0.02
INKS: dict[Stage, Ink] = {"found": "found", "left": "left"}


@dataclass(frozen=True, slots=True, kw_only=True)
class MapPoint:
    """One dot of the balance map: the drive in dB and the peak in kHz with their bounds."""

    stage: Stage
    drive: Reading
    peak: Reading


def balance_map(points: Sequence[MapPoint], limits: LimitSet) -> Drawing:
    """Draw drive into the limiter across and peak deviation up, with the good region and the limit."""
    highest = HIGHEST_SHARE * limits.deviation_khz
    axes = Axes(*FIELD, DRIVE_RANGE_DB, (0.0, highest))
    low_x, high_x = axes.x(LOW_DRIVE_DB), axes.x(HIGH_DRIVE_DB)
    top, bottom = axes.y(limits.deviation_khz), axes.y(LOW_PEAK_RATIO * limits.deviation_khz)
    right = axes.left + axes.width
    axes.shapes += [
        Box(low_x, top, high_x - low_x, bottom - top),
        Words((low_x + high_x) / 2, bottom + 9, "right", "middle", ink="faint"),
        Words(axes.x(-9.0), axes.y(0.35 * limits.deviation_khz), "quiet", "middle", ink="faint"),
        Words(axes.x(19.0), axes.y(0.35 * limits.deviation_khz), "harsh", "middle", ink="faint"),
        Line(((axes.left, top), (right, top)), "limit", 1.2),
        Words(right - 3, top - 3, f"limit ±{limits.deviation_khz:g} kHz", "end", ink="limit"),
    ]
    step = limits.deviation_khz / 5
    ticks = [(k * step, f"{k * step:.1f}") for k in range(0, 8)]
    drives = [(float(db), f"{db:+d}" if db else "0") for db in range(-15, 31, 5)]
    axes.frame(drives, ticks, "drive into the limiter, dB", "peak deviation, kHz")
    says = []
    for point in points:
        axes.shapes += _map_dot(axes, point)
        says.append(
            f"{STAGE_WORDS[point.stage]}: drive {point.drive.value:+.1f} dB, peak {point.peak.value:.2f} kHz"
        )
    return Drawing(
        title="Balance map", says="; ".join(says), width=WIDTH, height=HEIGHT, shapes=tuple(axes.shapes)
    )


def _map_dot(axes: Axes, point: MapPoint) -> list[Shape]:
    ink = INKS[point.stage]
    x, y = axes.x(point.drive.value), axes.y(point.peak.value)
    shapes: list[Shape] = []
    if point.drive.low is not None and point.drive.high is not None:
        shapes.append(Line(((axes.x(point.drive.low), y), (axes.x(point.drive.high), y)), ink))
    if point.peak.low is not None and point.peak.high is not None:
        shapes.append(Line(((x, axes.y(point.peak.low)), (x, axes.y(point.peak.high))), ink))
    shapes.append(Dot(x, y, 4.0, ink, full=point.stage == "left"))
    # Beside the dot, on the side where there is room.
    anchor, offset = ("end", -7.0) if x > axes.left + 0.75 * axes.width else ("start", 7.0)
    shapes.append(Words(x + offset, y + 12.0, STAGE_WORDS[point.stage], anchor, ink=ink))  # type: ignore[arg-type]
    return shapes


def spectrum(
    samples: NDArray[np.floating], rate_hz: int
) -> tuple[NDArray[np.float64], NDArray[np.float64]] | None:
    """Power spectrum of a clip in dB below its strongest band, at 50 Hz steps up to 4 kHz.

    ``samples`` has shape (n,); the result is frequencies in Hz and levels in dB, or None for silence or
    less than a tenth of a second. Welch's method with a Hann window.
    """
    length_n = round(RESOLUTION_S * rate_hz)
    if len(samples) < 5 * length_n:
        return None
    hz, power = power_density(samples, rate_hz, length_n)
    kept = (hz > 0.0) & (hz <= min(SPECTRUM_HIGH_HZ, 0.45 * rate_hz))
    hz, power = hz[kept], power[kept]
    strongest = float(np.max(power))
    if strongest <= 1e-18:
        return None
    return hz, 10.0 * np.log10(np.maximum(power / strongest, 1e-9))


def spectrum_plot(
    curves: dict[Stage, tuple[NDArray[np.float64], NDArray[np.float64]]], audio_high_hz: float
) -> Drawing:
    """Draw the spectra of the clips as found and as left over each other: Hz and dB, each of shape (n,)."""
    axes = Axes(*FIELD, (0.0, SPECTRUM_HIGH_HZ), SPECTRUM_RANGE_DB)
    edge = axes.x(audio_high_hz)
    axes.shapes += [
        Line(((edge, axes.top), (edge, axes.top + axes.height)), "faint", 0.8, dashed=True),
        Words(edge - 3, axes.top + axes.height - 5, f"{audio_high_hz:g} Hz", "end", ink="faint"),
    ]
    for row, (stage, (hz, level)) in enumerate(curves.items()):
        axes.curve(hz.tolist(), level.tolist(), INKS[stage], dashed=stage == "found")
        _key(axes, row, STAGE_WORDS[stage], INKS[stage], dashed=stage == "found")
    hertz = [(float(hz), f"{hz}") for hz in range(0, 4001, 500)]
    axes.frame(hertz, [(float(db), f"{db}") for db in range(-60, 1, 10)], "frequency, Hz", "level, dB")
    return Drawing(
        title="Spectrum of the clips", says="speech spectrum of the clips, each to its strongest band",
        width=WIDTH, height=HEIGHT, shapes=tuple(axes.shapes),
    )  # fmt: skip


def _key(axes: Axes, row: int, text: str, ink: Ink, *, dashed: bool) -> None:
    x, y = axes.left + axes.width - 90.0, axes.top + 12.0 + 11.0 * row
    axes.shapes += [
        Line(((x, y - 2.5), (x + 18.0, y - 2.5)), ink, 1.2, dashed),
        Words(x + 22.0, y, text, ink=ink),
    ]


def curves_plot(curves: Curves) -> Drawing:
    """Draw a plot that was kept as data."""
    lines = [(name, [math.log10(x) if curves.log_x else x for x, _ in points], [y for _, y in points])
             for name, points in curves.lines]  # fmt: skip
    across = [x for _, xs, _ in lines for x in xs]
    heights = [y for _, _, ys in lines for y in ys]
    if curves.level is not None:
        heights.append(curves.level[0])
    low, high = min(heights), max(heights)
    if len(curves.lines) > 1:
        # Room above the curves for their names.
        high += (high - low) * 0.09 * len(curves.lines)
    margin = max(0.06 * (high - low), 1e-9 * max(abs(low), abs(high), 1.0))
    axes = Axes(*FIELD, (min(across), max(across)), (low - margin, high + margin))
    if curves.level is not None:
        y = axes.y(curves.level[0])
        axes.shapes += [
            Line(((axes.left, y), (axes.left + axes.width, y)), "limit"),
            Words(axes.left + 4, y - 3, curves.level[1][:40], ink="limit"),
        ]
    for row, (name, xs, ys) in enumerate(lines):
        ink = _ink_for(row, name)
        axes.curve(xs, ys, ink, dashed=ink != "left")
        if len(curves.lines) > 1:
            _key(axes, row, name[:18], ink, dashed=ink != "left")
    x_ticks = _log_ticks(axes.x_range) if curves.log_x else _ticks(axes.x_range)
    axes.frame(x_ticks, _ticks(axes.y_range), curves.x_label[:60], curves.y_label[:40])
    return Drawing(
        title=curves.title[:80], says=f"{curves.y_label} against {curves.x_label}"[:200], width=WIDTH,
        height=HEIGHT, shapes=tuple(axes.shapes),
    )  # fmt: skip


def _ink_for(row: int, name: str) -> Ink:
    """As found and as left have the same ink in every plot; other lines take what is free."""
    for stage, words in STAGE_WORDS.items():
        if name.strip().lower() == words:
            return INKS[stage]
    return ("left", "found", "ink", "limit", "faint", "ink")[row]


def _ticks(span: tuple[float, float]) -> list[tuple[float, str]]:
    """Round figures, about six of them, inside a range."""
    rough = (span[1] - span[0]) / 6
    unit = 10.0 ** math.floor(math.log10(rough))
    step = next(factor * unit for factor in (1, 2, 5, 10) if factor * unit >= rough)
    first = math.ceil(span[0] / step - 1e-9)
    last = math.floor(span[1] / step + 1e-9)
    return [(k * step, f"{k * step:.6g}") for k in range(first, last + 1)]


def _log_ticks(span: tuple[float, float]) -> list[tuple[float, str]]:
    decades = range(math.floor(span[0]), math.ceil(span[1]) + 1)
    values = [factor * 10.0**decade for decade in decades for factor in (1, 2, 5)]
    return [(math.log10(v), f"{v:.6g}") for v in values if span[0] - 1e-9 <= math.log10(v) <= span[1] + 1e-9]
