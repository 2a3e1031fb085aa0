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
from tests.keep.conftest import invented_over

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


def main(folder: str, rate: str, part: str = "0.9", pace: str = "real time") -> None:
    """Record; at the pace "settled" each block waits until what the one before it brought about is done.

    Then the disk answers at once as far as the recording's own time goes, however slow the machine is. Each
    line carries the steady clock as well, and every second an over is cut out.
    """
    rate_hz = int(rate)
    samples = known(rate_hz, 120.0)
    recorder = Recorder(Path(folder), rate_hz, part_s=float(part), reserve_bytes=0)
    recorder.start()
    block_n = round(BLOCK_S * rate_hz)
    began_s = time.monotonic()
    for end_n in range(block_n, len(samples), block_n):
        recorder.push(samples[end_n - block_n : end_n])
        if pace == "settled":
            sys.stdout.write(f"{time.monotonic():.6f} {end_n}\n")
            while recorder.state.written_s * rate_hz < end_n - 0.5:
                time.sleep(0.0005)
            recorder._medium.submit(lambda: None).result()
            if end_n // rate_hz > (end_n - block_n) // rate_hz:
                # An over has just ended, each second.
                recorder.cut(invented_over(end_n / rate_hz - 1.0, end_n / rate_hz - 0.7))
        else:
            sys.stdout.write(f"{end_n}\n")
            sys.stdout.flush()
            time.sleep(max(0.0, began_s + end_n / rate_hz - time.monotonic()))
        sys.stdout.flush()


if __name__ == "__main__":
    main(*sys.argv[1:])
