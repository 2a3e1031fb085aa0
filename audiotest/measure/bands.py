"""Short-time band levels: what the over finder and the activity gate look at, ten milliseconds at a time."""

from dataclasses import dataclass

import numpy as np
import scipy.fft
from numpy.typing import NDArray

from audiotest.measure.beat import hop_n

WINDOW_HOPS = 4
EDGES_HZ = (300.0, 600.0, 1000.0, 1600.0, 2200.0, 2800.0, 3400.0, 4300.0, 5500.0, 7500.0, 10500.0, 15000.0)
"""Band edges; bands above the Nyquist frequency's nine tenths are left out."""
FLOOR_POWER = 1e-13
"""Mean square per band that stands for digital silence (-130 dBFS), so that no logarithm meets zero."""


@dataclass(frozen=True, slots=True)
class BandPlan:
    """The frame length and the FFT bins of each band at one sample rate."""

    sample_rate_hz: int
    hop_n: int
    window_n: int
    first_bins: tuple[int, ...]
    end_bin: int
    low_hz: tuple[float, ...]
    window: NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class BandFrames:
    """Band levels of consecutive frames.

    ``levels_db`` has shape (n_frames, n_bands): mean square in dB re full scale 1.0. ``flatness_db`` has
    the same shape: geometric over arithmetic mean of the bins, about -2.5 dB for Gaussian noise, far
    lower for a tone or a voiced sound.
    """

    levels_db: NDArray[np.float64]
    flatness_db: NDArray[np.float64]


def plan_bands(sample_rate_hz: int) -> BandPlan:
    """Frame length and band bins for one sample rate (6 kHz and up).

    >>> plan = plan_bands(48000)
    >>> plan.hop_n, plan.window_n, len(plan.first_bins)
    (480, 1920, 11)
    >>> len(plan_bands(8000).first_bins)
    6
    """
    step_n = hop_n(sample_rate_hz)
    window_n = WINDOW_HOPS * step_n
    bin_hz = sample_rate_hz / window_n
    usable_hz = [edge for edge in EDGES_HZ if edge <= 0.45 * sample_rate_hz]
    bins = [round(edge / bin_hz) for edge in usable_hz]
    window = np.hanning(window_n + 1)[:-1]
    return BandPlan(
        sample_rate_hz, step_n, window_n, tuple(bins[:-1]), bins[-1], tuple(usable_hz[:-1]), window
    )


def band_frames(samples: NDArray[np.floating], plan: BandPlan) -> BandFrames:
    """Levels of each frame that fits into `samples`, one frame per hop.

    Parameters
    ----------
    samples : ndarray, shape (n,)
        One channel, full scale 1.0; frame k covers ``samples[k * hop_n : k * hop_n + window_n]``.
    plan : BandPlan
        From `plan_bands`.

    Returns
    -------
    BandFrames
        ``max(0, (n - window_n) // hop_n + 1)`` frames.

    Notes
    -----
    By Parseval's theorem the sum of a band's bins, scaled by the window's power, is the band's mean
    square (Welch 1967, IEEE Trans. Audio Electroacoust. 15, 70-73).
    """
    n_frames = max(0, (len(samples) - plan.window_n) // plan.hop_n + 1)
    n_bands = len(plan.first_bins)
    if n_frames == 0:
        empty = np.zeros((0, n_bands))
        return BandFrames(empty, empty)
    view = np.lib.stride_tricks.sliding_window_view(samples, plan.window_n)[:: plan.hop_n][:n_frames]
    spectra = scipy.fft.rfft(view * plan.window, axis=1)
    bins = spectra[:, plan.first_bins[0] : plan.end_bin]
    power = (bins.real**2 + bins.imag**2) * (2.0 / (plan.window_n * np.sum(plan.window**2)))
    power += FLOOR_POWER / power.shape[1]
    starts = np.array(plan.first_bins) - plan.first_bins[0]
    counts = np.diff(np.append(starts, power.shape[1]))
    sums = np.add.reduceat(power, starts, axis=1)
    mean_log = np.add.reduceat(np.log10(power), starts, axis=1) / counts
    return BandFrames(10.0 * np.log10(sums), 10.0 * (mean_log - np.log10(sums / counts)))
