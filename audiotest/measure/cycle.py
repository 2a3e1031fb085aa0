"""One cycle of a steady tone without the noise on it: both peaks, fundamental, distortion."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from audiotest.errors import MeasureError
from audiotest.measure.filters import bandpass
from audiotest.measure.tone import fit_sine

SEARCH_SHARE = 0.03
GRID_N = 512
MOST_HARMONICS = 40


@dataclass(frozen=True, slots=True, kw_only=True)
class Cycle:
    """The periodic part of a signal, in its own unit; peaks are measured from its mean.

    ``fundamental`` is a peak amplitude; ``distortion`` the root of the summed squares of the harmonics over
    it; ``noise_rms`` what is left once the periodic part is taken away, up to the same ``high_hz``.
    ``harmonics`` are the peak amplitudes of orders 1, 2, 3 and on.
    """

    frequency_hz: float
    positive: float
    negative: float
    fundamental: float
    distortion: float
    mean: float
    noise_rms: float
    harmonics: tuple[float, ...]


def measure_cycle(
    samples: NDArray[np.floating], rate_hz: float, tone_hz: float, *, high_hz: float = 15000.0
) -> Cycle:
    """Peaks and harmonics of the waveform that repeats at a tone's frequency.

    Parameters
    ----------
    samples : ndarray, shape (n,)
        Tone, harmonics and noise; 0.05 s or more, and ten periods.
    rate_hz : float
        Sample rate in Hz.
    tone_hz : float
        Nominal frequency; the true one is sought within 3 %.
    high_hz : float
        Harmonics up to here take part.

    Returns
    -------
    Cycle
        The peaks are those of the fitted waveform: noise averages out, clipping and asymmetry do not.

    Raises
    ------
    MeasureError
        Too short, or no tone.

    Notes
    -----
    Each harmonic is a windowed Fourier sum at a multiple of the fitted frequency; ten periods or more under a
    Hann window keep what one harmonic leaks into the next below -80 dB (textbook).
    """
    x = np.asarray(samples, dtype=np.float64)
    if len(x) < max(0.05 * rate_hz, 10.0 * rate_hz / tone_hz):
        raise MeasureError("too short to measure a tone's waveform", "listen longer")
    frequency_hz = _exact_hz(x, rate_hz, tone_hz)
    count = int(min(high_hz, 0.48 * rate_hz) // frequency_hz)
    count = max(1, min(count, MOST_HARMONICS))
    turn = np.exp(2j * np.pi * frequency_hz / rate_hz * np.arange(len(x)))
    window = np.hanning(len(x) + 2)[1:-1]
    window /= np.sum(window)
    mean = float(np.sum(window * x))
    orders = np.arange(1, count + 1)
    parts = np.zeros(count, dtype=np.complex128)
    periodic = np.full(len(x), mean)
    kernel = window * (x - mean)
    wave_k = np.ones(len(x), dtype=np.complex128)
    for k in range(count):
        wave_k = wave_k * turn
        parts[k] = 2.0 * np.sum(kernel * np.conj(wave_k))
        periodic += (parts[k] * wave_k).real
    size = np.abs(parts)
    if size[0] < 1e-9:
        raise MeasureError("there is no tone", "check the cable and the level")
    grid = np.outer(orders, np.linspace(0.0, 2.0 * np.pi, GRID_N, endpoint=False))
    wave = np.sum(parts.real[:, None] * np.cos(grid) - parts.imag[:, None] * np.sin(grid), axis=0)
    rest = bandpass(x - periodic, rate_hz, 0.0, high_hz)
    return Cycle(
        frequency_hz=frequency_hz,
        positive=float(np.max(wave)),
        negative=float(-np.min(wave)),
        fundamental=float(size[0]),
        distortion=float(np.sqrt(np.sum(size[1:] ** 2)) / size[0]),
        mean=mean,
        noise_rms=float(np.sqrt(np.mean(rest**2))),
        harmonics=tuple(float(value) for value in size),
    )


def _exact_hz(x: NDArray[np.float64], rate_hz: float, tone_hz: float) -> float:
    """Frequency of the tone: a coarse fit in a narrow band, then the phase from half to half of the plain."""
    low_hz, high_hz = (1.0 - SEARCH_SHARE) * tone_hz, (1.0 + SEARCH_SHARE) * tone_hz
    near = bandpass(x, rate_hz, low_hz, high_hz)
    if not np.any(near):
        return tone_hz
    f = float(np.clip(fit_sine(near, rate_hz).frequency_hz, low_hz, high_hz))
    half = len(x) // 2
    window = np.hanning(half + 2)[1:-1]
    plain = x[: 2 * half] - np.mean(x)
    t = np.arange(2 * half) / rate_hz
    for _ in range(3):
        turned = plain * np.exp(-2j * np.pi * f * t)
        first, second = np.sum(turned[:half] * window), np.sum(turned[half:] * window)
        f += float(np.angle(second * np.conj(first))) * rate_hz / (2.0 * np.pi * half)
    return float(np.clip(f, low_hz, high_hz))
