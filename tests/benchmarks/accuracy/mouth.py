"""From a talker's recording to the microphone's output, as a `Mouth` draws it."""

import numpy as np
import scipy.fft
import scipy.signal
from numpy.typing import NDArray

from tests.benchmarks.accuracy.draw import Mouth

RATE_HZ = 16000
CLIP_AT = 0.22
"""Of the envelope; brings the crest under what `voices.py` lets pass."""
Samples = NDArray[np.float64]


def stretch(recording: Samples, mouth: Mouth) -> Samples:
    """The drawn stretch of the recording, at the recording's own speed; all of it when it is shorter."""
    wanted = int(mouth.seconds * mouth.pitch * RATE_HZ)
    room = max(0, len(recording) - wanted)
    start = int(mouth.start * room)
    return recording[start : start + wanted]


def _equalised(x: Samples, mouth: Mouth) -> Samples:
    n = scipy.fft.next_fast_len(len(x) + RATE_HZ // 4, real=True)
    hz = np.arange(n // 2 + 1) * RATE_HZ / n
    octave = np.log2(np.maximum(hz, 60.0) / 1000.0)
    bump = np.exp(-((octave - np.log2(mouth.bump_hz / 1000.0)) ** 2))
    gain_db = mouth.tilt_db_octave * octave + mouth.bump_db * bump
    response = 10 ** (gain_db / 20) + 0j
    if mouth.rolloff_hz > 0.0:
        falling = scipy.signal.butter(mouth.rolloff_order, 2 * np.pi * mouth.rolloff_hz, analog=True)
        response *= scipy.signal.freqs(*falling, worN=2 * np.pi * hz)[1]
    return np.asarray(scipy.fft.irfft(scipy.fft.rfft(x, n) * response, n)[: len(x)])


def _in_a_room(x: Samples, mouth: Mouth, rng: np.random.Generator) -> Samples:
    if mouth.reverberation_s == 0.0:
        return x
    t = np.arange(int(mouth.reverberation_s * RATE_HZ)) / RATE_HZ
    tail = rng.standard_normal(len(t)) * 10 ** (-3.0 * t / mouth.reverberation_s)
    tail[: int(0.003 * RATE_HZ)] = 0.0
    tail *= 10 ** (-mouth.direct_db / 20) / np.sqrt(np.sum(tail**2))
    return x + scipy.signal.fftconvolve(x, tail)[: len(x)]


def squeezed(x: Samples, squeeze_db: float) -> Samples:
    """A source that some processor levelled (10 ms up, 200 ms down) and clipped before it was recorded.

    Both work on the pre-emphasised signal, as speech processors do; the emphasis is undone afterwards.
    """
    if squeeze_db == 0.0:
        return x
    x = scipy.signal.lfilter([1.0, -0.9], [1.0], x)
    n = RATE_HZ // 200
    peaks = np.max(np.abs(x[: len(x) // n * n].reshape(-1, n)), axis=1)
    held = np.empty_like(peaks)
    level = 0.0
    for i, peak in enumerate(peaks):
        level += (peak - level) * (0.4 if peak > level else 0.025)
        held[i] = level
    floor = np.max(held) * 10 ** (-squeeze_db / 20)
    envelope = np.interp(np.arange(len(x)), (np.arange(len(held)) + 0.5) * n, np.maximum(held, floor))
    clipped = np.clip(x / envelope, -CLIP_AT, CLIP_AT)
    return np.asarray(scipy.signal.lfilter([1.0], [1.0, -0.9], clipped))


def at_the_microphone(recording: Samples, mouth: Mouth) -> NDArray[np.float32]:
    """The stretch with distance, room and microphone, peak 0.5; play it at ``pitch`` times 16 kHz."""
    rng = np.random.default_rng(mouth.seed)
    x = stretch(recording, mouth)
    knots = np.linspace(0, len(x), 6)
    x = x * 10 ** (np.interp(np.arange(len(x)), knots, rng.normal(0.0, 1.0, 6) * mouth.wander_db) / 20)
    x = squeezed(_equalised(_in_a_room(x, mouth, rng), mouth), mouth.squeeze_db)
    return np.asarray(0.5 * x / np.max(np.abs(x)), dtype=np.float32)
