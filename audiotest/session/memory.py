"""The stretch of the stream that is still needed, addressed by position in the stream."""

import numpy as np
from numpy.typing import NDArray

GROWTH = 1.4
SHIFT_BELOW = 0.8
"""What is held moves to the front of the buffer while it fills no more than this share of it."""


class AudioMemory:
    """The last samples of a stream, at most `longest_n` of them once nobody holds on to more."""

    def __init__(self, longest_n: int) -> None:
        self._longest_n = longest_n
        self._buffer = np.zeros(1 << 16, dtype=np.float32)
        self._used_n = 0
        self._first = 0
        self.end_n = 0

    @property
    def start_n(self) -> int:
        """Stream position of the oldest sample still held."""
        return self.end_n - (self._used_n - self._first)

    def append(self, samples: NDArray[np.float32]) -> None:
        """Add samples, shape (n,), at the end; the oldest beyond the longest stretch are dropped."""
        # Trimmed lazily, so that a long block stays readable until it has been worked through.
        surplus = (self._used_n - self._first) - (self._longest_n + len(samples))
        if surplus > 0:
            self._first += surplus
        self._make_room(len(samples))
        self._buffer[self._used_n : self._used_n + len(samples)] = samples
        self._used_n += len(samples)
        self.end_n += len(samples)

    def _make_room(self, count: int) -> None:
        if self._used_n + count <= len(self._buffer):
            return
        held = self._buffer[self._first : self._used_n]
        if len(held) + count > SHIFT_BELOW * len(self._buffer):
            size = round(max(GROWTH * len(held), len(held) / SHIFT_BELOW)) + 2 * count
            larger = np.empty(size, dtype=np.float32)
            larger[: len(held)] = held
            self._buffer = larger
        else:
            self._buffer[: len(held)] = held
        self._first, self._used_n = 0, len(held)

    def read(self, start_n: int, end_n: int) -> NDArray[np.float32]:
        """A copy of the samples at ``[start_n, end_n)`` of the stream, shape (n,), as far as still held."""
        return self.look(start_n, end_n).copy()

    def look(self, start_n: int, end_n: int) -> NDArray[np.float32]:
        """As `read`, shape (n,), but without a copy: good until the next `append`."""
        low = max(start_n - self.start_n, 0) + self._first
        high = max(min(end_n, self.end_n) - self.start_n, 0) + self._first
        held = self._buffer[low : max(high, low)]
        held.flags.writeable = False
        return held

    def last(self, count: int) -> NDArray[np.float32]:
        """A copy of the last `count` samples, shape (n,), fewer if the stream is younger."""
        return self.read(self.end_n - count, self.end_n)

    def forget_before(self, position_n: int) -> None:
        """Let go of everything before a stream position."""
        self._first += min(max(position_n - self.start_n, 0), self._used_n - self._first)
