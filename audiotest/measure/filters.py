"""Zero-phase band limits and first-order de-emphasis, both applied in the frequency domain.

The spectrum of a padded stretch is multiplied by the exact response, so an emphasis network has its
analogue magnitude and phase at every sample rate: no bilinear transform bends it near Nyquist.
"""

from collections.abc import Callable

import numpy as np
import scipy.fft
from numpy.typing import NDArray

PAD_S = 0.05
"""What is imagined beyond either end: the samples mirrored through the end point, faded to nothing."""
NYQUIST_SHARE = 0.95
LOW_EDGE_HALF_WIDTH = 0.15
HIGH_EDGE_HALF_WIDTH = 0.05
ROLL_OFF_SHARE = 0.25
UNITY_HZ = 1000.0

Response = Callable[[NDArray[np.float64]], NDArray[np.float64] | NDArray[np.complex128]]


def _extension(samples: NDArray[np.float64], count: int) -> NDArray[np.float64]:
    """Continue `samples`: mirrored through its last value, faded out over `count` samples."""
    mirrored = 2.0 * samples[-1] - samples[-2 : -2 - count : -1]
    tail = np.concatenate([mirrored, np.full(count - len(mirrored), mirrored[-1])])
    fade = 0.5 + 0.5 * np.cos(np.pi * (np.arange(count) + 1.0) / (count + 1.0))
    return np.asarray(tail * fade)


def minimum_phase(level: NDArray[np.floating]) -> NDArray[np.complex128]:
    """Complex gain of the minimum-phase network that has a given magnitude.

    Parameters
    ----------
    level : ndarray, shape (m,)
        Natural logarithm of the gain from 0 to half the sample rate, both included, evenly spaced.

    Returns
    -------
    ndarray of complex, shape (m,)
        The phase by the folded real cepstrum (Oppenheim & Schafer, Discrete-Time Signal Processing, ch. 13).

    >>> z = np.exp(2j * np.pi * np.arange(129) / 256)
    >>> network = 1.0 + 0.5 / z
    >>> bool(np.allclose(minimum_phase(np.log(np.abs(network))), network))
    True
    """
    cepstrum = scipy.fft.irfft(np.asarray(level, dtype=np.float64))
    half = len(cepstrum) // 2
    cepstrum[1:half] *= 2.0
    cepstrum[half + 1 :] = 0.0
    return np.asarray(np.exp(scipy.fft.rfft(cepstrum)))


def apply_response(samples: NDArray[np.floating], rate_hz: float, response: Response) -> NDArray[np.float64]:
    """Pass `samples` through a network given by its response.

    Parameters
    ----------
    samples : ndarray, shape (n,)
        One channel, any unit; n may be 0 or 1.
    rate_hz : float
        Sample rate in Hz.
    response : callable
        Maps frequencies in Hz, shape (m,), to the real or complex gain there.

    Returns
    -------
    ndarray, shape (n,)
        The filtered samples. Both ends are continued by 50 ms of mirrored signal, because a stretch is
        nearly always cut from a longer stream.

    Notes
    -----
    Fast convolution in the frequency domain (textbook).
    """
    x = np.asarray(samples, dtype=np.float64)
    if len(x) == 0:
        return x.copy()
    if len(x) == 1:
        return np.asarray(x * np.real(response(np.zeros(1))))
    pad_n = max(1, round(PAD_S * rate_hz))
    padded = np.concatenate([_extension(x[::-1], pad_n)[::-1], x, _extension(x, pad_n)])
    size = scipy.fft.next_fast_len(len(padded), real=True)
    gain = response(scipy.fft.rfftfreq(size, 1.0 / rate_hz))
    filtered = scipy.fft.irfft(scipy.fft.rfft(padded, size) * gain, size)
    return np.asarray(filtered[pad_n : pad_n + len(x)])


def _rise(hz: NDArray[np.float64], start_hz: float, end_hz: float) -> NDArray[np.float64]:
    """Amplitude gain rising from 0 to 1 as a quarter sine: -3.01 dB half way, so no noise is lost or won."""
    return np.asarray(np.sin(0.5 * np.pi * np.clip((hz - start_hz) / (end_hz - start_hz), 0.0, 1.0)))


def band_gain(hz: NDArray[np.float64], low_hz: float, high_hz: float) -> NDArray[np.float64]:
    """Amplitude gain of the measuring band at `hz`, shape (n,): -3.01 dB at both edges.

    The noise bandwidth is ``high_hz - low_hz``; transitions reach 15 % of the lower edge and 5 % of the
    upper edge to either side.

    >>> band_gain(np.array([200.0, 300.0, 1000.0, 3400.0, 3600.0]), 300.0, 3400.0).round(4).tolist()
    [0.0, 0.7071, 1.0, 0.7071, 0.0]
    """
    below, above = LOW_EDGE_HALF_WIDTH * low_hz, HIGH_EDGE_HALF_WIDTH * high_hz
    gain = _rise(-hz, -(high_hz + above), -(high_hz - above))
    if low_hz > 0.0:
        gain = gain * _rise(hz, low_hz - below, low_hz + below)
    return gain


def limited_high_hz(rate_hz: float, high_hz: float) -> float:
    """`high_hz`, or 95 % of the Nyquist frequency where that is lower.

    >>> limited_high_hz(48000, 3400.0), limited_high_hz(6000, 3400.0)
    (3400.0, 2850.0)
    """
    return min(high_hz, NYQUIST_SHARE * rate_hz / 2.0)


def bandpass(
    samples: NDArray[np.floating], rate_hz: float, low_hz: float, high_hz: float
) -> NDArray[np.float64]:
    """Limit `samples` to a band without delay or phase shift.

    Parameters
    ----------
    samples : ndarray, shape (n,)
        One channel, any unit; n may be 0.
    rate_hz : float
        Sample rate in Hz.
    low_hz, high_hz : float
        Half-power edges; the upper one is held to 95 % of the Nyquist frequency. 0 as the lower edge keeps
        everything down to, but without, the mean.

    Returns
    -------
    ndarray, shape (n,)
        See `band_gain` for the shape of the edges.
    """
    x = np.asarray(samples, dtype=np.float64)
    if len(x) == 0:
        return x.copy()
    high_hz = limited_high_hz(rate_hz, high_hz)
    return apply_response(x - np.mean(x), rate_hz, lambda hz: band_gain(hz, low_hz, high_hz))


def emphasis_response(hz: NDArray[np.float64], tau_us: float) -> NDArray[np.complex128]:
    """Complex gain of first-order pre-emphasis at `hz`, shape (n,), with unity gain at 1 kHz.

    ``(1 + j2πfτ) / |1 + j2π·1 kHz·τ|``; textbook first-order network.

    >>> gain = np.abs(emphasis_response(np.array([300.0, 1000.0, 3000.0]), 750.0))
    >>> (20 * np.log10(gain)).round(2).tolist()
    [-8.89, 0.0, 9.37]
    """
    turn = 2e-6 * np.pi * tau_us
    return np.asarray((1.0 + 1j * turn * hz) / abs(1.0 + 1j * turn * UNITY_HZ))


def deemphasis(samples: NDArray[np.floating], rate_hz: float, tau_us: float) -> NDArray[np.float64]:
    """Pass `samples`, shape (n,), through first-order de-emphasis of `tau_us` µs, unity gain at 1 kHz.

    A `tau_us` of 0 changes nothing.
    """
    if tau_us <= 0.0:
        return np.array(samples, dtype=np.float64)
    return apply_response(samples, rate_hz, lambda hz: 1.0 / emphasis_response(hz, tau_us))


def undo_deemphasis(
    samples: NDArray[np.floating], rate_hz: float, tau_us: float, high_hz: float = 3600.0
) -> NDArray[np.float64]:
    """Restore the discriminator's view of a de-emphasised feed, without what lies above the modulation.

    Parameters
    ----------
    samples : ndarray, shape (n,)
        One channel, any unit.
    rate_hz : float
        Sample rate in Hz.
    tau_us : float
        Time constant of the feed's de-emphasis in µs; 0 is a flat feed, which is only band-limited.
    high_hz : float
        Everything from the mean up to here is kept; above it the gain falls to nothing within a quarter of
        `high_hz` (or at the Nyquist frequency), or the lift would bring up noise that was never modulation.

    Returns
    -------
    ndarray, shape (n,)
        Same unit, unity gain at 1 kHz.

    Notes
    -----
    The inverse of a first-order low-pass (textbook); for the edge above `high_hz` there is no source.
    """
    flat_to_hz = limited_high_hz(rate_hz, high_hz)
    nothing_from_hz = min((1.0 + ROLL_OFF_SHARE) * flat_to_hz, rate_hz / 2.0)

    def response(hz: NDArray[np.float64]) -> NDArray[np.complex128]:
        limit = 0.5 - 0.5 * np.cos(
            np.pi * np.clip((nothing_from_hz - hz) / (nothing_from_hz - flat_to_hz), 0, 1)
        )
        lift = emphasis_response(hz, tau_us) if tau_us > 0.0 else np.ones(len(hz), dtype=np.complex128)
        return np.asarray(limit * lift)

    return apply_response(samples, rate_hz, response)
