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
PIECES, LEAST_PIECES, PIECE_PERIODS = 16, 3, 3
MOST_CHANCE = 1e-8
"""Chance with which noise alone may pass for the tone, for each of the frequencies that are tried."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Cycle:
    """The periodic part of a signal, in its own unit; peaks are measured from its mean.

    ``fundamental`` is a peak amplitude; ``distortion`` the root of the summed squares of the harmonics over
    it; ``noise_rms`` what is left once the periodic part is taken away, up to the same ``high_hz``.
    ``noise_distortion`` is what that noise alone makes a clean tone's distortion read. ``harmonics`` are the
    peak amplitudes of orders 1, 2, 3 and on.
    """

    frequency_hz: float
    positive: float
    negative: float
    fundamental: float
    distortion: float
    mean: float
    noise_rms: float
    noise_distortion: float
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
    x = _long_enough(samples, rate_hz, tone_hz)
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
    noise_rms = float(np.sqrt(np.mean(bandpass(x - periodic, rate_hz, 0.0, high_hz) ** 2)))
    # The mean square of such a sum over noise of even density up to `high_hz` (textbook).
    line_power = 4.0 * float(np.sum(window**2)) * noise_rms**2 * max(rate_hz / 2.0 / high_hz, 1.0)
    return Cycle(
        frequency_hz=frequency_hz,
        positive=float(np.max(wave)),
        negative=float(-np.min(wave)),
        fundamental=float(size[0]),
        distortion=float(np.sqrt(np.sum(size[1:] ** 2)) / size[0]),
        mean=mean,
        noise_rms=noise_rms,
        noise_distortion=float(np.sqrt((count - 1) * line_power) / size[0]),
        harmonics=tuple(float(value) for value in size),
    )


def tone_stands_out(samples: NDArray[np.floating], rate_hz: float, tone_hz: float) -> bool:
    """Whether a steady line within 3 % of `tone_hz` is more than the noise around it.

    Parameters and errors are those of `measure_cycle`, which measures something in any noise: `samples` of
    shape (n,) in any unit, frequencies in Hz.

    Notes
    -----
    The stretch is cut into pieces, three periods or more each. A steady tone turns up in all of them with
    one amplitude and phase, noise and speech do not: the power of the mean over that of the scatter is
    distributed as F with 2 and 2(n - 1) degrees of freedom for noise (textbook).
    """
    x = _long_enough(samples, rate_hz, tone_hz)
    frequency_hz = _exact_hz(x, rate_hz, tone_hz)
    count = int(np.clip(len(x) * frequency_hz / rate_hz / PIECE_PERIODS, LEAST_PIECES, PIECES))
    piece_n = len(x) // count
    turned = (x - np.mean(x)) * np.exp(-2j * np.pi * frequency_hz / rate_hz * np.arange(len(x)))
    parts = turned[: count * piece_n].reshape(count, piece_n) @ np.hanning(piece_n + 2)[1:-1]
    mean = np.mean(parts)
    scatter = float(np.sum(np.abs(parts - mean) ** 2)) / (count - 1)
    ratio = count * float(np.abs(mean)) ** 2 / max(scatter, 1e-300)
    return bool((1.0 + ratio / (count - 1)) ** (1 - count) < MOST_CHANCE)


def _long_enough(samples: NDArray[np.floating], rate_hz: float, tone_hz: float) -> NDArray[np.float64]:
    x = np.asarray(samples, dtype=np.float64)
    if len(x) < max(0.05 * rate_hz, 10.0 * rate_hz / tone_hz):
        raise MeasureError("too short to measure a tone's waveform", "listen longer")
    return x


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
