"""Where exactly a carrier came up or dropped: the change-point of the noise power, to a few milliseconds."""

import numpy as np
from numpy.typing import NDArray

from audiotest.measure.bands import band_frames, plan_bands

STEP_S = 0.002
TAIL_S = 0.8
LOOKED_BACK_S = 20.0
QUIET_S, QUIET_DB = 0.1, 10.0
"""Behind a tail whose closing squelch was not noticed: how long it is quiet at least, how much quieter."""
PAUSES_PERCENT, PAUSES_DB = 10, 5.0
"""And it is as quiet as the pauses before."""
SUDDEN_S, SUDDEN_DB = 0.01, 4.0
"""A squelch shuts: the tail's last moments are as loud as all of it to within this. A sibilant fades."""
ALIKE_DB = 4.0
"""Noise of a band in one frame strays by 5 dB now and then; three bands on average do not."""


def _step_power(samples: NDArray[np.floating], step_n: int) -> NDArray[np.float64]:
    # The second difference favours the upper audio band, where noise and not speech sets the power.
    bent = np.diff(np.asarray(samples, dtype=np.float64), n=2, prepend=0.0, append=0.0)
    bent[:1] = bent[-1:] = 0.0
    count = len(bent) // step_n
    return np.asarray(np.mean(bent[: count * step_n].reshape(count, step_n) ** 2, axis=1) + 1e-14)


def change_point(samples: NDArray[np.floating], sample_rate_hz: int) -> int:
    """Sample position at which the power of `samples` changes most.

    Parameters
    ----------
    samples : ndarray, shape (n,)
        A stretch that holds one carrier edge, some 100 ms on each side.
    sample_rate_hz : int
        Sample rate in Hz.

    Returns
    -------
    int
        Position in samples, resolved to 2 ms; 0 if the stretch is shorter than 20 ms.

    Notes
    -----
    Maximum likelihood for one change of variance in Gaussian noise: minimise
    k·ln σ₁² + (n-k)·ln σ₂² (Basseville & Nikiforov 1993, Detection of Abrupt Changes, ch. 2).
    """
    step_n = max(1, round(sample_rate_hz * STEP_S))
    power = _step_power(samples, step_n)
    n = len(power)
    if n < 10:
        return 0
    before = np.cumsum(power)[:-1]
    k = np.arange(1, n)
    # A sum taken in another order would leave a little less than nothing after a loud steady part.
    after = np.maximum(np.sum(power) - before, 0.0)
    cost = k * np.log(before / k) + (n - k) * np.log((after + 1e-14) / (n - k))
    inner = slice(2, n - 3)
    return int((np.argmin(cost[inner]) + 3) * step_n)


def squelch_tail_start(samples: NDArray[np.floating], sample_rate_hz: int) -> int | None:
    """Start of the burst of hiss that a squelch lets through before it closes, or None.

    Parameters
    ----------
    samples : ndarray, shape (n,)
        An over up to the moment at which the squelch closed.
    sample_rate_hz : int
        Sample rate in Hz.

    Returns
    -------
    int or None
        Sample position at which the carrier dropped.

    Notes
    -----
    By `change_point`, the most likely change of variance; no source for how long and how loud a tail is.
    """
    plan = plan_bands(sample_rate_hz)
    tail_n = min(len(samples), round(TAIL_S * sample_rate_hz))
    frames = band_frames(samples[len(samples) - tail_n :], plan)
    if len(frames.levels_db) < 6:
        return None
    # 600-2800 Hz has to be noise: further up a steep audio filter may end, which looks like a line.
    noisy, upper = slice(1, 5), slice(2, 5)
    levels = frames.levels_db[:, upper]
    last = levels[-3:].mean(axis=0)
    alike = (np.mean(np.abs(levels - last), axis=1) < ALIKE_DB) & (
        np.mean(frames.flatness_db[:, noisy], axis=1) > -4.0
    )
    length = int(np.argmin(alike[::-1])) if not alike.all() else len(alike)
    rest = levels[: len(levels) - length - 4].mean(axis=1)
    if length < 2 or len(rest) < 4 or last.mean() < np.percentile(rest, 20) + 8.0:
        return None
    guess = len(samples) - plan.window_n - (length - 1) * plan.hop_n
    half = round(0.06 * sample_rate_hz)
    low = max(0, guess - half)
    return low + change_point(samples[low : min(len(samples), guess + half)], sample_rate_hz)


def unnoticed_tail_start(samples: NDArray[np.floating], sample_rate_hz: int) -> int | None:
    """Start of a squelch's last burst of hiss where nobody noticed the squelch close after it, or None.

    A carrier may be as quiet as the closed squelch: then nothing but the burst tells where the one ends and
    the other begins.

    Parameters
    ----------
    samples : ndarray, shape (n,)
        An over that ends in quiet.
    sample_rate_hz : int
        Sample rate in Hz.

    Returns
    -------
    int or None
        Sample position at which the carrier dropped.

    Notes
    -----
    Common practice, no source; the burst itself is found by `squelch_tail_start`.
    """
    step_n = max(1, round(sample_rate_hz * STEP_S))
    first = max(0, len(samples) - round(LOOKED_BACK_S * sample_rate_hz))
    power = _step_power(samples[first:], step_n)
    quiet = round(QUIET_S / STEP_S)
    if len(power) < 2 * quiet:
        return None
    last = np.mean(power[-quiet:])
    pauses = np.percentile(power, PAUSES_PERCENT)
    loud = np.flatnonzero(power > 10 ** (QUIET_DB / 10) * last)
    if last > 10 ** (PAUSES_DB / 10) * pauses or len(loud) == 0 or loud[-1] >= len(power) - quiet:
        return None
    end = int(loud[-1]) + 1
    start_n = squelch_tail_start(samples[: first + end * step_n], sample_rate_hz)
    if start_n is None:
        return None
    tail = power[max(0, (start_n - first) // step_n) : end]
    stop = np.mean(tail[-round(SUDDEN_S / STEP_S) :])
    return start_n if stop > 10 ** (-SUDDEN_DB / 10) * np.mean(tail) else None
