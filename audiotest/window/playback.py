"""Audio out of the computer's loudspeaker: replayed overs and the cue."""

import threading
import time
from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from audiotest.errors import AudiotestError, DeviceError

# The sound card's library is loaded in one place only, which knows what to say when it is missing.
from audiotest.feeds.soundcard import _sounddevice, no_restart
from audiotest.tones.output import find_output

SYSTEMS_OWN = "the system's own"
CUE_S = 0.18
CUE_MIDDLE_HZ = 600.0
CUE_RATE_HZ = 48000
CUE_LEVEL = 0.05
"""Quiet on purpose: headphones may be on."""
LARGEST_CUE_DB = 12.0
OPENING_S = 0.5
"""What an output may take to begin to sound."""


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
    """Plays one thing at a time in a thread of its own; a second one takes the place of the first.

    Parameters
    ----------
    output : callable
        Names the output to play on; empty is the system's own.
    """

    def __init__(self, output: Callable[[], str] = lambda: "") -> None:
        self._lock = threading.Lock()
        self._output = output
        self._ends_s = 0.0
        self.trouble: AudiotestError | None = None

    @property
    def sounding(self) -> bool:
        """Whether what was played last has not come to its end yet."""
        return time.monotonic() < self._ends_s

    def play(self, samples: NDArray[np.floating] | NDArray[np.int16], rate_hz: int) -> threading.Thread:
        """Start to play one channel, shape (n,); `trouble` tells afterwards what went wrong."""
        self._ends_s = time.monotonic() + len(samples) / rate_hz + OPENING_S
        thread = threading.Thread(
            target=self._run, args=(samples, rate_hz, self._output()), name="audiotest-replay", daemon=True
        )
        thread.start()
        return thread

    def stop(self) -> None:
        """Fall silent."""
        self._ends_s = 0.0
        try:
            with self._lock, no_restart():
                _sounddevice().stop()
        except Exception:  # Silence is what was asked for, and there is nothing that could sound.
            return

    def _run(self, samples: NDArray[np.floating] | NDArray[np.int16], rate_hz: int, output: str) -> None:
        try:
            with self._lock, no_restart():
                _sounddevice().play(samples, rate_hz, device=find_output(output))
            self.trouble = None
        except AudiotestError as error:
            self.trouble = error
        except Exception as error:
            reason = " ".join(str(error).split()) or type(error).__name__
            self.trouble = DeviceError(f"nothing to replay through: {reason}", "plug in or choose an output")
