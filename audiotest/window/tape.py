"""The last ten minutes as they were heard, addressed by their place in the stream."""

import threading

import numpy as np
from numpy.typing import NDArray

TAPE_S = 600.0
FULL_SCALE = 32768.0


class AudioTape:
    """A ring of 16-bit samples: one thread writes, others read copies.

    Sixteen bits hold what the usual input delivers without loss, in half the room of floating point.

    Parameters
    ----------
    rate_hz : int
        Sample rate.
    seconds : float
        How far it reaches back.
    """

    def __init__(self, rate_hz: int, seconds: float = TAPE_S) -> None:
        self.rate_hz = rate_hz
        self._ring = np.zeros(round(seconds * rate_hz), dtype=np.int16)
        self._end_n = 0
        self._lock = threading.Lock()

    @property
    def end_n(self) -> int:
        """Samples heard so far."""
        return self._end_n

    @property
    def start_n(self) -> int:
        """Place in the stream of the oldest sample still held."""
        return max(self._end_n - len(self._ring), 0)

    def append(self, samples: NDArray[np.floating]) -> None:
        """Add samples, shape (n,), full scale 1.0."""
        room = len(self._ring)
        kept = samples[-room:]
        codes = np.clip(np.rint(kept * FULL_SCALE), -FULL_SCALE, FULL_SCALE - 1).astype(np.int16)
        with self._lock:
            start = (self._end_n + len(samples) - len(kept)) % room
            first = min(len(codes), room - start)
            self._ring[start : start + first] = codes[:first]
            self._ring[: len(codes) - first] = codes[first:]
            self._end_n += len(samples)

    def read(self, start_n: int, end_n: int) -> NDArray[np.int16]:
        """A copy of the codes at stream places ``[start_n, end_n)``, as far as they are held."""
        with self._lock:
            low = max(start_n, self.start_n)
            high = min(end_n, self._end_n)
            if high <= low:
                return np.zeros(0, dtype=np.int16)
            room = len(self._ring)
            start = low % room
            first = min(high - low, room - start)
            return np.concatenate([self._ring[start : start + first], self._ring[: high - low - first]])

    def last(self, count: int) -> NDArray[np.float32]:
        """The last `count` samples, full scale 1.0; silence before the first."""
        codes = self.read(self._end_n - count, self._end_n)[-count:]
        out = np.zeros(count, dtype=np.float32)
        out[count - len(codes) :] = codes / np.float32(FULL_SCALE)
        return out
