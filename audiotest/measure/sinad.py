"""SINAD several times a second, flat and psophometric, each with its own uncertainty."""

import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import scipy.fft
from numpy.typing import NDArray
from scipy.signal.windows import hann

from audiotest.errors import MeasureError
from audiotest.measure.filters import apply_response, band_gain, bandpass, limited_high_hz
from audiotest.measure.tone import BAND_HIGH_HZ, BAND_LOW_HZ, fit_sine
from audiotest.measure.weighting import weight_gain
from audiotest.units import power_db

STANDARD_TONE_HZ = 1000.0
SEARCH_SHARE = 0.03
"""How far a generator's tone or the sound card's clock may be off its nominal frequency."""
WINDOW_S = 1.0
EVERY_S = 0.2
LEAST_S = 0.15
LEAST_BESIDE_DB = 0.0
"""A tone holds at least as much as what lies within 15 % of it. In a second, noise alone was measured at
-14 dB at most and speech (six voices, four tones, eight minutes) at -8; a tone of 1 dB SINAD at +4."""
CELL_S = 0.02
"""Stretches over which the rest's power is compared: long against the correlation of noise above 300 Hz."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SinadReading:
    """One reading: at `time_s` (end of its window), ratios in dB with the standard deviation of each.

    ``reason`` says why there is none, when all figures are None.
    """

    time_s: float
    frequency_hz: float | None
    level_dbfs: float | None
    sinad_db: float | None
    sinad_sd_db: float | None
    psophometric_db: float | None
    psophometric_sd_db: float | None
    reason: str = ""


def _nothing(time_s: float, reason: str) -> SinadReading:
    return SinadReading(
        time_s=time_s, frequency_hz=None, level_dbfs=None, sinad_db=None, sinad_sd_db=None,
        psophometric_db=None, psophometric_sd_db=None, reason=reason,
    )  # fmt: skip


def _rest_power(
    rest: NDArray[np.float64], rate_hz: float, *, psophometric: bool
) -> tuple[float, NDArray[np.float64]]:
    """Mean square of the rest in the measuring band, and that of each cell."""
    high_hz = limited_high_hz(rate_hz, BAND_HIGH_HZ)

    def gain(hz: NDArray[np.float64]) -> NDArray[np.float64]:
        band = band_gain(hz, BAND_LOW_HZ, high_hz)
        return np.asarray(band * weight_gain("psophometric", hz) if psophometric else band)

    square = apply_response(rest, rate_hz, gain) ** 2
    cell_n = max(1, round(CELL_S * rate_hz))
    cells = square[: len(square) // cell_n * cell_n].reshape(-1, cell_n).mean(axis=1)
    return float(np.mean(square)), cells


def _ratio(
    signal: float, signal_error: float, rest: float, cells: NDArray[np.float64]
) -> tuple[float | None, float | None]:
    """SINAD in dB and its standard deviation, from the scatter of the cells and of neighbours alike.

    `signal_error` is the relative standard deviation of the signal's power.
    """
    if rest <= 1e-20 * signal or len(cells) < 4:
        return None, None
    off = cells - np.mean(cells)
    variance = float(np.sum(off**2)) / (len(cells) - 1)
    # What neighbouring cells share does not average out; only a positive share counts.
    shared = max(float(np.sum(off[1:] * off[:-1])) / (len(cells) - 1), 0.0)
    relative = math.sqrt((variance + 2.0 * shared) / len(cells)) / rest
    share = signal / (signal + rest)
    sd_db = 10.0 / math.log(10.0) * share * math.hypot(relative, signal_error)
    return power_db((signal + rest) / rest), sd_db


def _strongest_hz(x: NDArray[np.float64], rate_hz: float, low_hz: float, high_hz: float) -> float:
    """Strongest line between two limits, to a fifth of the stretch's resolution."""
    size = scipy.fft.next_fast_len(4 * len(x), real=True)
    power = np.abs(scipy.fft.rfft((x - np.mean(x)) * hann(len(x), sym=False), size))
    first, last = (round(hz * size / rate_hz) for hz in (low_hz, high_hz))
    return float((first + int(np.argmax(power[first : last + 1]))) * rate_hz / size)


def _settle_hz(samples: NDArray[np.float64], rate_hz: float, near_hz: float) -> float:
    """Frequency by how far the tone's phase moves from one half of the stretch to the other."""
    half = len(samples) // 2
    window = hann(half, sym=False)
    t = np.arange(2 * half) / rate_hz
    f = near_hz
    for _ in range(4):
        turned = samples[: 2 * half] * np.exp(-2j * np.pi * f * t)
        first, second = np.sum(turned[:half] * window), np.sum(turned[half:] * window)
        step_hz = float(np.angle(second * np.conj(first))) * rate_hz / (2.0 * np.pi * half)
        f += step_hz
        if abs(step_hz) < 1e-9 * rate_hz / half:
            break
    return f


def _power_beside(rest: NDArray[np.float64], rate_hz: float, tone_hz: float) -> tuple[float, float]:
    """Power of what lies within 15 % of a tone, without the tone, and the width that this is, in Hz."""
    low_hz, high_hz = 0.85 * tone_hz, min(1.15 * tone_hz, 0.45 * rate_hz)
    return float(np.mean(bandpass(rest, rate_hz, low_hz, high_hz) ** 2)), high_hz - low_hz


def _signal_error(
    rest: NDArray[np.float64], rate_hz: float, beside: tuple[float, float], signal: float
) -> float:
    """Relative standard deviation of a fitted tone's power, √(2·N0/(T·S)), N0 the noise density beside it."""
    return math.sqrt(2.0 * beside[0] / beside[1] * rate_hz / len(rest) / signal)


def read_sinad(
    samples: NDArray[np.floating], rate_hz: float, *, tone_hz: float = STANDARD_TONE_HZ, time_s: float = 0.0
) -> SinadReading:
    """SINAD of a stretch of a known test tone, with the uncertainty that the noise itself leaves.

    Parameters
    ----------
    samples : ndarray, shape (n,)
        Tone, noise and distortion, full scale 1.0; 0.15 s or more.
    rate_hz : float
        Sample rate in Hz, 6 kHz and up.
    tone_hz : float
        Nominal frequency of the tone, 300 to 3000 Hz; the true one is sought within 3 %.
    time_s : float
        Handed through to the reading.

    Returns
    -------
    SinadReading
        (S+N+D)/(N+D) in 300-3400 Hz, flat, and with both branches through ITU-T O.41. The standard
        deviations come from the scatter of the rest's power over stretches of 20 ms. A ratio is None when
        there is no rest at all. Where no steady tone stands out, in speech, in hiss, at a SINAD of less
        than about 0.5 dB, every figure is None and ``reason`` says so.

    Raises
    ------
    MeasureError
        Too short, or silent.

    Notes
    -----
    SINAD: Federal Standard 1037C, entry "SINAD". The fundamental is removed by the sine fit of IEEE Std
    1057. Without a tone the fit follows the noise, and the ratio would level out near 0 dB.
    """
    x = np.asarray(samples, dtype=np.float64)
    if len(x) < LEAST_S * rate_hz:
        raise MeasureError("too short for a SINAD reading", "listen for at least 0.2 s")
    reach_hz = SEARCH_SHARE * tone_hz
    found_hz = _settle_hz(x, rate_hz, _strongest_hz(x, rate_hz, tone_hz - reach_hz, tone_hz + reach_hz))
    fit = fit_sine(x, rate_hz, float(np.clip(found_hz, tone_hz - reach_hz, tone_hz + reach_hz)))
    signal = fit.amplitude**2 / 2.0
    level = power_db(signal)
    if level is None or signal < 1e-20:
        raise MeasureError("there is no audio", "check the cable, the volume and the squelch")
    turn = 2.0 * np.pi * fit.frequency_hz * np.arange(len(x)) / rate_hz + fit.phase
    rest = x - fit.amplitude * np.cos(turn) - fit.offset
    beside = _power_beside(rest, rate_hz, fit.frequency_hz)
    if signal < 10.0 ** (LEAST_BESIDE_DB / 10.0) * beside[0]:
        return _nothing(time_s, f"no steady tone near {tone_hz:g} Hz")
    weight = float(weight_gain("psophometric", np.array([fit.frequency_hz]))[0])
    error = _signal_error(rest, rate_hz, beside, signal)
    flat = _ratio(signal, error, *_rest_power(rest, rate_hz, psophometric=False))
    weighted = _ratio(weight**2 * signal, error, *_rest_power(rest, rate_hz, psophometric=True))
    return SinadReading(
        time_s=time_s, frequency_hz=fit.frequency_hz, level_dbfs=level, sinad_db=flat[0],
        sinad_sd_db=flat[1], psophometric_db=weighted[0], psophometric_sd_db=weighted[1],
    )  # fmt: skip


def sinad_readings(
    samples: NDArray[np.floating],
    rate_hz: float,
    *,
    tone_hz: float = STANDARD_TONE_HZ,
    window_s: float = WINDOW_S,
    every_s: float = EVERY_S,
) -> Iterator[SinadReading]:
    """Readings of a whole recording, shape (n,): one of the last `window_s` after every `every_s`."""
    step_n, window_n = round(every_s * rate_hz), round(window_s * rate_hz)
    for end_n in range(max(step_n, window_n), len(samples) + 1, step_n):
        yield read_sinad(samples[end_n - window_n : end_n], rate_hz, tone_hz=tone_hz, time_s=end_n / rate_hz)


class SinadMeter:
    """The same readings from a running stream: blocks of any size in, five readings a second out."""

    def __init__(
        self,
        rate_hz: int,
        *,
        tone_hz: float = STANDARD_TONE_HZ,
        window_s: float = WINDOW_S,
        every_s: float = EVERY_S,
    ) -> None:
        self._rate = rate_hz
        self._tone_hz = tone_hz
        self._window_n, self._step_n = round(window_s * rate_hz), round(every_s * rate_hz)
        self._kept = np.zeros(0)
        self._kept_from_n = 0
        self._due_n = max(self._window_n, self._step_n)

    def push(self, samples: NDArray[np.floating]) -> list[SinadReading]:
        """Take the next samples, shape (n,); return the readings that fell due."""
        self._kept = np.concatenate([self._kept, np.asarray(samples, dtype=np.float64)])
        found = []
        while self._kept_from_n + len(self._kept) >= self._due_n:
            last = self._due_n - self._kept_from_n
            window = self._kept[last - self._window_n : last]
            time_s = self._due_n / self._rate
            try:
                found.append(read_sinad(window, self._rate, tone_hz=self._tone_hz, time_s=time_s))
            except MeasureError:
                # A muted receiver is no fault of the meter: the display keeps waiting, and says for what.
                found.append(_nothing(time_s, "no audio: cable, volume or squelch"))
            self._due_n += self._step_n
            drop = max(0, self._due_n - self._window_n - self._kept_from_n)
            self._kept = self._kept[drop:]
            self._kept_from_n += drop
        return found
