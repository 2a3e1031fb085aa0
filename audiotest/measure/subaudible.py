"""A continuous sub-audible tone under the modulation."""

import numpy as np
from numpy.typing import NDArray

from audiotest.measure.hum import MAINS_TOLERANCE_HZ
from audiotest.measure.lines import refined_hz, steady_lines

LOWEST_HZ, HIGHEST_HZ = 60.0, 260.0
LEAST_S = 1.0
LEAST_COHERENCE = 0.8
LEAST_OVER_NOISE = 6.0
ABOVE_NEIGHBOURS = 2.0


def find_subaudible(samples: NDArray[np.floating], sample_rate_hz: int) -> tuple[float, float] | None:
    """The sub-audible tone of an over.

    Parameters
    ----------
    samples : ndarray, shape (n,)
        The over, voice and all; a second or more. The receiver's high-pass may have taken most of the tone.
    sample_rate_hz : int
        Sample rate in Hz.

    Returns
    -------
    (frequency_hz, peak_fs) or None
        Measured frequency, not snapped to a table, and peak amplitude in full scale; None when no single
        line between 60 and 260 Hz stays steady through the over. A line on a mains harmonic with steady
        siblings is hum. Alone, 100.0 Hz may be either: its deviation tells (`audiotest.measure.over`).
    """
    if len(samples) < LEAST_S * sample_rate_hz:
        return None
    lines = [
        line for line in steady_lines(samples, sample_rate_hz) if LOWEST_HZ <= line.frequency_hz <= HIGHEST_HZ
    ]
    lines = [
        line for line in lines if line.coherence >= LEAST_COHERENCE and line.over_noise >= LEAST_OVER_NOISE
    ]
    lines.sort(key=lambda line: line.amplitude_fs * line.coherence, reverse=True)
    for line in lines[:8]:
        frequency_hz = refined_hz(samples, sample_rate_hz, line.frequency_hz)
        if abs(frequency_hz - line.frequency_hz) > 0.5 or _is_mains(samples, sample_rate_hz, frequency_hz):
            continue
        exact = steady_lines(samples, sample_rate_hz, np.array([frequency_hz]))[0]
        return frequency_hz, exact.amplitude_fs
    return None


def _is_mains(samples: NDArray[np.floating], sample_rate_hz: int, frequency_hz: float) -> bool:
    """Whether a line lies on a mains harmonic and cannot be a tone of its own."""
    for mains_hz in (50.0, 60.0):
        order = round(frequency_hz / mains_hz)
        if order < 1 or abs(frequency_hz - order * mains_hz) > MAINS_TOLERANCE_HZ:
            continue
        if abs(frequency_hz - 100.0) > 0.1:
            return True  # of the tone table only 100.0 Hz lies on a mains harmonic
        others = mains_hz * np.array([k for k in range(1, 7) if k != order])
        siblings = steady_lines(samples, sample_rate_hz, others[others < 320.0])
        return any(s.coherence > 0.75 and s.over_noise > 5.0 for s in siblings)
    return False
