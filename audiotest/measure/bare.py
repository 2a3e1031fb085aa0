"""The carrier without speech: where an over shows its noise, and the views in which that is looked for."""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from audiotest.measure import activity as speech
from audiotest.measure.filters import bandpass
from audiotest.measure.views import Sound, in_pieces, speech_view

EDGE_S = 0.03
"""What is left out on either side of an edge."""
BARE_FROM_S = (round(EDGE_S / speech.FRAME_S) + 1) * speech.FRAME_S
"""Where the bare carrier is taken to begin: the frames before hold what is left of the edge."""
PIECE_S = 0.06
MIN_BARE_S = 0.06


def low_view(sound: Sound, deemphasis_us: float) -> NDArray[np.float64]:
    """The over de-emphasised and cut at 2.6 kHz, shape (n_low,): see `audiotest.measure.activity`."""
    return speech_view(
        sound.low, sound.low_rate_hz, deemphasis_us, usual_us=speech.LOW_VIEW_US, band_hz=speech.LOW_VIEW_HZ
    )


@dataclass(frozen=True, slots=True)
class Opening:
    """The stretch of even level that an over begins with, and whether it is as quiet as an over gets."""

    sound: Sound
    bare: bool

    @property
    def span_s(self) -> tuple[float, float]:
        """From when to when it lasts, in seconds of the over."""
        return BARE_FROM_S, BARE_FROM_S + self.sound.seconds


def opening(sound: Sound) -> Opening | None:
    """What is heard before speech starts, edges left out.

    It is no bare carrier where something quieter comes later: then it may be the first word, or the noise of
    a room that a level control holds down from the first word on.
    """
    # The de-emphasis is not known yet; as well as flat, a feed may be de-emphasised twice here.
    rms = speech.frame_rms(low_view(sound, 0.0), round(sound.low_rate_hz * speech.FRAME_S))
    edge = round(BARE_FROM_S / speech.FRAME_S)
    if len(rms) < edge + 4:
        return None
    quiet = float(np.percentile(rms[edge:], 3))
    settled = rms[edge:] < 2.2 * max(float(np.median(rms[edge : edge + 4])), 1e-9)
    length = int(np.argmin(settled)) if not settled.all() else len(settled)
    first = float(np.median(rms[edge : edge + max(length, 1)]))
    # One frame is held back: speech may begin inside it.
    if (length - 1) * speech.FRAME_S < MIN_BARE_S:
        return None
    found = sound.cut(BARE_FROM_S, (edge + length - 1) * speech.FRAME_S)
    return Opening(found, bare=first <= 2.5 * quiet + 1e-9)


def bare_carrier(sound: Sound) -> Sound | None:
    """The stretch of bare carrier before speech starts, edges left out."""
    found = opening(sound)
    return found.sound if found is not None and found.bare else None


def quietest(sound: Sound) -> Sound | None:
    """The quietest half second in pieces of 60 ms: the pauses of a talker who left no bare carrier."""
    rms = speech.frame_rms(audio_band(sound), round(PIECE_S * sound.low_rate_hz))
    if len(rms) < 12:
        return None
    order = np.argsort(rms)[: max(3, min(8, len(rms) // 12))]
    pieces = [sound.cut(k * PIECE_S, (k + 1) * PIECE_S) for k in sorted(order)]
    return replace(
        sound,
        wave=np.concatenate([piece.wave for piece in pieces]),
        low=np.concatenate([piece.low for piece in pieces]),
    )


def audio_band(sound: Sound) -> NDArray[np.float64]:
    """300-3400 Hz of the over at the low rate, shape (n_low,), in full scale."""
    rate_hz = sound.low_rate_hz
    return in_pieces(lambda part: bandpass(part, rate_hz, 300.0, 3400.0), sound.low, rate_hz)


def band_rms(sound: Sound) -> float:
    """RMS in 300-3400 Hz, in full scale."""
    return float(np.sqrt(np.mean(audio_band(sound) ** 2)))
