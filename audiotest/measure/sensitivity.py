"""Receiver sensitivity from readings at known generator levels: SINAD, quieting, squelch."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from statistics import median

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import brentq
from scipy.stats import t

from audiotest.errors import MeasureError, RequestError

IMPEDANCE_OHM = 50.0
SINAD_12_DB, SINAD_20_DB, QUIETING_20_DB = 12.0, 20.0, 20.0
WINDOW_DB = 5.0
"""Readings this close to the mark take part: far from it the curve has another shape."""
LEAST_SINAD_DB = 0.3
LEAST_SD_DB = 0.02
LEAST_FOR_DEGREE = ((3, 7), (2, 4), (1, 3))
"""Readings that a cubic, a parabola and a straight line need. The threshold bends the curve on one side only:
a cubic follows that, a parabola does not, whatever the scatter lets pass."""
COVERAGE = 0.95


@dataclass(frozen=True, slots=True, kw_only=True)
class RfLevel:
    """A generator's level into a matched load, said in every way that sheets use."""

    dbm: float
    microvolt_pd: float
    microvolt_emf: float
    dbuv_emf: float


def rf_level(dbm: float, impedance_ohm: float = IMPEDANCE_OHM) -> RfLevel:
    """Voltage across the load (p.d.) and behind the generator's resistance (e.m.f., twice as much).

    U = √(P·R) (textbook); at 50 Ω dBµV e.m.f. is dBm + 113.0.

    >>> level = rf_level(-113.0)
    >>> round(level.microvolt_pd, 3), round(level.microvolt_emf, 3), round(level.dbuv_emf, 2)
    (0.501, 1.001, 0.01)
    """
    microvolt = 1e6 * math.sqrt(1e-3 * 10.0 ** (dbm / 10.0) * impedance_ohm)
    return RfLevel(
        dbm=dbm, microvolt_pd=microvolt, microvolt_emf=2.0 * microvolt,
        dbuv_emf=20.0 * math.log10(2.0 * microvolt),
    )  # fmt: skip


def dbm_of_microvolt(microvolt_pd: float, impedance_ohm: float = IMPEDANCE_OHM) -> float:
    """Level in dBm of a voltage across the load; raises `RequestError` unless the voltage is above zero.

    >>> round(dbm_of_microvolt(0.5), 2), round(dbm_of_microvolt(50.0), 1)
    (-113.01, -73.0)
    """
    if not microvolt_pd > 0.0:
        raise RequestError(f"{microvolt_pd:g} µV is no level", "give microvolts above zero")
    return 10.0 * math.log10((1e-6 * microvolt_pd) ** 2 / impedance_ohm * 1e3)


@dataclass(frozen=True, slots=True, kw_only=True)
class LevelReading:
    """A ratio in dB read at a generator level, with its standard deviation."""

    level_dbm: float
    value_db: float
    sd_db: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Crossing:
    """The level at which a curve passes a mark; low and high bound it at 95 %.

    The interval holds what the readings scatter. The generator's own error comes on top.
    """

    target_db: float
    level_dbm: float
    low_dbm: float
    high_dbm: float
    readings_n: int


def sinad_crossing(readings: Sequence[LevelReading], target_db: float = SINAD_12_DB) -> Crossing:
    """Level at which SINAD is `target_db`, fitted through the readings around it.

    Parameters
    ----------
    readings : sequence of LevelReading
        SINAD at three or more levels, some above and some below the mark, in any order.
    target_db : float
        12 dB for TIA-603 (clause from memory), 20 dB psophometric for ETSI EN 300 086 (from memory).

    Raises
    ------
    MeasureError
        Too few readings, or the mark is not between them: nothing is extrapolated.

    Notes
    -----
    SINAD flattens towards 0 dB by its definition, so the fit is made on S/(N+D) = 10·lg(10^(SINAD/10) - 1),
    which has no such floor; see `level_crossing`.
    """
    useful = [reading for reading in readings if reading.value_db >= LEAST_SINAD_DB]
    stretched = [
        LevelReading(
            level_dbm=reading.level_dbm,
            value_db=_without_floor_db(reading.value_db),
            sd_db=max(reading.sd_db, LEAST_SD_DB) / (1.0 - 10.0 ** (-reading.value_db / 10.0)),
        )
        for reading in useful
    ]
    found = level_crossing(stretched, _without_floor_db(target_db))
    return Crossing(
        target_db=target_db, level_dbm=found.level_dbm, low_dbm=found.low_dbm, high_dbm=found.high_dbm,
        readings_n=found.readings_n,
    )  # fmt: skip


def _without_floor_db(sinad_db: float) -> float:
    return 10.0 * math.log10(10.0 ** (sinad_db / 10.0) - 1.0)


def level_crossing(readings: Sequence[LevelReading], target_db: float) -> Crossing:
    """Level at which a rising curve of readings passes `target_db`; for quieting, for instance.

    A polynomial in the level through the readings within 5 dB of the mark and the nearest beyond on either
    side: a cubic through seven readings or more, less through fewer. The interval is from the fit's
    covariance, and Student's where the readings scatter more than they say (textbook).

    Raises
    ------
    MeasureError
        Fewer than three readings, or the mark is not between them.
    """
    ordered = sorted(readings, key=lambda reading: reading.level_dbm)
    below = [r for r in ordered if r.value_db < target_db]
    above = [r for r in ordered if r.value_db >= target_db]
    if len(ordered) < 3 or not below or not above:
        raise MeasureError(
            # No figure here: of 12 dB SINAD it would be 11.7, the S/(N+D) that is fitted.
            "the mark is not between the readings",
            "take readings a few dB above and below it",
        )
    near = [r for r in ordered if abs(r.value_db - target_db) <= WINDOW_DB]
    for edge in (max(below, key=lambda r: r.value_db), min(above, key=lambda r: r.value_db)):
        if edge not in near:
            near.append(edge)
    if len(near) < 3:
        rest = sorted((r for r in ordered if r not in near), key=lambda r: abs(r.value_db - target_db))
        near += rest[: 3 - len(near)]
    return _fitted_crossing(near, target_db)


def _fitted_crossing(near: Sequence[LevelReading], target_db: float) -> Crossing:
    level = np.array([r.level_dbm for r in near])
    value = np.array([r.value_db for r in near]) - target_db
    # One standard deviation for all: near threshold a quiet reading has had few clicks and would be trusted
    # most for that, which pulls the curve.
    sd = np.full(len(near), max(math.sqrt(sum(r.sd_db**2 for r in near) / len(near)), LEAST_SD_DB))
    middle = float(np.mean(level))
    x = level - middle
    distinct = min(len(near), len(np.unique(level)) + 1)
    degree = next(degree for degree, least in LEAST_FOR_DEGREE if distinct >= least)
    design = np.vander(x, degree + 1) / sd[:, None]
    solved, *_ = np.linalg.lstsq(design, value / sd, rcond=None)
    misfit = float(np.sum((design @ solved - value / sd) ** 2))
    free = len(near) - degree - 1
    covariance = np.linalg.pinv(design.T @ design) * max(1.0, misfit / free)
    at = _root(solved, float(np.min(x)), float(np.max(x)))
    slope = float(np.polyval(np.polyder(solved), at))
    row = np.vander(np.array([at]), degree + 1)[0]
    spread = math.sqrt(max(float(row @ covariance @ row), 0.0)) / max(abs(slope), 1e-3)
    # With honest standard deviations the fit is normal; with scatter estimated from few readings, Student's.
    factor = float(t.ppf(0.5 + COVERAGE / 2.0, free if misfit > free else 1e6))
    half = factor * spread
    return Crossing(
        target_db=target_db, level_dbm=middle + at, low_dbm=middle + at - half, high_dbm=middle + at + half,
        readings_n=len(near),
    )  # fmt: skip


def _root(polynomial: NDArray[np.float64], low: float, high: float) -> float:
    """Where the fitted curve passes the mark from below to above within the readings."""
    grid = np.linspace(low, high, 257)
    curve = np.polyval(polynomial, grid)
    rising = np.flatnonzero((curve[:-1] < 0.0) & (curve[1:] >= 0.0))
    if len(rising) == 0:
        raise MeasureError(
            "the readings do not rise with the level", "check the levels typed in, and read again"
        )
    k = int(rising[0])
    return float(brentq(lambda at: float(np.polyval(polynomial, at)), grid[k], grid[k + 1]))


@dataclass(frozen=True, slots=True, kw_only=True)
class SquelchReading:
    """Levels at which a squelch opened and closed; None when that was not seen.

    ``step_db`` is the largest step of the level at a change, which bounds how well the levels are known.
    """

    opening_dbm: float | None
    closing_dbm: float | None
    hysteresis_db: float | None
    step_db: float | None
    openings_n: int
    closings_n: int


def squelch_levels(log: Sequence[tuple[float, bool]]) -> SquelchReading:
    """Opening and closing level of a squelch from a log of (generator level in dBm, squelch open).

    The log is in order of time: the level raised until the squelch opens, then lowered until it closes, as
    often as liked. The opening level is the one at which it was first found open, the closing level the one
    at which it was first found closed again; the median over the passes (common practice, no source).

    >>> log = [(-125.0, False), (-124.0, False), (-123.0, True), (-124.0, True), (-126.0, False)]
    >>> found = squelch_levels(log)
    >>> found.opening_dbm, found.closing_dbm, found.hysteresis_db, found.step_db
    (-123.0, -126.0, 3.0, 2.0)
    """
    opened, closed, steps = [], [], []
    for (level_before, before), (level, now) in pairwise(log):
        if before == now:
            continue
        # A change against the direction of the level is noise on the edge, not the squelch's mark.
        if now and level >= level_before:
            opened.append(level)
            steps.append(abs(level - level_before))
        elif before and level <= level_before:
            closed.append(level)
            steps.append(abs(level - level_before))
    opening = median(opened) if opened else None
    closing = median(closed) if closed else None
    return SquelchReading(
        opening_dbm=opening,
        closing_dbm=closing,
        hysteresis_db=None if opening is None or closing is None else opening - closing,
        step_db=max(steps, default=None),
        openings_n=len(opened),
        closings_n=len(closed),
    )
