"""Mains hum: steady lines on the harmonics of 50 or 60 Hz."""

import numpy as np
from numpy.typing import NDArray

from audiotest.measure.lines import LEAST_OVER_NOISE, Line, LowBand, is_steady, line_near, low_band

HIGHEST_HZ = 310.0
MAINS_TOLERANCE_HZ = 0.3
MAINS_DRIFT_HZ = 0.15
"""Public mains stay within this of their nominal frequency nearly always (common practice, no source)."""
ALONE_HIGHEST_ORDER = 2
"""A lone line is hum on the mains frequency or on the ripple of a full-wave rectifier, not higher up."""
ALIGNED_CELLS = 0.3


def measure_hum(samples: NDArray[np.floating], sample_rate_hz: int) -> tuple[float, float] | None:
    """The strongest hum line and the hum's level.

    Parameters
    ----------
    samples : ndarray, shape (n,)
        One channel, a second or more, with or without a voice over it. A sub-audible tone on 100.0 Hz must
        be taken out before: alone it cannot be told from ripple.
    sample_rate_hz : int
        Sample rate in Hz.

    Returns
    -------
    (frequency_hz, rms_fs) or None
        The strongest line (nominal) of the mains family with more power, and the RMS of that family up to
        300 Hz in full scale. None when no line is steady and well above the noise around it. The level is
        as received: a high-pass in the receiver takes most of 50 Hz away.

    Notes
    -----
    Weighted least squares (textbook), see `audiotest.measure.lines`; no source for the bounds.
    """
    band = low_band(samples, sample_rate_hz)
    families = [] if band is None else [(hz, mains_lines(band, hz)) for hz in (50.0, 60.0)]
    families = [(mains_hz, found) for mains_hz, found in families if found]
    if not families:
        return None
    mains_hz, found = max(families, key=lambda family: family_power(family[1]))
    order = max(found, key=lambda k: abs(found[k].amplitude))
    return order * mains_hz, float(np.sqrt(family_power(found)))


def family_power(found: dict[int, Line]) -> float:
    """Mean square of all lines of a family."""
    return sum(abs(line.amplitude) ** 2 for line in found.values()) / 2.0


def mains_lines(band: LowBand, mains_hz: float) -> dict[int, Line]:
    """Steady lines of one mains frequency by order, all on multiples of one and the same fundamental."""
    reach_hz = ALIGNED_CELLS / band.seconds
    found = {}
    for order in range(1, int(HIGHEST_HZ / mains_hz) + 1):
        line = line_near(band, order * mains_hz, order * MAINS_DRIFT_HZ + reach_hz)
        if line is not None and line.over_noise >= LEAST_OVER_NOISE and is_steady(band, line):
            found[order] = line
    families = [_aligned(found, order, reach_hz) for order in found]
    families = [family for family in families if len(family) > 1 or min(family) <= ALONE_HIGHEST_ORDER]
    return max(families, key=lambda family: (len(family), family_power(family)), default={})


def _aligned(found: dict[int, Line], base: int, reach_hz: float) -> dict[int, Line]:
    """The lines on multiples of the fundamental that the line of order `base` tells."""
    exact_hz = found[base].frequency_hz / base
    return {
        order: line
        for order, line in found.items()
        if abs(line.frequency_hz - order * exact_hz) <= reach_hz * max(1.0, order / base)
    }
