"""Steady lines below the voice: the common ground of hum and sub-audible tones.

A line that is there all the time adds up over the whole clip; a voice, which glides and pauses, does not.
The band is made equally noisy all over first, as generalised least squares asks for in coloured noise
(textbook): otherwise what a receiver's high-pass leaves of a voice at 300 Hz buries a tone at 70 Hz.
"""

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import scipy.fft
import soxr
from numpy.typing import NDArray
from scipy.ndimage import median_filter, uniform_filter1d

LOW_RATE_HZ = 1000
LOUD_N = 100
LONGEST_S = 16.0
"""Longer clips are judged by their middle: over a minute neither mains nor an oscillator stays put."""
LEAST_S = 1.0
QUIET_SHARE = 0.02
EDGE_S = 0.1
"""Fade at both ends, so that their jumps do not spread over the band; little of them is weighed anyway."""
BAND_HZ = (30.0, 40.0, 320.0, 340.0)
"""Where lines are looked for, with its slopes: speech above weighs nothing."""
PARTS_HZ = (0.0, 92.9, 125.2, 175.5, 350.0)
"""A voice is loud at other moments in each part than in the next; no tone or hum is at the borders."""
BESIDE_HZ = 12.0
"""How far beyond a part the voice counts that decides its weights."""
PADDING = 8
SEGMENT_S = 0.5
NEIGHBOURS_HZ, SMOOTH_HZ = 10.0, 20.0
LEAST_OVER_NOISE = 25.0
"""Power over the local mean. Noise reaches it once in e²⁵ cells; the spectrum of a voice is rougher."""
LEAST_STEADY = 0.8


@dataclass(frozen=True, slots=True)
class LowBand:
    """The band below 340 Hz at 1 kHz: as it came, whitened, weighted spectrum of that and local noise.

    ``samples`` and ``white`` have shape (n,), ``weights`` (parts, n); ``spectrum`` holds complex peak
    amplitudes of ``white`` and ``noise_power`` the mean square of the amplitudes around, both in steps of
    ``step_hz`` from 0 Hz; ``gain`` is what whitened, in steps of a cell, `PADDING` times as wide.
    """

    samples: NDArray[np.float64]
    white: NDArray[np.float64]
    gain: NDArray[np.float64]
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
        """Power of each step over the local noise, a ratio, shape as ``spectrum``."""
        return np.abs(self.spectrum) ** 2 / self.noise_power


@dataclass(frozen=True, slots=True)
class Line:
    """A line: frequency, complex peak amplitude in full scale at the start of the band, power over noise."""

    frequency_hz: float
    amplitude: complex
    over_noise: float


def low_band(samples: NDArray[np.floating], sample_rate_hz: int) -> LowBand | None:
    """The low band of a clip, shape (n,), full scale 1.0; None for less than a second of audio."""
    if len(samples) < LEAST_S * sample_rate_hz:
        return None
    spare = max(0, len(samples) - round(LONGEST_S * sample_rate_hz)) // 2
    wide = np.asarray(samples[spare : len(samples) - spare], dtype=np.float64)
    return analyse(np.asarray(soxr.resample(wide - np.mean(wide), sample_rate_hz, LOW_RATE_HZ)))


def analyse(low: NDArray[np.float64]) -> LowBand:
    """Whitened and weighted spectrum of a signal at `LOW_RATE_HZ`, shape (n,), full scale 1.0.

    Loud syllables count less: each moment is weighted by the inverse of the power around it, as weighted
    least squares asks for when the noise changes (textbook), bounded so that pauses do not count alone.
    """
    count = scipy.fft.next_fast_len(len(low), real=True)
    gain = _whitening(low, count)
    from_end_n = np.minimum(np.arange(len(low)), np.arange(len(low))[::-1])
    edges = 0.5 - 0.5 * np.cos(np.pi * np.minimum(from_end_n / (EDGE_S * LOW_RATE_HZ), 1.0))
    white = scipy.fft.irfft(scipy.fft.rfft(low * edges, count) * gain, count)[: len(low)]
    whole = scipy.fft.rfft(white, count)
    beside = round(BESIDE_HZ * count / LOW_RATE_HZ)
    weights, spectra, noises = [], [], []
    for first, last in pairwise(round(hz * count / LOW_RATE_HZ) for hz in PARTS_HZ):
        part = np.zeros_like(whole)
        inside = slice(max(first - beside, 0), last + beside)
        part[inside] = whole[inside]
        power = uniform_filter1d(scipy.fft.irfft(part, count)[: len(low)] ** 2, LOUD_N, mode="nearest")
        typical = max(float(np.median(power)), 1e-20)
        weights.append(np.hanning(len(low) + 2)[1:-1] / (power / typical + QUIET_SHARE))
        scale = 2.0 / float(np.sum(weights[-1]))
        spectrum = scipy.fft.rfft(scale * weights[-1] * white, PADDING * count)
        spectra.append(spectrum[PADDING * first : PADDING * last])
        cells = _around(np.abs(spectrum[::PADDING]) ** 2, first, last + 1, count)
        steps = np.arange(PADDING * (last - first)) / PADDING
        noises.append(np.interp(steps, np.arange(len(cells)), cells))
    return LowBand(
        low, white, gain, np.array(weights), np.concatenate(spectra), np.concatenate(noises),
        LOW_RATE_HZ / (PADDING * count),
    )  # fmt: skip


def weights_at(band: LowBand, frequency_hz: float) -> NDArray[np.float64]:
    """Weight of each moment for a line of this frequency, shape (n,)."""
    part = int(np.searchsorted(PARTS_HZ, frequency_hz, side="right")) - 1
    return np.asarray(band.weights[min(max(part, 0), len(band.weights) - 1)])


def _around(power: NDArray[np.float64], first: int, last: int, count: int) -> NDArray[np.float64]:
    """Mean of the power around each cell from ``first`` to ``last`` of a tapered signal's spectrum."""
    reach = round(NEIGHBOURS_HZ * count / LOW_RATE_HZ)
    from_cell = max(first - reach, 0)
    # The power of a noise cell is exponentially distributed: its median is ln 2 of the mean.
    local = median_filter(power[from_cell : last + reach], size=2 * reach + 1, mode="nearest") / np.log(2.0)
    return np.asarray(np.maximum(local[first - from_cell :][: last - first], 1e-24))


def _whitening(low: NDArray[np.float64], count: int) -> NDArray[np.float64]:
    """Gain of each cell that makes the noise the same everywhere in the band, and takes the rest away."""
    tapered = 2.0 / len(low) * np.hanning(len(low) + 2)[1:-1] * low
    power = np.abs(scipy.fft.rfft(tapered, count)) ** 2
    level = np.full(len(power), np.inf)
    top = round(PARTS_HZ[-1] * count / LOW_RATE_HZ)
    level[:top] = np.log(_around(power, 0, top, count))
    # A gain without fine structure rings for no longer than the fade at the ends.
    span = 2 * round(SMOOTH_HZ / LOW_RATE_HZ * count) + 1
    for _ in range(2):
        level[:top] = uniform_filter1d(level[:top], span, mode="nearest")
    band = np.interp(np.arange(len(power)) * LOW_RATE_HZ / count, BAND_HZ, (0.0, 1.0, 1.0, 0.0))
    return np.asarray(band * np.exp(-0.5 * level))


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
    weights = weights_at(band, frequency_hz)
    kernel = weights * np.exp(-2j * np.pi * turns)
    return complex(2.0 * np.dot(kernel, band.white) / np.sum(weights)) / gain_at(band, frequency_hz)


def gain_at(band: LowBand, frequency_hz: float) -> float:
    """What a line of this frequency was multiplied by to whiten the band."""
    return float(np.interp(frequency_hz / (PADDING * band.step_hz), np.arange(len(band.gain)), band.gain))


def is_steady(band: LowBand, line: Line) -> bool:
    """Whether a line keeps its amplitude and phase through the clip.

    In each half second the line's phasor may miss the mean one by half its size and twice the noise around
    it; four out of five must keep to that.
    """
    count = max(4, round(band.seconds / SEGMENT_S))
    length = len(band.samples) // count
    # The whole line is taken out, so that what remains is the miss at its frequency and noise beside it.
    turns = np.arange(count * length) / LOW_RATE_HZ
    whole = line.amplitude * gain_at(band, line.frequency_hz)
    rest = band.white[: count * length] - np.real(whole * np.exp(2j * np.pi * line.frequency_hz * turns))
    window = np.hanning(length + 2)[1:-1]
    # The weights of the clip without its taper: its ends count as much as its middle here.
    loud = weights_at(band, line.frequency_hz) / np.hanning(len(band.samples) + 2)[1:-1]
    g = loud[: count * length].reshape(count, length) * window
    g /= np.sum(g, axis=1, keepdims=True)
    beside = 2.0 / (length / LOW_RATE_HZ) * np.array([-4.0, -3.0, -2.0, 2.0, 3.0, 4.0])
    kernel = np.exp(-2j * np.pi * np.outer(turns, line.frequency_hz + np.concatenate([[0.0], beside])))
    z = 2.0 * np.einsum("kn,knf->kf", g * rest.reshape(count, length), kernel.reshape(count, length, -1))
    noise = np.sqrt(np.median(np.abs(z[:, 1:]) ** 2, axis=1) / np.log(2.0))
    kept = np.abs(z[:, 0]) < 0.5 * abs(whole) + 2.0 * noise
    return bool(np.mean(kept) >= LEAST_STEADY)


def without(band: LowBand, lines: list[Line]) -> LowBand:
    """The band less some lines, fitted by weighted least squares, those of one part jointly."""
    rest = band.samples
    for low_hz, high_hz in pairwise(PARTS_HZ):
        hz = [line.frequency_hz for line in lines if low_hz <= line.frequency_hz < high_hz]
        if hz:
            angle = 2.0 * np.pi / LOW_RATE_HZ * np.outer(np.arange(len(rest)), hz)
            design = np.concatenate([np.cos(angle), np.sin(angle)], axis=1)
            gain = np.tile([gain_at(band, each) for each in hz], 2)
            root = np.sqrt(weights_at(band, hz[0]))[:, None]
            fit = np.linalg.lstsq(design * gain * root, band.white * root[:, 0], rcond=None)[0]
            rest = rest - design @ fit
    return analyse(rest) if lines else band
