"""What the spectrum, the waterfall and the scope draw, worked out from the last samples."""

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy.fft import rfft

FLOOR_DBFS = -120.0
SPECTRUM_HIGH_HZ = 5000.0
AVERAGE_SHARE = 0.2
COLOURS = 256
WATERFALL_RANGE_DB = (-100.0, -20.0)


def spectrum_size(rate_hz: int) -> int:
    """FFT length that gives lines about 12 Hz apart, a power of two.

    >>> spectrum_size(48000), spectrum_size(8000)
    (4096, 512)
    """
    return int(2 ** round(np.log2(rate_hz / 12.0)))


def spectrum_dbfs(samples: NDArray[np.floating]) -> NDArray[np.float32]:
    """Amplitude spectrum in dBFS, Hann window; a sine of full scale reads -3.01 at its line.

    Shape (n // 2 + 1,) for `samples` of shape (n,); never below -120.
    """
    n = len(samples)
    window = np.hanning(n)
    # The window halves the amplitude (its mean); a line holds half of a real sine.
    amplitude = np.abs(rfft(np.asarray(samples, dtype=np.float64) * window)) * 2.0 / float(np.sum(window))
    rms = amplitude / np.sqrt(2.0)
    return np.asarray(20.0 * np.log10(np.maximum(rms, 10 ** (FLOOR_DBFS / 20))), dtype=np.float32)


class SpectrumMemory:
    """Running average of power and the highest value seen, line by line."""

    def __init__(self, lines: int) -> None:
        self._power = np.zeros(lines)
        self._peak = np.full(lines, FLOOR_DBFS, dtype=np.float32)
        self._empty = True

    def push(self, level_dbfs: NDArray[np.float32], *, hold: bool = True) -> None:
        """Take the next spectrum, shape (lines,), in dBFS; its peaks are held when `hold` is set."""
        power = 10.0 ** (np.asarray(level_dbfs, dtype=np.float64) / 10.0)
        if self._empty:
            self._power, self._empty = power, False
        else:
            self._power += AVERAGE_SHARE * (power - self._power)
        if hold:
            self.hold(level_dbfs)

    def hold(self, level_dbfs: NDArray[np.float32]) -> None:
        """Hold the peaks of a spectrum, shape (lines,), in dBFS."""
        np.maximum(self._peak, level_dbfs, out=self._peak)

    @property
    def average_dbfs(self) -> NDArray[np.float32]:
        """Averaged spectrum, shape (lines,)."""
        return np.asarray(10.0 * np.log10(np.maximum(self._power, 1e-12)), dtype=np.float32)

    @property
    def peak_dbfs(self) -> NDArray[np.float32]:
        """Highest value of each line since `clear`, shape (lines,)."""
        return self._peak

    def clear(self) -> None:
        """Start again."""
        self._empty = True
        self._peak[:] = FLOOR_DBFS


def response_mask(
    hz: NDArray[np.float32], peak_dbfs: NDArray[np.float32], high_hz: float, *, deemphasised: bool
) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    """The line that peaks above the audio band should stay under, from the band's end up.

    EN 300 086 (from memory): between the end of the band and 6 kHz the deviation is not to exceed the one at
    the end of the band. It is held against the highest peak within 5 % below the end; after de-emphasis
    the line falls by 6 dB an octave. Both results are of shape (m,), empty before anything was held.
    """
    near = (hz >= 0.95 * high_hz) & (hz <= high_hz)
    above = hz[hz >= high_hz]
    if not np.any(near) or len(above) == 0 or float(np.max(peak_dbfs[near])) <= FLOOR_DBFS:
        return np.zeros(0, dtype=np.float32), np.zeros(0, dtype=np.float32)
    fall = 20.0 * np.log10(above / high_hz) if deemphasised else np.zeros(len(above))
    return above, np.asarray(float(np.max(peak_dbfs[near])) - fall, dtype=np.float32)


def colour_row(level_dbfs: NDArray[np.float32], width: int) -> NDArray[np.uint8]:
    """One row of the waterfall, shape (width,): the highest line of each column as a colour number."""
    starts = (np.arange(width) * len(level_dbfs)) // width
    high = np.maximum.reduceat(level_dbfs, starts)
    low_db, high_db = WATERFALL_RANGE_DB
    return np.clip((high - low_db) / (high_db - low_db) * (COLOURS - 1), 0, COLOURS - 1).astype(np.uint8)


def trigger_at(samples: NDArray[np.floating], before_n: int, after_n: int, search_n: int = 1200) -> int:
    """Where the picture of the scope is centred so that it stands still.

    The rise through zero that leads to the highest sample of the last `search_n` possible places, with
    `before_n` samples before it and `after_n` after it. A voiced sound repeats with the pitch and has one
    highest peak in each period, so its picture stands whichever period is taken.

    >>> t = np.arange(480)
    >>> trigger_at(np.sin(2 * np.pi * (t - 11.5) / 48), 60, 60, search_n=48)
    396
    """
    last = len(samples) - after_n
    if last <= before_n:
        return max(min(before_n, len(samples)), 0)
    first = max(before_n, last - search_n)
    part = samples[first : last + 1]
    top = first + int(np.argmax(part))
    rises = np.flatnonzero((samples[before_n:top] < 0.0) & (samples[before_n + 1 : top + 1] >= 0.0))
    return before_n + 1 + int(rises[-1]) if len(rises) else top


class Trace(NamedTuple):
    """Samples of the scope with their times, the trigger at 0."""

    time_ms: NDArray[np.float32]
    value: NDArray[np.float32]


def scope_trace(samples: NDArray[np.floating], at_n: int, before_n: int, after_n: int, rate_hz: int) -> Trace:
    """Cut the stretch around a trigger out of `samples`, shape (n,)."""
    value = np.asarray(samples[at_n - before_n : at_n + after_n], dtype=np.float32)
    time_ms = (np.arange(len(value), dtype=np.float32) - before_n) * np.float32(1000.0 / rate_hz)
    return Trace(time_ms, value)
