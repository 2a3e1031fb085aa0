"""Capture through PortAudio with a short ring and a reader that stalls: what does not fit must be counted.

Called with the device, the result file, the seconds to listen, how long each stall lasts and after how many
seconds the next one comes. Prints ``ready``, waits for a line and prints ``listening`` once audio flows.
"""

import pickle
import sys
import time
from pathlib import Path

import numpy as np

from audiotest.feeds import soundcard

RATE_HZ = 48000
RING_S = 1.0


def main(device: str, result: str, seconds: float, stall_s: float, every_s: float) -> None:
    soundcard.RING_S = RING_S
    print("ready", flush=True)
    sys.stdin.readline()
    source = soundcard.open_input(device, RATE_HZ)
    parts: list[np.ndarray] = []
    marks: list[tuple[int, int]] = []
    heard_n, stalls = 0, 0
    started_s = time.monotonic()
    for block in source.blocks():
        if not parts:
            print("listening", flush=True)
        if block.lost_n:
            marks.append((heard_n, block.lost_n))
        parts.append(block.samples)
        heard_n += len(block.samples)
        elapsed_s = time.monotonic() - started_s
        if elapsed_s > seconds:
            break
        if stall_s and elapsed_s > (stalls + 1) * every_s:
            stalls += 1
            time.sleep(stall_s)
    source.close()
    found = {"samples": np.concatenate(parts), "marks": marks, "lost_n": source.lost_n, "stalls": stalls}
    Path(result).write_bytes(pickle.dumps(found))


if __name__ == "__main__":
    main(sys.argv[1], sys.argv[2], *map(float, sys.argv[3:6]))
