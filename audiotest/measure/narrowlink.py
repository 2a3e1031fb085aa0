"""Whether a digital link of 8 kHz samples, a telephone's or a network's, stood before the sound card."""

import numpy as np
import scipy.fft
from numpy.typing import NDArray

LEAST_RATE_HZ = 12000
"""Below this the recording itself ends where such a link would, or little above."""
FRAMES_PER_S = 10
WINDOW = (0.35875, -0.48829, 0.14128, -0.01168)
"""Blackman-Harris with four terms (Harris, Proc. IEEE 66, 1978, from memory): its side lobes are 92 dB down,
so that a whistle stays within 40 Hz and makes no edge."""
MOST_S = 15.0
SPEECH_HZ = (300.0, 3400.0)
QUIET_SHARE, LEAST_FRAMES = 0.3, 3
EDGES_HZ = (3300.0, 4050.0)
"""8 kHz samples end at 4 kHz, and telephone channels from 3.4 kHz on (ITU-T G.712, from memory)."""
BAND_HZ, GAP_HZ = 200.0, 700.0
"""What turns 8 kHz samples into 48 kHz may be cheap: that of a common network codec takes 0.7 kHz to fall."""
HIGHEST_HZ, USED_SHARE = 8000.0, 0.42
LEAST_FALL_DB = 36.0
"""On the train split of the accuracy benchmark none of 495 plain overs fell by more than 29 dB over this
stretch, and none of 18 behind G.711 by less than 47; 15 behind Opus at its lowest rate by 33 to 55. A
Chebyshev filter of sixth order at 3.4 kHz in a receiver falls by 34."""
SMALLEST = 1e-20


def ends_at_4_khz(samples: NDArray[np.floating], sample_rate_hz: int) -> bool:
    """Whether the sound breaks off just below 4 kHz and nothing is above, not even noise.

    Parameters
    ----------
    samples : ndarray, shape (n,)
        An over as it was heard, full scale 1.0.
    sample_rate_hz : int
        Its native rate; below 12 kHz nothing can be told, and the answer is no.

    Returns
    -------
    bool
        True for a fall of 36 dB or more within 0.7 kHz that nothing up to 8 kHz makes up for. A whistle
        below the edge makes none. A steep digital filter in a receiver made of software looks
        the same; a link that falls silent in pauses is not seen.

    Notes
    -----
    Samples at 8 kHz hold nothing above 4 kHz (sampling theorem), and what turns them into 48 kHz adds
    nothing. Analogue audio that a sound card samples at 48 kHz has the card's own noise up there. The
    quietest frames are looked at: their noise is the receiver's, which no splatter filter of a transmitter
    has shaped. How steep is steep enough is set on simulated overs, no source.
    """
    frame_n = sample_rate_hz // FRAMES_PER_S
    count = min(len(samples), round(MOST_S * sample_rate_hz)) // max(frame_n, 1)
    if sample_rate_hz < LEAST_RATE_HZ or count < LEAST_FRAMES:
        return False
    frames = np.reshape(samples[: count * frame_n], (count, frame_n))
    turns = np.arange(frame_n) * (2.0 * np.pi / frame_n)
    window = sum(share * np.cos(k * turns) for k, share in enumerate(WINDOW))
    lines = scipy.fft.rfft(frames * window)
    power = lines.real**2 + lines.imag**2
    hz = np.arange(power.shape[1]) * (sample_rate_hz / frame_n)
    loudness = np.sum(power[:, (hz >= SPEECH_HZ[0]) & (hz < SPEECH_HZ[1])], axis=1)
    quiet = np.argsort(loudness)[: max(LEAST_FRAMES, round(QUIET_SHARE * count))]
    return _largest_fall_db(hz, np.mean(power[quiet], axis=0) / frame_n**2) >= LEAST_FALL_DB


def link_conditions(samples: NDArray[np.floating], sample_rate_hz: int) -> list[str]:
    """Name the condition of `samples`, shape (n,), that end at 4 kHz; a link of full width stays unseen."""
    return ["codec"] if ends_at_4_khz(samples, sample_rate_hz) else []


def _largest_fall_db(hz: NDArray[np.float64], power: NDArray[np.float64]) -> float:
    """How far the spectrum falls at an edge, from the middle of 200 Hz below to the highest 200 Hz above."""
    power_db = 10.0 * np.log10(power + SMALLEST)
    top_hz = min(HIGHEST_HZ, USED_SHARE * 2.0 * float(hz[-1]))
    lows_hz = np.arange(EDGES_HZ[0] + GAP_HZ, top_hz - BAND_HZ, BAND_HZ / 2.0)
    above_db = np.array([10.0 * np.log10(np.mean(power[_band(hz, low)]) + SMALLEST) for low in lows_hz])
    falls_db = [
        np.median(power_db[_band(hz, edge - BAND_HZ)]) - np.max(above_db[lows_hz >= edge + GAP_HZ])
        for edge in np.arange(*EDGES_HZ, 50.0)
    ]
    return float(np.max(falls_db))


def _band(hz: NDArray[np.float64], low_hz: float) -> NDArray[np.bool_]:
    return (hz >= low_hz) & (hz < low_hz + BAND_HZ)
