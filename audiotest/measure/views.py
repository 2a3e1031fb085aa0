"""An over at the two rates that its figures need, and filters applied to it in bounded pieces.

Nothing of the modulation lies above 4 kHz. Wave forms are judged at 24 kHz, where a peak between two samples
is hardly higher than either; levels, lines and noise at 8 kHz.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import soxr
from numpy.typing import NDArray

from audiotest.measure.filters import (
    apply_response,
    band_gain,
    emphasis_response,
    limited_high_hz,
    undo_deemphasis,
)

WAVE_RATE_HZ = 24000
LOW_RATE_HZ = 8000
FRAMES_PER_S = 50
"""Frames of 20 ms must be whole numbers of samples in both views, or they would drift apart."""
PIECE_S = 10.0
MARGIN_S = 1.0
AUDIO_HIGH_HZ = 3600.0


@dataclass(frozen=True, slots=True)
class Sound:
    """The same stretch twice: ``wave`` at ``rate_hz``, ``low`` at ``low_rate_hz``, shapes (n,) and (m,)."""

    wave: NDArray[np.float64]
    low: NDArray[np.float64]
    rate_hz: int
    low_rate_hz: int

    @property
    def seconds(self) -> float:
        """Length in seconds."""
        return len(self.wave) / self.rate_hz

    def cut(self, start_s: float, end_s: float) -> "Sound":
        """The part from `start_s` to `end_s`."""
        wave = slice(*(max(round(s * self.rate_hz), 0) for s in (start_s, end_s)))
        low = slice(*(max(round(s * self.low_rate_hz), 0) for s in (start_s, end_s)))
        return Sound(self.wave[wave], self.low[low], self.rate_hz, self.low_rate_hz)


def two_views(samples: NDArray[np.floating], sample_rate_hz: int) -> Sound:
    """Both views of `samples`, shape (n,), without its mean.

    Rates up to 24 kHz that hold whole 20 ms frames stay as they are.

    >>> sound = two_views(np.zeros(4800, dtype=np.float32), 48000)
    >>> len(sound.wave), sound.rate_hz, len(sound.low), sound.low_rate_hz
    (2400, 24000, 800, 8000)
    """
    single, rate_hz = np.asarray(samples, dtype=np.float32), sample_rate_hz
    if rate_hz > WAVE_RATE_HZ or rate_hz % FRAMES_PER_S:
        single, rate_hz = np.asarray(soxr.resample(single, rate_hz, WAVE_RATE_HZ)), WAVE_RATE_HZ
    if len(single):
        single = single - np.float32(np.mean(single, dtype=np.float64))
    wave = single.astype(np.float64)
    if rate_hz <= LOW_RATE_HZ:
        return Sound(wave, wave, rate_hz, rate_hz)
    low = np.asarray(soxr.resample(single, rate_hz, LOW_RATE_HZ), dtype=np.float64)
    return Sound(wave, low, rate_hz, LOW_RATE_HZ)


def in_pieces(
    function: Callable[[NDArray[np.float64]], NDArray[np.float64]], samples: NDArray[np.float64], rate_hz: int
) -> NDArray[np.float64]:
    """Apply a filter to a long stretch in pieces that overlap, so that its work space stays small.

    `samples` has shape (n,); `function` keeps shape and unit and forgets within a second. 15 s and less are
    done in one go.
    """
    piece_n, margin_n = round(PIECE_S * rate_hz), round(MARGIN_S * rate_hz)
    if len(samples) <= piece_n * 3 // 2:
        return function(samples)
    out = np.empty(len(samples))
    for start in range(0, len(samples), piece_n):
        end = min(start + piece_n, len(samples))
        low = max(start - margin_n, 0)
        out[start:end] = function(samples[low : end + margin_n])[start - low : end - low]
    return out


def flat_view(samples: NDArray[np.float64], rate_hz: int, deemphasis_us: float) -> NDArray[np.float64]:
    """The discriminator's view of `samples`, shape (n,): de-emphasis in µs undone, all else left."""
    return in_pieces(
        lambda part: undo_deemphasis(part, rate_hz, deemphasis_us, high_hz=AUDIO_HIGH_HZ), samples, rate_hz
    )


def speech_view(
    samples: NDArray[np.float64],
    rate_hz: int,
    deemphasis_us: float,
    *,
    usual_us: float,
    band_hz: tuple[float, float],
) -> NDArray[np.float64]:
    """Turn a feed, shape (n,), of de-emphasis `deemphasis_us` into one of `usual_us` within `band_hz`."""
    high_hz = limited_high_hz(rate_hz, band_hz[1])

    def response(hz: NDArray[np.float64]) -> NDArray[np.complex128]:
        gain = band_gain(hz, band_hz[0], high_hz) / emphasis_response(hz, usual_us)
        return np.asarray(gain * emphasis_response(hz, deemphasis_us) if deemphasis_us > 0.0 else gain)

    return in_pieces(lambda part: apply_response(part, rate_hz, response), samples, rate_hz)
