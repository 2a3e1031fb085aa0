"""The ring between the sound card's callback and the reader: one writes, one reads, nobody waits."""

import numpy as np
from numpy.typing import NDArray

GAPS_KEPT = 256


class SampleRing:
    """A preallocated ring of frames with marks where samples are missing.

    One thread calls `write` and `lose`, another `read`; each count is changed by one side only, so no lock
    is needed. When there is no room the newest frames are dropped and counted as lost: what the reader
    already holds stays whole.

    Parameters
    ----------
    capacity_n : int
        Frames it holds.
    channels : int
        Samples in a frame.
    """

    def __init__(self, capacity_n: int, channels: int) -> None:
        self._frames = np.zeros((capacity_n, channels), dtype=np.float32)
        self._capacity_n = capacity_n
        self._written_n = 0
        self._read_n = 0
        self._lost_n = 0
        self._gap_at = [0] * GAPS_KEPT
        self._gap_lost = [0] * GAPS_KEPT
        self._gaps_written = 0
        self._gaps_read = 0

    @property
    def ready_n(self) -> int:
        """Frames that wait to be read."""
        return self._written_n - self._read_n

    def lose(self, lost_n: int) -> None:
        """Count frames that are missing just before the next that is written."""
        self._lost_n += lost_n

    def write(self, frames: NDArray[np.float32]) -> None:
        """Copy frames, shape (n, channels), in; allocates nothing but views."""
        count_n = len(frames)
        if count_n > self._capacity_n - (self._written_n - self._read_n):
            self._lost_n += count_n
            return
        if self._lost_n and self._gaps_written - self._gaps_read < GAPS_KEPT:
            slot = self._gaps_written % GAPS_KEPT
            self._gap_at[slot] = self._written_n
            self._gap_lost[slot] = self._lost_n
            self._gaps_written += 1
            self._lost_n = 0
        at = self._written_n % self._capacity_n
        first_n = min(count_n, self._capacity_n - at)
        self._frames[at : at + first_n] = frames[:first_n]
        if first_n < count_n:
            self._frames[: count_n - first_n] = frames[first_n:]
        self._written_n += count_n

    def read(self, longest_n: int) -> tuple[NDArray[np.float32], int]:
        """Take up to `longest_n` frames, shape (n, channels), not across a gap, and the count lost before."""
        lost_n = 0
        end_n = min(self._written_n, self._read_n + longest_n)
        # The writer marks a gap before it writes past it: any gap before end_n is already seen here.
        while self._gaps_read < self._gaps_written:
            slot = self._gaps_read % GAPS_KEPT
            if self._gap_at[slot] > self._read_n:
                end_n = min(end_n, self._gap_at[slot])
                break
            if end_n == self._read_n:
                break
            lost_n += self._gap_lost[slot]
            self._gaps_read += 1
        at = self._read_n % self._capacity_n
        first_n = min(end_n - self._read_n, self._capacity_n - at)
        rest_n = end_n - self._read_n - first_n
        frames = np.concatenate([self._frames[at : at + first_n], self._frames[:rest_n]])
        self._read_n = end_n
        return frames, lost_n
