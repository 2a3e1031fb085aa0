"""Audio out of the computer's loudspeaker: replayed overs and the cue."""

import threading

import numpy as np
from numpy.typing import NDArray

from audiotest.errors import AudiotestError, DeviceError

# The sound card's library is loaded in one place only, which knows what to say when it is missing.
from audiotest.feeds.soundcard import _sounddevice

CUE_S = 0.18
CUE_MIDDLE_HZ = 600.0
CUE_LEVEL = 0.05
"""Quiet on purpose: headphones may be on."""
LARGEST_CUE_DB = 12.0


def cue_tones(error_db: float | None, rate_hz: int) -> NDArray[np.float32]:
    """The cue for how far a control is off: two short tones, shape (n,); the first is always the same.

    The second is higher by a semitone a decibel when there is too much, lower when too little, the same when
    all is right. None, when nothing could be judged, gives the first tone alone.
    """
    first = _tone(CUE_MIDDLE_HZ, rate_hz)
    if error_db is None:
        return first
    steps = max(-LARGEST_CUE_DB, min(LARGEST_CUE_DB, error_db))
    gap = np.zeros(round(0.05 * rate_hz), dtype=np.float32)
    return np.concatenate([first, gap, _tone(CUE_MIDDLE_HZ * 2.0 ** (steps / 12.0), rate_hz)])


def _tone(hz: float, rate_hz: int) -> NDArray[np.float32]:
    n = round(CUE_S * rate_hz)
    edge = round(0.01 * rate_hz)
    shape = np.minimum(1.0, np.minimum(np.arange(n), np.arange(n)[::-1]) / edge)
    return (CUE_LEVEL * shape * np.sin(2 * np.pi * hz * np.arange(n) / rate_hz)).astype(np.float32)


class Player:
    """Plays one thing at a time in a thread of its own; a second one takes the place of the first."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self.trouble: AudiotestError | None = None

    def play(self, samples: NDArray[np.floating] | NDArray[np.int16], rate_hz: int) -> threading.Thread:
        """Start to play one channel, shape (n,); `trouble` tells afterwards what went wrong."""
        thread = threading.Thread(
            target=self._run, args=(samples, rate_hz), name="audiotest-replay", daemon=True
        )
        thread.start()
        return thread

    def stop(self) -> None:
        """Fall silent."""
        try:
            with self._lock:
                _sounddevice().stop()
        except Exception:  # Silence is what was asked for, and there is nothing that could sound.
            return

    def _run(self, samples: NDArray[np.floating] | NDArray[np.int16], rate_hz: int) -> None:
        try:
            with self._lock:
                _sounddevice().play(samples, rate_hz)
            self.trouble = None
        except AudiotestError as error:
            self.trouble = error
        except Exception as error:
            reason = " ".join(str(error).split()) or type(error).__name__
            self.trouble = DeviceError(f"nothing to replay through: {reason}", "plug in or choose an output")
