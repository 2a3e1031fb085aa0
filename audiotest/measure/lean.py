"""Welch's spectrum, a Hann window, a first-order recursion and a convolution, with no more than SciPy's FFT.

``scipy.signal`` has all four, and brings statistics, splines and optimisers along: half a second of every
start. What is here equals it to rounding, and a test holds it to that.
"""

import numpy as np
import scipy.fft
from numpy.typing import NDArray

FRAMES_AT_ONCE = 256
"""Memory does not grow with the length."""
BLOCK_N = 4096
"""As much as stays near the processor."""
NOTHING = 1e-20


def hann(count: int) -> NDArray[np.float64]:
    """Hann window of which `count` samples are one period, shape (count,), for spectra.

    >>> hann(4).tolist()
    [0.0, 0.5, 1.0, 0.5]
    """
    return np.asarray(np.hanning(count + 1)[:-1])


def power_density(
    samples: NDArray[np.floating], rate_hz: float, segment_n: int
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """One-sided power spectral density.

    Parameters
    ----------
    samples : ndarray, shape (n,)
        One channel, any unit; n is 1 or more.
    rate_hz : float
        Sample rate in Hz.
    segment_n : int
        Samples in a segment; held to n.

    Returns
    -------
    hz, density : ndarray, each of shape (segment_n // 2 + 1,)
        Frequencies, and the unit's square per Hz there.

    Notes
    -----
    Periodograms of segments that overlap by half, each less its mean and under a Hann window, averaged
    (Welch, IEEE Trans. Audio Electroacoust. 15, 1967).
    """
    x = np.asarray(samples, dtype=np.float64)
    n = min(segment_n, len(x))
    window = hann(n)
    segments = np.lib.stride_tricks.sliding_window_view(x, n)[:: n - n // 2]
    power = np.zeros(n // 2 + 1)
    for first in range(0, len(segments), FRAMES_AT_ONCE):
        part = segments[first : first + FRAMES_AT_ONCE]
        lines = scipy.fft.rfft((part - np.mean(part, axis=1, keepdims=True)) * window)
        power += np.sum(lines.real**2 + lines.imag**2, axis=0)
    # A window without any sum, of a segment of one sample, measures nothing.
    power /= max(len(segments) * rate_hz * float(np.sum(window**2)), 1e-300)
    power[1 : (n + 1) // 2] *= 2.0
    return scipy.fft.rfftfreq(n, 1.0 / rate_hz), power


def recursion(samples: NDArray[np.floating], pole: float) -> NDArray[np.float64]:
    """The first-order recursion y[n] = x[n] + pole·y[n-1], at rest before the first sample; shape (n,).

    In each block by doubling: with the last 2k inputs summed up is what with the last k, and the pole's k-th
    power of that k samples before. What comes from the block before is added to it.

    >>> recursion(np.array([1.0, 0.0, 0.0, 1.0]), 0.5).tolist()
    [1.0, 0.5, 0.25, 1.125]
    """
    y = np.array(samples, dtype=np.float64)
    decay = pole ** np.arange(1, BLOCK_N + 1)
    before = 0.0
    for first in range(0, len(y), BLOCK_N):
        block = y[first : first + BLOCK_N]
        step_n = 1
        while step_n < len(block) and abs(decay[step_n - 1]) > NOTHING:
            block[step_n:] += decay[step_n - 1] * block[:-step_n]
            step_n *= 2
        block += before * decay[: len(block)]
        before = block[-1]
    return y


def convolved(samples: NDArray[np.complex128], window: NDArray[np.float64]) -> NDArray[np.complex128]:
    """`samples`, shape (n,), convolved with a `window` of at most n, centred; shape (n,)."""
    count = len(samples) + len(window) - 1
    size = scipy.fft.next_fast_len(count)
    full = scipy.fft.ifft(scipy.fft.fft(samples, size) * scipy.fft.fft(window, size), overwrite_x=True)
    first = (len(window) - 1) // 2
    return np.asarray(full[first : first + len(samples)])
