"""Steady lines below the voice: the common ground of hum and sub-audible tones.

A line that is there all the time keeps its phase from second to second; a voice does not.
"""

from dataclasses import dataclass

import numpy as np
import scipy.signal as sps
from numpy.typing import NDArray

LOW_RATE_HZ = 1000
SEGMENT_S = 0.5
LOWEST_HZ = 40.0
HIGHEST_HZ = 320.0
LONGEST_SEARCH_S = 12.0
STEP_TURNS = 0.2
"""Search step in turns over the clip: a line between two steps slips by a tenth of a turn at most."""


@dataclass(frozen=True, slots=True)
class Line:
    """A steady line: frequency, peak amplitude in full scale, and how coherent it is from 0 to 1."""

    frequency_hz: float
    amplitude_fs: float
    coherence: float
    over_noise: float


def lowered(samples: NDArray[np.floating], sample_rate_hz: int) -> tuple[NDArray[np.float64], float]:
    """The part below 400 Hz at a rate near 1 kHz, without phase shift, and that rate in Hz."""
    factor = max(1, sample_rate_hz // LOW_RATE_HZ)
    wide = np.asarray(samples, dtype=np.float64)
    sos = sps.butter(6, 400.0, fs=sample_rate_hz, output="sos")
    pad = min(len(wide) - 1, sample_rate_hz // 50)
    low = sps.sosfiltfilt(sos, wide, padlen=max(pad, 0))[::factor] if len(wide) > 1 else wide
    return np.asarray(low), sample_rate_hz / factor


def _phasors(
    low: NDArray[np.float64], rate_hz: float, frequencies_hz: NDArray[np.float64]
) -> NDArray[np.complex128]:
    """Amplitude and phase of each frequency in each half second, shape (n_segments, n_frequencies)."""
    segment_n = round(SEGMENT_S * rate_hz)
    count = len(low) // segment_n
    window = np.hanning(segment_n + 2)[1:-1]
    parts = low[: count * segment_n].reshape(count, segment_n) * window
    t = np.arange(segment_n) / rate_hz
    kernel = np.exp(-2j * np.pi * np.outer(t, frequencies_hz))
    turned = np.exp(-2j * np.pi * np.outer(np.arange(count) * segment_n / rate_hz, frequencies_hz))
    return np.asarray(2.0 / np.sum(window) * (parts @ kernel) * turned)


def steady_lines(
    samples: NDArray[np.floating],
    sample_rate_hz: int,
    frequencies_hz: NDArray[np.float64] | None = None,
) -> list[Line]:
    """Coherence and amplitude of candidate lines.

    Parameters
    ----------
    samples : ndarray, shape (n,)
        A clip of a second or more.
    sample_rate_hz : int
        Sample rate in Hz.
    frequencies_hz : ndarray, shape (m,), or None
        Candidates; None searches 40 to 320 Hz in steps as fine as the middle twelve seconds ask for.

    Returns
    -------
    list of Line
        One per candidate; empty for less than a second.

    Notes
    -----
    With phasors z_k of half seconds, the coherence is |Σ z_k|² / (K Σ|z_k|²): 1 for a steady line, about 1/K
    for noise and for a voice (Welch's averaging, coherent against incoherent). The amplitude is the robust
    mean |median Re, median Im| of the phasors turned to their common phase.
    """
    low, rate_hz = lowered(samples, sample_rate_hz)
    if len(low) < 2.0 * SEGMENT_S * rate_hz:
        return []
    if frequencies_hz is None:
        spare = max(0, len(low) - round(LONGEST_SEARCH_S * rate_hz)) // 2
        low = low[spare : len(low) - spare]
        grid = np.arange(LOWEST_HZ, HIGHEST_HZ, min(0.25, STEP_TURNS * rate_hz / len(low)))
    else:
        grid = frequencies_hz
    z = _phasors(low, rate_hz, grid)
    # Loud syllables must not outvote the quiet moments in which the line stands alone.
    size = np.abs(z)
    typical = np.median(size, axis=0)
    z = z * np.minimum(1.0, 1.5 * typical / np.maximum(size, 1e-15))
    total = np.sum(z, axis=0)
    power = np.sum(np.abs(z) ** 2, axis=0)
    coherence = np.abs(total) ** 2 / (len(z) * np.maximum(power, 1e-30))
    phase = total / np.maximum(np.abs(total), 1e-30)
    turned = z * np.conj(phase)
    amplitude = np.abs(np.median(turned.real, axis=0))
    noise = np.median(np.abs(turned.imag), axis=0) / 0.6745 / np.sqrt(len(z))
    over = amplitude / np.maximum(noise, 1e-12)
    return [
        Line(float(f), float(a), float(c), float(o))
        for f, a, c, o in zip(grid, amplitude, coherence, over, strict=True)
    ]


def refined_hz(samples: NDArray[np.floating], sample_rate_hz: int, near_hz: float) -> float:
    """Frequency of a line near `near_hz` (within a quarter of a hertz) from its phase advance."""
    low, rate_hz = lowered(samples, sample_rate_hz)
    z = _phasors(low, rate_hz, np.array([near_hz]))[:, 0]
    size = np.abs(z)
    z = z * np.minimum(1.0, 1.5 * np.median(size) / np.maximum(size, 1e-15))
    if len(z) < 2:
        return near_hz
    advance = np.angle(np.sum(z[1:] * np.conj(z[:-1])))
    return float(near_hz + advance / (2.0 * np.pi * SEGMENT_S))
