"""An input that delivers what it is handed, and what is found of it in the folders of recordings."""

import json
from collections.abc import Iterator
from pathlib import Path
from queue import SimpleQueue
from typing import Any

import numpy as np
from numpy.typing import NDArray

from audiotest.errors import DeviceError
from audiotest.feeds.protocol import Block
from audiotest.keep.parts import find_parts, read_stretch
from audiotest.window.sitting import Sitting
from tests.window.test_sitting import wait

RATE_HZ = 48000
BLOCK_N = 960


class Handed:
    """An input that delivers what it is handed, as fast as it is taken."""

    name = "bench card"

    def __init__(self, rate_hz: int = RATE_HZ) -> None:
        self.sample_rate_hz = rate_hz
        self.lost_n = 0
        self.handed_n = 0
        self._blocks: SimpleQueue[Block | Exception | None] = SimpleQueue()

    def hand(self, samples: NDArray[np.float32], lost_n: int = 0) -> None:
        for start_n in range(0, len(samples), BLOCK_N):
            self._blocks.put(Block(samples=samples[start_n : start_n + BLOCK_N], lost_n=lost_n))
            lost_n = 0
        self.handed_n += len(samples)

    def unplug(self) -> None:
        self._blocks.put(DeviceError("bench card: the input stopped delivering", "check the plug"))

    def blocks(self) -> Iterator[Block]:
        while (block := self._blocks.get()) is not None:
            if isinstance(block, Exception):
                raise block
            self.lost_n += block.lost_n
            yield block

    def close(self) -> None:
        self._blocks.put(None)


def listen(sitting: Sitting, rate_hz: int = RATE_HZ) -> Handed:
    """Listen to a new input; what is recorded is recorded from its first sample."""
    source = Handed(rate_hz)
    made = [source]
    # Opened anew, by other settings, it is a new stream.
    sitting.open_source(lambda: made.pop() if made else Handed(rate_hz))
    wait(sitting, lambda: sitting.listening is not None and sitting.listening.source is source)
    if sitting.recording.wanted:
        wait(sitting, lambda: sitting.recording.line().text.startswith("● recording 0:"))
    return source


def recordings(folder: Path) -> list[Path]:
    return sorted(folder.glob("recording *"))


def heard_all(sitting: Sitting, source: Handed) -> None:
    listening = sitting.listening
    assert listening is not None
    wait(sitting, lambda: listening.tape.end_n == source.handed_n)


def whole(folder: Path) -> NDArray[np.int32]:
    return read_stretch(find_parts(folder), 0, 2**62)


def place_of(kept: NDArray[np.int32], sent: NDArray[np.int32]) -> int:
    """Where in what was sent a recording begins; from there on it must be that to the sample."""
    (start_n,) = [
        int(n) for n in np.flatnonzero(sent == kept[0]) if np.array_equal(sent[n : n + 100], kept[:100])
    ]
    np.testing.assert_array_equal(kept, sent[start_n : start_n + len(kept)])
    return start_n


def journal(folder: Path) -> list[dict[str, Any]]:
    return [json.loads(line) for line in (folder / "recording.jsonl").read_text().splitlines()]


def noise(seconds: float, rate_hz: int = RATE_HZ, seed: int = 3) -> NDArray[np.float32]:
    codes = np.random.default_rng(seed).integers(-(2**19), 2**19, round(seconds * rate_hz))
    return (codes / 2**23).astype(np.float32)
