"""Steady lines below the voice: the common ground of hum and sub-audible tones.

A line that is there all the time adds up over the whole clip; a voice, which glides and pauses, does not.
"""

from dataclasses import dataclass

import numpy as np
import scipy.fft
import soxr
from numpy.typing import NDArray
from scipy.ndimage import median_filter, uniform_filter1d

LOW_RATE_HZ = 1000
LONGEST_S = 16.0
"""Longer clips are judged by their middle: over a minute neither mains nor an oscillator stays put."""
LEAST_S = 1.0
LOUD_S = 0.1
QUIET_SHARE = 0.02
PADDING = 8
SEGMENT_S = 0.5
NEIGHBOURS_HZ = 10.0
LEAST_OVER_NOISE = 20.0
"""Power over the local mean. Noise reaches it once in e²⁰ cells; the spectrum of a voice is rougher."""
LEAST_STEADY = 0.8


@dataclass(frozen=True, slots=True)
class LowBand:
    """The band below 450 Hz at 1 kHz, weighted spectrum and local noise.

    ``samples`` and ``weights`` have shape (n,); ``spectrum`` holds complex peak amplitudes and
    ``noise_power`` the mean square of the amplitudes around, both in steps of ``step_hz`` from 0 Hz.
    """

    samples: NDArray[np.float64]
    weights: NDArray[np.float64]
    spectrum: NDArray[np.complex128]
    noise_power: NDArray[np.float64]
    step_hz: float

    @property
    def seconds(self) -> float:
        """Length of what is judged."""
        return len(self.samples) / LOW_RATE_HZ

    @property
    def over_noise(self) -> NDArray[np.float64]:
        """Power of each step over the local noise."""
        return np.abs(self.spectrum) ** 2 / self.noise_power


@dataclass(frozen=True, slots=True)
class Line:
    """A line: frequency, complex peak amplitude in full scale at the start of the band, power over noise."""

    frequency_hz: float
    amplitude: complex
    over_noise: float


def low_band(samples: NDArray[np.floating], sample_rate_hz: int) -> LowBand | None:
    """The low band of a clip, None for less than a second of audio."""
    if len(samples) < LEAST_S * sample_rate_hz:
        return None
    spare = max(0, len(samples) - round(LONGEST_S * sample_rate_hz)) // 2
    wide = np.asarray(samples[spare : len(samples) - spare], dtype=np.float64)
    return analyse(np.asarray(soxr.resample(wide - np.mean(wide), sample_rate_hz, LOW_RATE_HZ)))


def analyse(low: NDArray[np.float64]) -> LowBand:
    """Weighted spectrum of a signal at `LOW_RATE_HZ`.

    Loud syllables count less: each moment is weighted by the inverse of the power around it, as weighted
    least squares asks for when the noise changes (textbook), bounded so that pauses do not count alone.
    """
    power = uniform_filter1d(low**2, round(LOUD_S * LOW_RATE_HZ), mode="nearest")
    typical = max(float(np.median(power)), 1e-20)
    weights = np.hanning(len(low) + 2)[1:-1] / (power / typical + QUIET_SHARE)
    total = float(np.sum(weights))
    n = PADDING * scipy.fft.next_fast_len(len(low), real=True)
    spectrum = scipy.fft.rfft(2.0 / total * weights * low, n)
    step_hz = LOW_RATE_HZ / n
    cells = np.abs(spectrum[::PADDING]) ** 2
    span = 2 * round(NEIGHBOURS_HZ / (step_hz * PADDING)) + 1
    # The power of a noise cell is exponentially distributed: its median is ln 2 of the mean.
    local = median_filter(cells, size=span, mode="nearest") / np.log(2.0)
    noise = np.interp(np.arange(len(spectrum)), PADDING * np.arange(len(cells)), local)
    return LowBand(low, weights, spectrum, np.maximum(noise, 1e-24), step_hz)


def line_near(band: LowBand, frequency_hz: float, within_hz: float) -> Line | None:
    """The highest point within `within_hz`, if it is a peak and not the flank of one outside."""
    first = max(int(np.ceil((frequency_hz - within_hz) / band.step_hz)), 1)
    last = int((frequency_hz + within_hz) / band.step_hz)
    size = np.abs(band.spectrum[first - 1 : last + 2])
    if len(size) < 3:
        return None
    k = int(np.argmax(size))
    if k in (0, len(size) - 1):
        return None
    left, centre, right = np.log(np.maximum(size[k - 1 : k + 2], 1e-15))
    bend = left - 2.0 * centre + right
    shift = 0.5 * (left - right) / bend if bend < 0.0 else 0.0
    exact_hz = float((first - 1 + k + shift) * band.step_hz)
    ratio = float(size[k] ** 2 / band.noise_power[first - 1 + k])
    return Line(exact_hz, amplitude_at(band, exact_hz), ratio)


def amplitude_at(band: LowBand, frequency_hz: float) -> complex:
    """Complex peak amplitude of a frequency, weighted."""
    turns = frequency_hz / LOW_RATE_HZ * np.arange(len(band.samples))
    kernel = band.weights * np.exp(-2j * np.pi * turns)
    return complex(2.0 * np.dot(kernel, band.samples) / np.sum(band.weights))


def is_steady(band: LowBand, line: Line) -> bool:
    """Whether a line keeps its amplitude and phase through the clip.

    In each half second the line's phasor may miss the mean one by half its size and twice the noise around
    it; four out of five must keep to that.
    """
    count = max(4, round(band.seconds / SEGMENT_S))
    length = len(band.samples) // count
    # The whole line is taken out, so that what remains is the miss at its frequency and noise beside it.
    turns = np.arange(count * length) / LOW_RATE_HZ
    rest = band.samples[: count * length] - np.real(
        line.amplitude * np.exp(2j * np.pi * line.frequency_hz * turns)
    )
    window = np.hanning(length + 2)[1:-1]
    # The weights of the clip without its taper: its ends count as much as its middle here.
    loud = band.weights / np.hanning(len(band.weights) + 2)[1:-1]
    g = loud[: count * length].reshape(count, length) * window
    g /= np.sum(g, axis=1, keepdims=True)
    beside = 2.0 / (length / LOW_RATE_HZ) * np.array([-4.0, -3.0, -2.0, 2.0, 3.0, 4.0])
    kernel = np.exp(-2j * np.pi * np.outer(turns, line.frequency_hz + np.concatenate([[0.0], beside])))
    z = 2.0 * np.einsum("kn,knf->kf", g * rest.reshape(count, length), kernel.reshape(count, length, -1))
    noise = np.sqrt(np.median(np.abs(z[:, 1:]) ** 2, axis=1) / np.log(2.0))
    kept = np.abs(z[:, 0]) < 0.5 * abs(line.amplitude) + 2.0 * noise
    return bool(np.mean(kept) >= LEAST_STEADY)


def without(band: LowBand, lines: list[Line]) -> LowBand:
    """The band less some lines, fitted jointly by weighted least squares."""
    if not lines:
        return band
    angle = (
        2.0 * np.pi / LOW_RATE_HZ * np.outer(np.arange(len(band.samples)), [x.frequency_hz for x in lines])
    )
    design = np.concatenate([np.cos(angle), np.sin(angle)], axis=1)
    root = np.sqrt(band.weights)[:, None]
    fit = np.linalg.lstsq(design * root, band.samples * root[:, 0], rcond=None)[0]
    return analyse(band.samples - design @ fit)
