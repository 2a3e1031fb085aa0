"""Occupied bandwidth of an emission from its I/Q samples."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.signal import welch

from audiotest.errors import MeasureError

SHARE_OUTSIDE = 0.005
FINEST_HZ = 10.0
LEAST_SEGMENTS = 8.0
"""Of a short record the resolution gives way: fewer segments would leave the noise too rough."""
FLOOR_SHARE = 0.2
MOST_NOISE = 0.005
"""Noise that holds more of the power than one side's share would set the edges itself."""


@dataclass(frozen=True, slots=True, kw_only=True)
class OccupiedBandwidth:
    """Band that holds 99 % of the power; edges relative to the tuned frequency.

    ``noise_share`` is what noise contributed before it was taken off.
    """

    bandwidth_hz: float
    low_hz: float
    high_hz: float
    noise_share: float


def occupied_bandwidth(iq: NDArray[np.complexfloating], rate_hz: float) -> OccupiedBandwidth:
    """Occupied bandwidth, 99 %: half a percent of the mean power lies below it, and half a percent above.

    Parameters
    ----------
    iq : ndarray of complex, shape (n,)
        The emission, 0.2 s or more, the channel well inside the band that `rate_hz` covers.
    rate_hz : float
        Sample rate in Hz.

    Raises
    ------
    MeasureError
        Too short, silent, or so noisy that the noise and not the emission would set the edges.

    Notes
    -----
    Definition: ITU Radio Regulations No. 1.153 with β/2 = 0.5 %, measured by the β % method of
    Recommendations ITU-R SM.328 and SM.443 (numbers from memory). White noise is taken off by the fifth of
    the spectrum with the least power; the edges are found between the spectrum's lines by interpolation.
    """
    z = np.asarray(iq, dtype=np.complex128)
    segment_n = round(min(rate_hz / FINEST_HZ, len(z) / LEAST_SEGMENTS))
    if len(z) < 0.2 * rate_hz or not np.any(z):
        raise MeasureError("not enough signal for a bandwidth", "record at least 0.2 s of the emission")
    hz, density = welch(z, rate_hz, window="hann", nperseg=segment_n, return_onesided=False, detrend=False)
    order = np.argsort(hz)
    hz, density = hz[order], density[order]
    floor = float(np.mean(np.sort(density)[: max(1, round(FLOOR_SHARE * len(density)))]))
    total = float(np.sum(density))
    noise_share = floor * len(density) / total
    clean = np.maximum(density - floor, 0.0)
    # What noise still stands above its own floor counts as much below as above, but not without limit.
    scatter = floor * float(np.sqrt(len(density) / max(1, 2 * len(z) // segment_n - 1)))
    if scatter / total > MOST_NOISE or noise_share > 0.2:
        raise MeasureError(
            "noise hides the edges of the emission", "bring the receiver closer or take more signal"
        )
    clean[clean < 4.0 * scatter / np.sqrt(len(density))] = 0.0
    reached = np.concatenate([[0.0], np.cumsum(clean) / np.sum(clean)])
    step_hz = rate_hz / segment_n
    edges_hz = np.concatenate([[hz[0] - 0.5 * step_hz], hz + 0.5 * step_hz])
    low_hz, high_hz = (
        float(np.interp(share, reached, edges_hz)) for share in (SHARE_OUTSIDE, 1.0 - SHARE_OUTSIDE)
    )
    return OccupiedBandwidth(
        bandwidth_hz=high_hz - low_hz, low_hz=low_hz, high_hz=high_hz, noise_share=noise_share
    )
