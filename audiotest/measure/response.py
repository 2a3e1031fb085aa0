"""Audio responses held against a mask about a slope of so many dB per octave."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from audiotest.errors import MeasureError

REFERENCE_HZ = 1000.0
LOW_HZ, HIGH_HZ = 300.0, 3000.0
ABOVE_DB, BELOW_DB = 1.0, 3.0
LOW_CORNER_HZ, LOW_EXTRA_DB_PER_OCTAVE = 500.0, 6.0
HIGH_CORNER_HZ, HIGH_EXTRA_DB_PER_OCTAVE = 2500.0, 12.0
MASK_SOURCE = "TIA-603, +1/-3 dB about 6 dB per octave, from memory: no published text was at hand"
EMPHASIS_DB_PER_OCTAVE = 20.0 * math.log10(2.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class ResponsePoint:
    """A response at one frequency in dB re 1 kHz, its bounds, and how far inside them it is (minus: out)."""

    frequency_hz: float
    response_db: float
    low_db: float
    high_db: float
    margin_db: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Response:
    """A whole response; ``worst`` is the point with the least margin between 300 and 3000 Hz."""

    points: tuple[ResponsePoint, ...]
    worst: ResponsePoint
    inside: bool


def mask_db(hz: float, slope_db_per_octave: float) -> tuple[float, float]:
    """Bounds at a frequency in dB re 1 kHz: +1/-3 dB about the slope, lower ones further down at the ends.

    An extra 6 dB per octave below 500 Hz and 12 dB per octave above 2500 Hz is allowed; TIA-603, from memory.

    >>> low, high = mask_db(3000.0, EMPHASIS_DB_PER_OCTAVE)
    >>> round(low, 2), round(high, 2)
    (3.39, 10.54)
    """
    middle = slope_db_per_octave * math.log2(hz / REFERENCE_HZ)
    extra = LOW_EXTRA_DB_PER_OCTAVE * max(0.0, math.log2(LOW_CORNER_HZ / hz))
    extra += HIGH_EXTRA_DB_PER_OCTAVE * max(0.0, math.log2(hz / HIGH_CORNER_HZ))
    return middle - BELOW_DB - extra, middle + ABOVE_DB


def judge_response(
    frequencies_hz: Sequence[float], sizes: Sequence[float], slope_db_per_octave: float
) -> Response:
    """A response re its own value at 1 kHz, against the mask.

    Parameters
    ----------
    frequencies_hz : sequence of float
        Two or more tones, 1 kHz between them.
    sizes : sequence of float
        Amplitude at each, any linear unit, above zero.
    slope_db_per_octave : float
        6.02 for a transmitter's pre-emphasis, -6.02 for a receiver, 0 for a flat one.

    Raises
    ------
    MeasureError
        1 kHz lies outside the tones, or a size is not above zero.

    Notes
    -----
    For the mask and its source see `mask_db`.
    """
    hz, size = np.asarray(frequencies_hz, dtype=np.float64), np.asarray(sizes, dtype=np.float64)
    order = np.argsort(hz)
    hz, size = hz[order], size[order]
    if len(hz) < 2 or not hz[0] <= REFERENCE_HZ <= hz[-1] or np.min(size) <= 0.0:
        raise MeasureError("a response needs tones below and above 1 kHz", "measure 300 to 3000 Hz")
    level_db = 20.0 * np.log10(size)
    reference_db = float(np.interp(math.log(REFERENCE_HZ), np.log(hz), level_db))
    points = []
    for frequency_hz, value_db in zip(hz, level_db - reference_db, strict=True):
        low, high = mask_db(float(frequency_hz), slope_db_per_octave)
        points.append(
            ResponsePoint(
                frequency_hz=float(frequency_hz), response_db=float(value_db), low_db=low, high_db=high,
                margin_db=float(min(high - value_db, value_db - low)),
            )
        )  # fmt: skip
    inner = [point for point in points if LOW_HZ <= point.frequency_hz <= HIGH_HZ] or points
    worst = min(inner, key=lambda point: point.margin_db)
    return Response(points=tuple(points), worst=worst, inside=worst.margin_db >= 0.0)
