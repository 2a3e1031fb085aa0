"""Listen through PortAudio with the whole worker and engine, and time every call of the callback.

Called with the device and the result file; prints ``ready`` and waits for a line, then ``listening`` once
audio flows; ends when its standard input closes.
"""

import pickle
import sys
import threading
import time
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from audiotest.feeds.protocol import Block
from audiotest.feeds.soundcard import SoundCardSource, open_input
from audiotest.session.engine import Engine
from audiotest.session.worker import OverHeard, Worker, WorkerEvent
from audiotest.standards.limits import get_limits
from tests.benchmarks.reliability.soak import resident_mib

MOST_CALLS = 2_000_000
LOOK_S = 5.0


class Marks:
    """Where in the stream something was reported lost, and how much."""

    def __init__(self) -> None:
        self.at_n: list[tuple[int, int]] = []
        self._heard_n = 0
        self._block = SoundCardSource._block

    def attach(self) -> None:
        """Note the losses of every source that is read from here on."""
        marks, block = self, self._block

        def noted(source: SoundCardSource, block_n: int) -> Block:
            made = block(source, block_n)
            if made.lost_n:
                marks.at_n.append((marks._heard_n, made.lost_n))
            marks._heard_n += len(made.samples)
            return made

        SoundCardSource._block = noted  # type: ignore[method-assign]


class Stopwatch:
    """Times of each call of the callback, kept in arrays that are there already.

    Four columns: wall clock and processor time inside the callback, wall clock from PortAudio's own entry
    into the call (the wait for Python's lock included), and frames.
    """

    def __init__(self) -> None:
        # Filled, not only reserved: what is touched later would look like a leak.
        self.calls = np.full((MOST_CALLS, 4), np.nan)
        self.count = 0
        self._take = SoundCardSource._take

    def attach(self) -> None:
        """Time the callback of every source that is opened from here on."""
        watch, take = self, self._take

        def timed(source: SoundCardSource, indata: Any, frames: int, when: Any, status: Any) -> None:
            wall_s, cpu_s = time.perf_counter(), time.thread_time()
            take(source, indata, frames, when, status)
            wall_s, cpu_s = time.perf_counter() - wall_s, time.thread_time() - cpu_s
            if watch.count < MOST_CALLS:
                whole_s = source._stream.time - when.currentTime
                watch.calls[watch.count] = (wall_s, cpu_s, whole_s, frames)
                watch.count += 1

        SoundCardSource._take = timed  # type: ignore[method-assign]


def main(device: str, result: str) -> None:
    watch, marks = Stopwatch(), Marks()
    watch.attach()
    marks.attach()
    kinds: list[str] = []
    memory: list[tuple[float, float]] = []
    heard = Path(f"{result}.f32").open("wb")  # noqa: SIM115 - open as long as the process

    def take(samples: NDArray[np.float32]) -> None:
        if heard.tell() == 0:
            print("listening", flush=True)
        heard.write(samples.tobytes())

    def hear(event: WorkerEvent) -> None:
        if isinstance(event, OverHeard):
            kinds.append(event.over.kind)

    print("ready", flush=True)
    sys.stdin.readline()
    source = open_input(device, 48000)
    engine = Engine(source.sample_rate_hz, feed=None, limits=get_limits("uk-27fm"), pause_ends_over_s=2.0)
    worker = Worker(source, engine, hear, on_samples=take)
    worker.start()
    ended = threading.Event()
    threading.Thread(target=lambda: (sys.stdin.read(), ended.set()), daemon=True).start()
    looked_s = 0.0
    while worker.running and not ended.is_set():
        time.sleep(0.2)
        if time.monotonic() - looked_s >= LOOK_S:
            looked_s = time.monotonic()
            memory.append((looked_s, resident_mib()))
    latency_s = source._stream.latency if worker.running else None
    worker.stop()
    heard.close()
    found = {
        "memory": memory,
        "kinds": kinds,
        "marks": marks.at_n,
        "latency_s": latency_s,
        "calls": watch.calls[: watch.count],
        "error": None if worker.error is None else str(worker.error),
    }
    Path(result).write_bytes(pickle.dumps(found))


if __name__ == "__main__":
    main(sys.argv[1], sys.argv[2])
