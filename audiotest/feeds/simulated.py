"""Samples that already exist as a source, as fast as they are taken or in real time."""

import threading
import time
from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from audiotest.errors import RequestError
from audiotest.feeds.protocol import Block

BLOCK_S = 0.02


class SimulatedSource:
    """The audio of a simulated radio as the sound card would deliver it.

    Parameters
    ----------
    audio : NDArray
        Shape (n,), full scale 1.0, finite.
    sample_rate_hz : int
        Sample rate of `audio`.
    name : str
        Shown as the name of the input.
    real_time : bool
        Deliver each block when a sound card would; otherwise as fast as blocks are taken.
    block_s : float
        Length of a block in seconds.
    """

    def __init__(
        self,
        audio: NDArray[np.floating],
        sample_rate_hz: int,
        *,
        name: str = "simulated radio",
        real_time: bool = False,
        block_s: float = BLOCK_S,
    ) -> None:
        if not block_s * sample_rate_hz >= 1.0:
            raise RequestError(f"a block of {block_s} s holds no sample", "ask for longer blocks")
        self.name = name
        self.sample_rate_hz = sample_rate_hz
        self.notes: tuple[str, ...] = ()
        self._audio = np.asarray(audio, dtype=np.float32)
        self._real_time = real_time
        self._block_n = round(block_s * sample_rate_hz)
        self._closed = threading.Event()

    def blocks(self) -> Iterator[Block]:
        """Yield the audio from its start, until it ends or the source is closed."""
        started_s = time.monotonic()
        for start_n in range(0, len(self._audio), self._block_n):
            samples = self._audio[start_n : start_n + self._block_n]
            if self._real_time:
                # Against the start, not the block before: the sum of the waits must not drift.
                due_s = started_s + (start_n + len(samples)) / self.sample_rate_hz
                self._closed.wait(max(0.0, due_s - time.monotonic()))
            if self._closed.is_set():
                return
            yield Block(samples=samples)

    def close(self) -> None:
        """End the blocks, also from another thread; safe to call twice."""
        self._closed.set()
