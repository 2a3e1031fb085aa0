"""Active speech level by ITU-T Recommendation P.56, method B."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import maximum_filter1d

from audiotest.measure.lean import recursion
from audiotest.units import power_db

TIME_CONSTANT_S = 0.03
HANGOVER_S = 0.2
MARGIN_DB = 15.9
THRESHOLDS = 24
"""Thresholds from full scale down in steps of a factor of two."""


@dataclass(frozen=True, slots=True)
class SpeechLevel:
    """Active level, share of time that is active, and the level over all of the time."""

    active_dbfs: float
    activity: float
    long_term_dbfs: float


def speech_envelope(samples: NDArray[np.floating], sample_rate_hz: int) -> NDArray[np.float64]:
    """Two cascaded exponential averages of the magnitude, shape (n,), 0.03 s each (P.56 clause 8)."""
    g = np.exp(-1.0 / (sample_rate_hz * TIME_CONSTANT_S))
    once = recursion((1.0 - g) * np.abs(np.asarray(samples, dtype=np.float64)), g)
    return recursion((1.0 - g) * once, g)


def active_speech_level(samples: NDArray[np.floating], sample_rate_hz: int) -> SpeechLevel | None:
    """Active speech level, method B.

    Parameters
    ----------
    samples : ndarray, shape (n,)
        One channel, full scale 1.0.
    sample_rate_hz : int
        Sample rate in Hz.

    Returns
    -------
    SpeechLevel or None
        None for silence, nothing, or a level that no threshold brackets.

    Notes
    -----
    For each threshold c the time counts during which the envelope was at or above c at any moment of the
    last 0.2 s (hangover). The active level A = 10·log10(energy / active time) falls as c falls; the answer
    is where it lies 15.9 dB above the threshold, interpolated in dB between thresholds 6.02 dB apart
    (ITU-T P.56, 12/2011, clause 8).
    """
    wide = np.asarray(samples, dtype=np.float64)
    energy = float(np.dot(wide, wide))
    long_term = power_db(energy / len(wide)) if len(wide) else None
    if long_term is None:
        return None
    hangover_n = round(HANGOVER_S * sample_rate_hz)
    envelope = speech_envelope(wide, sample_rate_hz)
    # The highest envelope of the last 0.2 s passes a threshold exactly while the hangover lasts.
    held = maximum_filter1d(envelope, hangover_n + 1, origin=hangover_n // 2, mode="constant")
    thresholds = 0.5 ** np.arange(THRESHOLDS)
    counts = len(held) - np.searchsorted(np.sort(held), thresholds)
    seen = counts > 0
    if not np.any(seen):
        return None
    levels = 10.0 * np.log10(energy / np.maximum(counts, 1))
    above = levels - 20.0 * np.log10(thresholds)
    # From the lowest threshold upwards, as the Recommendation counts: a threshold that is passed for a few
    # samples only has a level far above it again.
    short = np.flatnonzero(~(seen & (above >= MARGIN_DB)))
    k = int(short[-1]) + 1 if len(short) else 0
    if k == len(thresholds):
        return None
    active = float(levels[k])
    if k > 0 and seen[k - 1]:
        part = (MARGIN_DB - above[k - 1]) / (above[k] - above[k - 1])
        active = float(levels[k - 1] + part * (levels[k] - levels[k - 1]))
    activity = min(10.0 ** ((long_term - active) / 10.0), 1.0)
    return SpeechLevel(active, activity, long_term)
