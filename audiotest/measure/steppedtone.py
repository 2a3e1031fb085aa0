"""Onset and knee of a limiter from a recording of one tone at rising levels."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import least_squares

from audiotest.errors import MeasureError
from audiotest.measure.limiting import LimitingFit, fit_limiting
from audiotest.measure.pathtones import CombTone, find_comb_tones

SAME_TONE = 0.01
DB_PER_SHARE = 8.69
MOST_ERROR_DB = 0.3
"""Steps whose fundamental is known worse than this by the noise do not count."""
LINE_ERROR_DB, LINE_SPAN_DB = 0.15, 4.5
STEP_ERROR_DB = 0.01
"""What a step of an output may be off beside the noise."""
HARD = 1.0 / 30.0
SHARPEST = 100.0
NULL_ORDERS = (5, 7)
NULL_SIGMAS = 3.0
NULL_RANGE_DB = (0.3, 12.0)
ANGLES_N = 4096
END_S = 0.1


@dataclass(frozen=True, slots=True, kw_only=True)
class HarmonicNull:
    """A drive at which a harmonic of a clipped tone vanishes.

    ``measured_db`` is where it did, over the fitted onset; ``expected_db`` where it does in the fitted
    limiter.
    """

    order: int
    measured_db: float
    expected_db: float


def measure_steps(
    samples: NDArray[np.floating],
    rate_hz: int,
    levels_mv: Sequence[float],
    *,
    tone_hz: float | None = None,
    every_s: float | None = None,
) -> tuple[LimitingFit, tuple[float, ...]]:
    """Fit the limiting curve of a recorded staircase of one tone.

    Parameters
    ----------
    samples : ndarray, shape (n,)
        One channel, any linear unit: the tone of 120 to 1300 Hz once for each level, half a second or longer
        each, with breaks of a tenth of a second or more between them.
    rate_hz : int
        Sample rate in Hz, 8 kHz and up.
    levels_mv : sequence of float
        The levels at the microphone socket in the order in which they were played. Only their ratios matter
        to the knee; the onset is in their unit.
    tone_hz : float or None
        The tone, where it is known.
    every_s : float or None
        Time from one step to the next, where it is known: then the first steps may drown in noise. The
        recording must run on after the last.

    Returns
    -------
    LimitingFit
        Its ``threshold_khz`` is in the unit of the samples.
    tuple of float
        Drive of each step in dB: its level over the onset.

    Raises
    ------
    MeasureError
        Not as many steps are found as levels were given, or no limiter fits.

    Notes
    -----
    Only the fundamental counts, so that no filter behind the limiter matters. Its curve is the limiter's
    describing function (textbook), see `audiotest.measure.limiting`.

    """
    steps = find_steps(samples, rate_hz, len(levels_mv), tone_hz=tone_hz, every_s=every_s)
    fit = fit_steps(steps, levels_mv)
    drives = 20.0 * np.log10(np.asarray(levels_mv, dtype=np.float64) / fit.onset_mv)
    return fit, tuple(round(float(drive), 3) for drive in drives)


def find_steps(
    samples: NDArray[np.floating],
    rate_hz: int,
    count: int,
    *,
    tone_hz: float | None = None,
    every_s: float | None = None,
) -> tuple[CombTone | None, ...]:
    """The steps of a staircase, shape (count,); None where one drowned. See `measure_steps`.

    Raises
    ------
    MeasureError
        They do not fit the staircase.
    """
    found = _one_tone(find_comb_tones(samples, rate_hz), tone_hz)
    if every_s is not None and found:
        ends_s = len(samples) / rate_hz
        places = [count - 1 - round((found[-1].start_s - step.start_s) / every_s) for step in found]
        # Without a rest after it, the last step found may be the last heard of a longer staircase.
        if found[-1].end_s + END_S < ends_s and places[0] >= 0 and len(set(places)) == len(places):
            by_place = dict(zip(places, found, strict=True))
            gaps = sum(place not in by_place for place in range(places[0], count))
            if gaps == 0:
                return tuple(by_place.get(place) for place in range(count))
    if len(found) != count:
        raise MeasureError(
            f"{len(found)} steps of one tone are in the recording, not {count}",
            "play each level for half a second or longer with a break of a tenth between them",
        )
    return found


def fit_steps(steps: Sequence[CombTone | None], levels_mv: Sequence[float]) -> LimitingFit:
    """The limiting curve of the steps that stand clear of the noise; `MeasureError` where none fits."""
    clear = [
        (mv, float(abs(step.amplitudes[0])), DB_PER_SHARE * float(step.errors[0]) / abs(step.amplitudes[0]))
        for mv, step in zip(levels_mv, steps, strict=True)
        if step is not None
        and DB_PER_SHARE * float(step.errors[0]) <= MOST_ERROR_DB * max(float(abs(step.amplitudes[0])), 1e-30)
    ]
    fit = fit_limiting([mv for mv, _, _ in clear], [size for _, size, _ in clear])
    return fit if fit.kind != "clipping" else _refined(fit, np.array(clear))


def _refined(fit: LimitingFit, clear: NDArray[np.float64]) -> LimitingFit:
    """The fit with a knee of any sharpness, each step weighed by its noise."""
    level_db, out_db = 20.0 * np.log10(clear[:, 0]), 20.0 * np.log10(clear[:, 1])
    error_db = np.hypot(clear[:, 2], STEP_ERROR_DB)

    def miss(at: NDArray[np.float64]) -> NDArray[np.float64]:
        return np.asarray((out_db - level_db - at[1] - _gain_db(level_db - at[0], at[2])) / error_db)

    start = [20.0 * math.log10(fit.onset_mv), 20.0 * math.log10(fit.gain_khz_per_mv), 1.0 / fit.knee]
    start[2] = float(np.clip(start[2], 0.02, 0.9))
    found = least_squares(miss, start, bounds=([-np.inf, -np.inf, 0.0], [np.inf, np.inf, 1.0]))
    onset_db, line_db, softness = (float(value) for value in found.x)
    drives = np.arange(-20.0, 20.0, 0.02)
    return replace(
        fit, onset_mv=10.0 ** (onset_db / 20.0), gain_khz_per_mv=10.0 ** (line_db / 20.0),
        threshold_khz=10.0 ** ((line_db + onset_db) / 20.0),
        knee=math.inf if softness < HARD else 1.0 / softness,
        knee_db=float(np.interp(1.0, -_gain_db(drives, softness), drives)),
        misfit_db=float(np.sqrt(np.mean((miss(found.x) * error_db) ** 2))),
    )  # fmt: skip


def _gain_db(drive_db: NDArray[np.float64], softness: float) -> NDArray[np.float64]:
    """Gain of a limiter of knee 1/softness for the fundamental of a sine (describing function, textbook)."""
    angle = (np.arange(ANGLES_N // 8) + 0.5) * np.pi / (ANGLES_N // 4)
    log_u = np.log(10.0) / 20.0 * drive_db[:, None] + np.log(np.sin(angle))
    # In logarithms, or a large power of a large drive overflows.
    sharp = 1.0 / max(softness, 1.0 / SHARPEST)
    log_y = log_u - np.logaddexp(0.0, sharp * log_u) / sharp
    first = 2.0 * np.mean(np.exp(log_y) * np.sin(angle), axis=1)
    return np.asarray(20.0 * np.log10(first) - drive_db)


def compressed_at(
    steps: Sequence[CombTone | None], levels_mv: Sequence[float], loss_db: float = 1.0
) -> float | None:
    """Level at which the fundamental has lost so much against the straight line of the small levels.

    No limiter is assumed. The line is that of the lowest clear steps within 4 dB of each other; None where
    fewer than two are clear, or so much is never lost.
    """
    clear = [
        (20.0 * math.log10(mv), 20.0 * math.log10(float(abs(step.amplitudes[0])) / mv))
        for mv, step in sorted(zip(levels_mv, steps, strict=True), key=lambda pair: pair[0])
        if step is not None
        and DB_PER_SHARE * float(step.errors[0]) <= LINE_ERROR_DB * float(abs(step.amplitudes[0]))
    ]
    if len(clear) < 2:
        return None
    line_db = float(np.mean([gain for level, gain in clear if level <= clear[0][0] + LINE_SPAN_DB]))
    for (low, low_gain), (high, high_gain) in pairwise(clear):
        if line_db - low_gain < loss_db <= line_db - high_gain:
            share = (line_db - loss_db - low_gain) / (high_gain - low_gain)
            return float(10.0 ** ((low + share * (high - low)) / 20.0))
    return None


def harmonic_nulls(
    steps: Sequence[CombTone | None], levels_mv: Sequence[float], fit: LimitingFit
) -> tuple[HarmonicNull, ...]:
    """Where the fifth and the seventh harmonic vanish, against where they do in the fitted limiter.

    No linear filter behind the limiter can move a null, and no level control makes one: nulls in the right
    place bear the fit out by other means than the fundamental. Empty where the noise hides them, the levels
    do not reach them, or the limiter is too soft to have any.

    Notes
    -----
    The harmonic is turned back by its order times the phase of the fundamental; what is left has one phase
    but for its sign, and the null is where that changes (Fourier series of a clipped sine, textbook).
    """
    if fit.kind != "clipping":
        return ()
    drives = 20.0 * np.log10(np.asarray(levels_mv, dtype=np.float64) / fit.onset_mv)
    found = []
    for order in NULL_ORDERS:
        expected = expected_nulls_db(fit.knee, order)
        for null_db in _sign_changes(steps, drives, order):
            near = min(expected, key=lambda at: abs(at - null_db), default=None)
            if near is not None:
                found.append(HarmonicNull(order=order, measured_db=null_db, expected_db=near))
    return tuple(found)


def expected_nulls_db(knee: float, order: int) -> tuple[float, ...]:
    """Drives from 0.3 to 12 dB at which a harmonic of a clipped sine vanishes.

    >>> [round(at, 2) for at in expected_nulls_db(math.inf, 5)]
    [4.26]
    >>> [round(at, 2) for at in expected_nulls_db(math.inf, 7)]
    [1.96, 7.07]
    >>> [round(at, 2) for at in expected_nulls_db(8.0, 5)]
    [3.9]
    """
    angle = 2.0 * np.pi * (np.arange(ANGLES_N) + 0.5) / ANGLES_N
    drives = np.arange(*NULL_RANGE_DB, 0.05)
    u = 10.0 ** (drives[:, None] / 20.0) * np.sin(angle)
    y = np.clip(u, -1.0, 1.0) if math.isinf(knee) else u / (1.0 + np.abs(u) ** knee) ** (1.0 / knee)
    size = np.mean(y * np.sin(order * angle), axis=1)
    return _crossings(drives, size, np.abs(size) > 0.0)


def _crossings(x: NDArray[np.float64], y: NDArray[np.float64], sure: NDArray[np.bool_]) -> tuple[float, ...]:
    """Where y changes its sign between neighbouring points that are both sure, or around one that is not."""
    at = np.flatnonzero(sure)
    found = []
    for first, second in pairwise(at):
        if y[first] * y[second] < 0.0 and second - first <= 2:
            share = y[first] / (y[first] - y[second])
            found.append(float(x[first] + share * (x[second] - x[first])))
    return tuple(found)


def _sign_changes(
    steps: Sequence[CombTone | None], drives: NDArray[np.float64], order: int
) -> tuple[float, ...]:
    turned, errors, at = [], [], []
    low_db, high_db = NULL_RANGE_DB
    for step, drive in zip(steps, drives, strict=True):
        if step is None or len(step.amplitudes) < order or not low_db <= drive <= high_db:
            continue
        first = step.amplitudes[0]
        turned.append(step.amplitudes[order - 1] * (np.conj(first) / max(abs(first), 1e-30)) ** order)
        errors.append(step.errors[order - 1])
        at.append(float(drive))
    if len(at) < 3:
        return ()
    z = np.array(turned)
    axis = 0.5 * np.angle(np.sum(z**2))
    size = np.real(z * np.exp(-1j * axis))
    return _crossings(np.array(at), size, np.abs(size) > NULL_SIGMAS * np.array(errors))


def _one_tone(steps: tuple[CombTone, ...], tone_hz: float | None) -> tuple[CombTone, ...]:
    """The steps of one frequency, else the commonest: a hum or another sound is none of them."""
    if not steps:
        return ()
    typical = tone_hz or float(np.median([step.frequency_hz for step in steps]))
    return tuple(step for step in steps if abs(step.frequency_hz / typical - 1.0) < SAME_TONE)
