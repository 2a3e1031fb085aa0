"""A recording in a process of its own, killed in the middle, and what is left of it.

The child pushes known samples in real time, and after each push says on standard output how many it has
handed over: what it said before it dies is what the recording is held to.
"""

import os
import signal
import subprocess
import sys
import time
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from audiotest.keep.parts import codes_24, find_parts, read_stretch
from audiotest.keep.recorder import Recorder

BLOCK_S = 0.02
REPOSITORY = Path(__file__).parents[2]


@dataclass(frozen=True, slots=True, kw_only=True)
class Outcome:
    """What a killed recording held on to."""

    pushed_n: int
    kept_n: int
    lost_s: float
    exact: bool


def known(rate_hz: int, seconds: float) -> np.ndarray:
    """Samples that differ from place to place, each an exact 24-bit code."""
    rng = np.random.default_rng(7)
    return (rng.integers(-(2**19), 2**19, round(rate_hz * seconds)) / 2**23).astype(np.float32)


def kill_once(folder: Path, rate_hz: int, after_s: float) -> Outcome:
    """Record in a child, kill it (SIGKILL) so long after its first sample, and read what is there."""
    before = set(folder.glob("recording *"))
    command = [sys.executable, "-m", "tests.keep.killing", str(folder), str(rate_hz)]
    with subprocess.Popen(command, stdout=subprocess.PIPE, cwd=REPOSITORY) as child:
        assert child.stdout is not None
        said = [child.stdout.readline()]
        time.sleep(after_s)
        os.kill(child.pid, signal.SIGKILL)
        said += child.stdout.read().splitlines(keepends=True)
    pushed_n = int([line for line in said if line.endswith(b"\n")][-1])
    (made,) = set(folder.glob("recording *")) - before
    kept = read_stretch(find_parts(made), 0, 2**62)
    expected = codes_24(known(rate_hz, 120.0))[: len(kept)]
    return Outcome(
        pushed_n=pushed_n,
        kept_n=len(kept),
        lost_s=max(pushed_n - len(kept), 0) / rate_hz,
        exact=bool(np.array_equal(kept, expected)),
    )


def main() -> None:
    folder, rate_hz = Path(sys.argv[1]), int(sys.argv[2])
    samples = known(rate_hz, 120.0)
    part_s = float(sys.argv[3]) if len(sys.argv) > 3 else 0.9
    recorder = Recorder(folder, rate_hz, part_s=part_s, reserve_bytes=0)
    recorder.start()
    block_n = round(BLOCK_S * rate_hz)
    began_s = time.monotonic()
    for start_n in range(0, len(samples), block_n):
        recorder.push(samples[start_n : start_n + block_n])
        sys.stdout.write(f"{start_n + block_n}\n")
        sys.stdout.flush()
        time.sleep(max(0.0, began_s + (start_n + block_n) / rate_hz - time.monotonic()))


if __name__ == "__main__":
    main()
