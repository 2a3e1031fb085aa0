"""Mains hum: steady lines on the harmonics of 50 or 60 Hz."""

import numpy as np
from numpy.typing import NDArray

from audiotest.measure.lines import Line, steady_lines

HARMONICS = 6
LEAST_COHERENCE = 0.75
LEAST_OVER_NOISE = 5.0
MAINS_TOLERANCE_HZ = 0.3
MAINS_DRIFT_HZ = 0.15
DRIFT_STEP_HZ = 0.01
"""Public mains stay within this of their nominal frequency nearly always (common practice, no source)."""


def measure_hum(samples: NDArray[np.floating], sample_rate_hz: int) -> tuple[float, float] | None:
    """The strongest hum line and the hum's level.

    Parameters
    ----------
    samples : ndarray, shape (n,)
        One channel; a second or more, two where a sub-audible tone is near.
    sample_rate_hz : int
        Sample rate in Hz.

    Returns
    -------
    (frequency_hz, rms_fs) or None
        The strongest line (nominal) of the mains family with more power, and the RMS of the whole family in
        full scale. None when no line is steady and well above the noise around it. The level is as received:
        a high-pass in the receiver takes most of 50 Hz away.
    """
    best: tuple[float, float] | None = None
    for mains_hz in (50.0, 60.0):
        found = _family(samples, sample_rate_hz, mains_hz)
        if not found:
            continue
        order, _strongest = max(found, key=lambda pair: pair[1].amplitude_fs)
        rms = float(np.sqrt(sum(line.amplitude_fs**2 for _, line in found) / 2.0))
        if best is None or rms > best[1]:
            best = (order * mains_hz, rms)
    return best


def _family(samples: NDArray[np.floating], sample_rate_hz: int, mains_hz: float) -> list[tuple[int, Line]]:
    """Steady lines of one mains frequency; its drift is followed, the same for every harmonic."""
    orders = np.arange(1, HARMONICS + 1)
    orders = orders[orders * mains_hz < 320.0]
    drifts = np.arange(-MAINS_DRIFT_HZ, MAINS_DRIFT_HZ + 1e-9, DRIFT_STEP_HZ)
    grid = np.outer(mains_hz + drifts, orders)
    lines = steady_lines(samples, sample_rate_hz, grid.ravel())
    if not lines:
        return []
    table = np.array([line.amplitude_fs * line.coherence for line in lines]).reshape(grid.shape)
    row = int(np.argmax(np.sum(table, axis=1)))
    chosen = lines[row * len(orders) : (row + 1) * len(orders)]
    return [
        (int(order), line)
        for order, line in zip(orders, chosen, strict=True)
        if line.coherence >= LEAST_COHERENCE and line.over_noise >= LEAST_OVER_NOISE
    ]
