"""Whether what modulates a carrier is speech at all: not hiss, tones, chords, sweeps or dialling.

Three cues, none of them of any language. Speech is voiced for part of the time: periodic at 70 to 400 Hz
(noise is not). Its spectrum hardly ever stands still for a tenth of a second (tones and chords do), and its
power is spread over several harmonics (a tone, a sweep and a pair of tones put theirs into one or two lines).
Voicing by autocorrelation: Rabiner 1977, IEEE Trans. Acoust. Speech Signal Process. 25, 24-33.
"""

from dataclasses import dataclass

import numpy as np
import scipy.fft
from numpy.typing import NDArray

from audiotest.measure.filters import bandpass, deemphasis
from audiotest.measure.lean import hann

FRAME_S, HOP_S = 0.04, 0.02
PITCH_HZ = (70.0, 400.0)
PERIODIC = 0.6
LEVEL_RANGE_DB = 25.0
APART_N = 4
STILL = 0.96
LINES, LINE_REACH_N = 2, 2
VOICE_BAND_HZ = (200.0, 1200.0)
VOICE_BAND_US = 750.0
LOUDEST_DB = 10.0
LEAST_VOICED = 0.1
MOST_STILL = 0.25
MOST_IN_LINES = 0.97
LEAST_FRAMES = 30


@dataclass(frozen=True, slots=True, kw_only=True)
class SpeechCues:
    """Shares between 0 and 1 over the loud frames of 40 ms.

    ``voiced``: of the loudest, those periodic at 70-400 Hz; ``still``: frames whose spectrum is that of
    80 ms later;
    ``in_lines``: median share of a frame's power in its two strongest lines.
    """

    voiced: float
    still: float
    in_lines: float

    @property
    def speech(self) -> bool:
        """Whether the cues are those of speech."""
        return self.voiced >= LEAST_VOICED and self.still <= MOST_STILL and self.in_lines <= MOST_IN_LINES


def speech_cues(samples: NDArray[np.floating], rate_hz: int) -> SpeechCues | None:
    """The cues of a stretch that is talked over.

    Parameters
    ----------
    samples : ndarray, shape (n,)
        From the start of modulation to its end, de-emphasis undone, sub-audible tone removed, any scale.
    rate_hz : int
        Sample rate in Hz, 8 kHz is enough.

    Returns
    -------
    SpeechCues or None
        None for less than a second of sound: too short to tell.
    """
    frame_n, hop_n = round(FRAME_S * rate_hz), round(HOP_S * rate_hz)
    x = np.asarray(samples, dtype=np.float64)
    if len(x) < frame_n + APART_N * hop_n:
        return None
    frames = _windowed(bandpass(x, rate_hz, 300.0, 3400.0), frame_n, hop_n)
    loud = _loud(frames, LEVEL_RANGE_DB)
    if np.sum(loud) < LEAST_FRAMES:
        return None
    spectra = np.abs(scipy.fft.rfft(frames, axis=1))
    both = np.flatnonzero(loud[:-APART_N] & loud[APART_N:])
    sizes = np.linalg.norm(spectra, axis=1)
    alike = np.sum(spectra[both] * spectra[both + APART_N], axis=1) / (sizes[both] * sizes[both + APART_N])
    # The first formant holds the pitch, and stands highest above a discriminator's noise.
    vowels = _windowed(
        bandpass(deemphasis(x, rate_hz, VOICE_BAND_US), rate_hz, *VOICE_BAND_HZ), frame_n, hop_n
    )
    vowels = vowels[_loud(vowels, LOUDEST_DB)]
    return SpeechCues(
        voiced=float(np.mean(_periodicity(vowels, rate_hz) >= PERIODIC)),
        still=float(np.mean(alike >= STILL)) if len(both) else 0.0,
        in_lines=float(np.median(_share_in_lines(spectra[loud] ** 2))),
    )


def _windowed(x: NDArray[np.float64], frame_n: int, hop_n: int) -> NDArray[np.float64]:
    frames = np.lib.stride_tricks.sliding_window_view(x, frame_n)[::hop_n]
    return np.asarray((frames - np.mean(frames, axis=1, keepdims=True)) * hann(frame_n))


def _loud(frames: NDArray[np.float64], range_db: float) -> NDArray[np.bool_]:
    power = np.mean(frames**2, axis=1)
    return np.asarray(power > 10 ** (-range_db / 10.0) * max(float(np.percentile(power, 98)), 1e-20))


def _periodicity(frames: NDArray[np.float64], rate_hz: int) -> NDArray[np.float64]:
    """Highest autocorrelation of each frame at a lag of a voice's pitch, the window's own divided out."""
    count = frames.shape[1]
    size = scipy.fft.next_fast_len(2 * count, real=True)
    lags = slice(int(rate_hz / PITCH_HZ[1]), int(rate_hz / PITCH_HZ[0]) + 1)

    def correlation(rows: NDArray[np.float64]) -> NDArray[np.float64]:
        turned = scipy.fft.irfft(np.abs(scipy.fft.rfft(rows, size, axis=-1)) ** 2, size, axis=-1)
        return np.asarray(turned[..., lags] / np.maximum(turned[..., :1], 1e-30))

    return np.asarray(np.max(correlation(frames) / correlation(hann(count)), axis=1))


def _share_in_lines(power: NDArray[np.float64]) -> NDArray[np.float64]:
    """Share of each row in its strongest peaks, the main lobe of a Hann window each."""
    rest = power.copy()
    total = np.maximum(np.sum(power, axis=1), 1e-30)
    rows = np.arange(len(rest))
    for _ in range(LINES):
        centre = np.argmax(rest, axis=1)
        for shift in range(-LINE_REACH_N, LINE_REACH_N + 1):
            rest[rows, np.clip(centre + shift, 0, rest.shape[1] - 1)] = 0.0
    return np.asarray(1.0 - np.sum(rest, axis=1) / total)
