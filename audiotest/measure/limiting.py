"""Modulation limiting: where a limiter sets in, how sharply, and what it lets through."""

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from functools import cache
from itertools import product
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from audiotest.errors import MeasureError

KNEES = (1.5, 2.0, 2.5, 3.0, 4.0, 5.0, 6.0, 8.0, 11.0, 16.0, 24.0, 48.0, math.inf)
BETWEEN = 9
"""Exponents tried between the neighbours of the best: where 1 dB is lost moves by 0.2 dB at most from one to
the next."""
SLOPES = (0.0, 0.01, 0.02, 0.03, 0.04, 0.05, 0.06, 0.07, 0.08, 0.09, 0.1)
"""Decibels that a level control lets through for each one above its onset."""
NOISES = (0.0, 0.01, 0.02, 0.03, 0.045, 0.06, 0.08, 0.1, 0.125, 0.15)
"""Peaks of a set's own noise re the threshold: a level control holds down tone and noise together."""
ANGLES_N = 512
ONSET_GRID_DB = 0.02
LEAST_POINTS = 5
LEAST_COMPRESSION_DB = 0.7
"""Less than this at the highest level and the limiter has not been seen."""
MOST_MISFIT_DB = 0.4
LINEAR_DB = 0.1

Kind = Literal["clipping", "levelling"]
Limiter = tuple[Kind, float, NDArray[np.float64]]
"""Its kind, the exponent or slope that shapes it, its gain over drive in dB."""


@dataclass(frozen=True, slots=True, kw_only=True)
class LimitingFit:
    """What the curve of deviation over input level says about a limiter.

    ``onset_mv`` is the RMS level of a sine whose peak meets the limiter's threshold: the straight line of the
    small levels, continued, reaches ``threshold_khz`` there. ``knee_db`` is how far above the onset (below
    it, where negative) the fundamental has lost 1 dB: 2.00 dB for a hard clipper, less for a soft one.
    ``knee`` is the exponent p of u/(1+|u|^p)^(1/p), infinite for a hard clipper. A level control is
    described as it would be without the set's own noise.
    """

    kind: Kind
    gain_khz_per_mv: float
    onset_mv: float
    threshold_khz: float
    knee: float
    knee_db: float
    misfit_db: float


@cache
def _gains_db(knee: float) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Gain of a limiter for the fundamental of a sine, over drive in dB (describing function, textbook)."""
    drive_db = np.arange(-60.0, 60.01, 0.1)
    angle = (np.arange(ANGLES_N) + 0.5) * np.pi / (2.0 * ANGLES_N)
    u = 10.0 ** (drive_db[:, None] / 20.0) * np.sin(angle)
    if math.isinf(knee):
        y = np.minimum(u, 1.0)
    else:
        # In logarithms, or a large power of a large drive overflows.
        y = np.exp(np.log(u) - np.logaddexp(0.0, knee * np.log(u)) / knee)
    first = 2.0 * np.mean(y * np.sin(angle), axis=1)
    return drive_db, 20.0 * np.log10(first) - drive_db


def _clipping_db(drive_db: NDArray[np.float64], knee: float) -> NDArray[np.float64]:
    at, curve = _gains_db(knee)
    return np.interp(drive_db, at, curve)


def _levelling_db(drive_db: NDArray[np.float64], slope: float, noise: float) -> NDArray[np.float64]:
    held_db = 20.0 * np.log10(10.0 ** (drive_db / 20.0) + noise)
    return np.minimum(-(1.0 - slope) * held_db, 0.0)


def fit_limiting(levels_mv: Sequence[float], fundamental_khz: Sequence[float]) -> LimitingFit:
    """Onset, knee and threshold of a limiter from a run of rising input levels.

    Parameters
    ----------
    levels_mv : sequence of float
        RMS of a tone at the microphone socket, five levels or more, from well below the limiter upwards.
    fundamental_khz : sequence of float
        Peak deviation of the tone's fundamental at each; with it, no filter after the limiter matters.

    Returns
    -------
    LimitingFit
        Least squares in dB over clippers of every sharpness and over level controls that keep the wave's
        shape, some of which let a little through.

    Raises
    ------
    MeasureError
        Too few levels, no compression among them, or a curve that no limiter fits within 0.4 dB.

    Notes
    -----
    The fundamental of a hard-clipped sine is b1 = (2a + sin 2a)/π with a = arcsin of threshold over peak
    (textbook); a soft clipper's is found by the same integral.
    """
    mv, khz = np.asarray(levels_mv, dtype=np.float64), np.asarray(fundamental_khz, dtype=np.float64)
    order = np.argsort(mv)
    mv, khz = mv[order], khz[order]
    if len(mv) < LEAST_POINTS or mv[0] <= 0.0 or np.min(khz) <= 0.0:
        raise MeasureError("too few levels for a limiting curve", "measure five levels or more above zero")
    level_db, out_db = 20.0 * np.log10(mv), 20.0 * np.log10(khz)
    if out_db[0] - level_db[0] - (out_db[-1] - level_db[-1]) < LEAST_COMPRESSION_DB:
        raise MeasureError("the limiter has not set in", "raise the level further")
    onsets_db = np.arange(level_db[0] - 6.0, level_db[-1] + 3.0, ONSET_GRID_DB)
    drive_db = level_db[None, :] - onsets_db[:, None]
    found = _closest(out_db - level_db, _limiters(drive_db))
    if found[3] == "clipping":
        near = _closest(out_db - level_db, _clippers(drive_db, _exponents_near(found[4])))
        found = min(found, near)
    misfit, at, line_db, kind, shape = found
    onset_db = float(onsets_db[at])
    if misfit > MOST_MISFIT_DB:
        raise MeasureError(
            f"no limiter fits this curve within {MOST_MISFIT_DB:g} dB",
            "keep everything else still while the level changes, and see that the monitor is not overloaded",
        )
    return LimitingFit(
        kind=kind,
        gain_khz_per_mv=10.0 ** (line_db / 20.0),
        onset_mv=10.0 ** (onset_db / 20.0),
        threshold_khz=10.0 ** ((line_db + onset_db) / 20.0),
        knee=shape if kind == "clipping" else math.inf,
        knee_db=_one_db_down(kind, shape),
        misfit_db=misfit,
    )


def _closest(
    gain_db: NDArray[np.float64], limiters: Iterable[Limiter]
) -> tuple[float, int, float, Kind, float]:
    """The limiter with the least misfit to the gains, shape (levels,).

    Returns the misfit in dB, which onset it is, the gain of its straight line in dB, its kind and its shape.
    """
    best: tuple[float, int, float, Kind, float] | None = None
    for kind, shape, loss_db in limiters:
        straight = gain_db - loss_db
        line_db = np.mean(straight, axis=1)
        miss = np.sqrt(np.mean((straight - line_db[:, None]) ** 2, axis=1))
        k = int(np.argmin(miss))
        if best is None or miss[k] < best[0]:
            best = (float(miss[k]), k, float(line_db[k]), kind, shape)
    assert best is not None
    return best


def _clippers(drive_db: NDArray[np.float64], knees: Iterable[float]) -> Iterator[Limiter]:
    for knee in knees:
        yield "clipping", knee, _clipping_db(drive_db, knee)


def _exponents_near(knee: float) -> list[float]:
    """Exponents between the neighbours of one that was tried, by equal ratios.

    >>> [round(knee, 2) for knee in _exponents_near(2.0)][::4]
    [1.58, 1.94, 2.38]
    """
    at = KNEES.index(knee)
    low = KNEES[max(at - 1, 0)]
    high = KNEES[min(at + 1, len(KNEES) - 1)]
    high = 4.0 * KNEES[-2] if math.isinf(high) else high
    return [float(value) for value in np.geomspace(low, high, BETWEEN + 2)[1:-1]]


def _limiters(drive_db: NDArray[np.float64]) -> Iterator[Limiter]:
    """Every limiter that is tried first."""
    yield from _clippers(drive_db, KNEES)
    for slope, noise in product(SLOPES, NOISES):
        yield "levelling", slope, _levelling_db(drive_db, slope, noise)


def _one_db_down(kind: Kind, shape: float) -> float:
    """Drive at which the fundamental has lost 1 dB.

    >>> round(_one_db_down("clipping", math.inf), 2), _one_db_down("levelling", 0.0)
    (2.0, 1.0)
    """
    if kind == "levelling":
        return 1.0 / (1.0 - shape)
    drive_db, gain_db = _gains_db(shape)
    return float(np.interp(1.0, -gain_db, drive_db))
