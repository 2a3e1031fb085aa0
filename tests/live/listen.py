"""Capture through PortAudio in a process of its own: worker and engine on an input, results in a file.

Called with the device, the result file, a feed file or ``-``, and how often to start. Prints ``ready`` and
waits for a line; then ``listening`` once audio flows, at each start, and ``ended: <error>`` at the end. Stops
when its standard input closes or the input fails.
"""

import pickle
import sys
import threading
import time
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from audiotest.feeds.scale import load_feed
from audiotest.feeds.soundcard import list_inputs, open_input
from audiotest.records import Over
from audiotest.session.engine import Engine
from audiotest.session.worker import Ended, OverHeard, Worker, WorkerEvent
from audiotest.standards.limits import get_limits


def main(device: str, result: str, feed_file: str, starts: int) -> None:
    names = [found.name for found in list_inputs()]
    feed = load_feed(feed_file) if feed_file != "-" else None
    print("ready", flush=True)
    sys.stdin.readline()
    for start in range(starts):
        parts: list[NDArray[np.float32]] = []
        overs: list[Over] = []
        ended = threading.Event()

        def take(samples: NDArray[np.float32], parts: list[NDArray[np.float32]] = parts) -> None:
            if not parts:
                print("listening", flush=True)
            parts.append(samples)

        def hear(event: WorkerEvent, overs: list[Over] = overs, ended: threading.Event = ended) -> None:
            if isinstance(event, OverHeard):
                overs.append(event.over)
            elif isinstance(event, Ended):
                ended.set()

        source = open_input(device, 48000)
        engine = Engine(source.sample_rate_hz, feed=feed, limits=get_limits("uk-27fm"))
        worker = Worker(source, engine, hear, on_samples=take)
        worker.start()
        if start < starts - 1:
            while not parts and not ended.is_set():
                time.sleep(0.05)
        else:
            threading.Thread(target=lambda ended=ended: (sys.stdin.read(), ended.set()), daemon=True).start()
            ended.wait()
        ended_s = time.time()
        worker.stop()
    samples = np.concatenate(parts) if parts else np.zeros(0, dtype=np.float32)
    found = {
        "samples": samples,
        "overs": overs,
        "names": names,
        "lost_n": source.lost_n,
        "ended_s": ended_s,
        "stop_s": time.time() - ended_s,
        "error": None if worker.error is None else str(worker.error),
    }
    Path(result).write_bytes(pickle.dumps(found))
    print(f"ended: {worker.error}", flush=True)


if __name__ == "__main__":
    main(sys.argv[1], sys.argv[2], sys.argv[3], int(sys.argv[4]))
