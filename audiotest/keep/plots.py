"""The report's plots: the balance map, the spectrum of the clips, and curves that a procedure has left."""

import json
import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.signal import welch

from audiotest.advise.rules import HIGH_DRIVE_DB, LOW_DRIVE_DB, LOW_PEAK_RATIO
from audiotest.errors import FileError
from audiotest.keep.drawing import Axes, Box, Dot, Drawing, Ink, Line, Shape, Words
from audiotest.keep.sheetrecords import STAGE_WORDS, Reading, Stage
from audiotest.records import LimitSet

WIDTH, HEIGHT = 360.0, 230.0
FIELD = (42.0, 14.0, 306.0, 176.0)
DRIVE_RANGE_DB = (-15.0, 30.0)
HIGHEST_SHARE = 1.5
PLOT_SCHEMA = "audiotest-plot-1"
LONGEST_CURVE_N = 5000
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
    hz, power = welch(samples.astype(np.float64), rate_hz, "hann", length_n, detrend="constant")
    kept = (hz > 0.0) & (hz <= min(SPECTRUM_HIGH_HZ, 0.45 * rate_hz))
    hz, power = hz[kept], power[kept]
    strongest = float(np.max(power))
    if strongest <= 1e-18:
        return None
    return hz, 10.0 * np.log10(np.maximum(power / strongest, 1e-9))


def spectrum_plot(
    curves: dict[Stage, tuple[NDArray[np.float64], NDArray[np.float64]]], audio_high_hz: float
) -> Drawing:
    """Draw the spectra of the clips as found and as left over each other."""
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


# -- curves that a procedure has left as a file ---------------------------------------------------


@dataclass(frozen=True, slots=True, kw_only=True)
class Curves:
    """A plot as data: figures across, and up to six named lines; `level` is a line across at a height."""

    title: str
    x_label: str
    y_label: str
    xs: tuple[float, ...]
    lines: tuple[tuple[str, tuple[float, ...]], ...]
    level: tuple[float, str] | None
    log_x: bool


def read_curves(content: bytes, name: str) -> Curves:
    """Read a plot file (schema ``audiotest-plot-1``), checked field by field; else `FileError`."""
    try:
        document = json.loads(content, parse_constant=_no_number)
        if document["schema"] != PLOT_SCHEMA:
            raise ValueError(f"its schema is not {PLOT_SCHEMA}")
        xs = _numbers(document["x"]["values"])
        log_x = document.get("log_x", False) is True
        if len(xs) < 2 or max(xs) - min(xs) < 1e-9 * max(map(abs, xs)) or (log_x and min(xs) <= 0.0):
            raise ValueError("its figures across cover no stretch")
        lines = tuple((_text(line["name"]), _numbers(line["values"])) for line in document["lines"])
        if not 1 <= len(lines) <= 6 or any(len(values) != len(xs) for _, values in lines):
            raise ValueError("it needs one to six lines, each as long as the figures across")
        level = document.get("level")
        return Curves(
            title=_text(document["title"]), x_label=_text(document["x"]["label"]),
            y_label=_text(document["y"]["label"]), xs=xs, lines=lines, log_x=log_x,
            level=None if level is None else (_numbers([level["value"]])[0], _text(level["label"])),
        )  # fmt: skip
    except (ValueError, KeyError, TypeError, RecursionError, OverflowError) as error:
        reason = f"{error} is missing" if isinstance(error, KeyError) else str(error)
        raise FileError(f"{name}: is not a plot that can be drawn: {reason}", "make it again") from error


def curves_plot(curves: Curves) -> Drawing:
    """Draw a plot that was kept as data."""
    xs = [math.log10(x) for x in curves.xs] if curves.log_x else list(curves.xs)
    heights = [value for _, values in curves.lines for value in values]
    if curves.level is not None:
        heights.append(curves.level[0])
    low, high = min(heights), max(heights)
    if len(curves.lines) > 1:
        # Room above the curves for their names.
        high += (high - low) * 0.09 * len(curves.lines)
    margin = max(0.06 * (high - low), 1e-9 * max(abs(low), abs(high), 1.0))
    axes = Axes(*FIELD, (min(xs), max(xs)), (low - margin, high + margin))
    if curves.level is not None:
        y = axes.y(curves.level[0])
        axes.shapes += [
            Line(((axes.left, y), (axes.left + axes.width, y)), "limit"),
            Words(axes.left + 4, y - 3, curves.level[1][:40], ink="limit"),
        ]
    for row, (name, values) in enumerate(curves.lines):
        ink = _ink_for(row, name)
        axes.curve(xs, values, ink, dashed=ink != "left")
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


def _no_number(name: str) -> float:
    raise ValueError(f"{name} is no number")


def _numbers(values: Any) -> tuple[float, ...]:
    if not isinstance(values, list) or not 1 <= len(values) <= LONGEST_CURVE_N:
        raise ValueError(f"a line needs 1 to {LONGEST_CURVE_N} figures")
    if any(isinstance(value, bool) or not isinstance(value, int | float) for value in values):
        raise ValueError("a line holds something else than numbers")
    found = tuple(float(value) for value in values)
    if any(not math.isfinite(value) or abs(value) > 1e12 for value in found):
        raise ValueError("a figure is beyond all bounds")
    return found


def _text(value: Any) -> str:
    if not isinstance(value, str):
        raise ValueError("a name is no text")
    return value
