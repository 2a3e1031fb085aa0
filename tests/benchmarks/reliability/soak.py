"""Hours of overs through worker and engine, as fast as they go: memory, and every over found. Run by hand.

``python -m tests.benchmarks.reliability.soak HOURS [RATE_HZ]``. Prints the resident memory along the way and
at the end its slope; the exit status is 1 when an over was missed or a figure was no number.
"""

import os
import sys
import time
from collections.abc import Iterator
from dataclasses import asdict, dataclass, field
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from audiotest.feeds.protocol import Block
from audiotest.radio.link import simulate_session
from audiotest.radio.settings import Receiver, SoundCard, Timing, Transmitter
from audiotest.radio.voices import load_voice, voice_names
from audiotest.records import Over
from audiotest.session.engine import Engine
from audiotest.session.worker import OverHeard, Worker, WorkerEvent
from audiotest.standards.limits import get_limits
from tests.robust.material import not_finite

BLOCK_S = 0.02
PAUSE_S = 120.0
"""Between one round of overs and the next: noise in the last bits of 16, as of a receiver switched off. After
hiss that is as good as a carrier on which nobody speaks, and comes out as such an over."""
DRIVES_DB = (15.0, 2.0, -6.0, 8.0)
SPOKEN_S = 5.0
SETTLED_H = 0.5
"""Before this the buffers are still growing to their sizes."""


def overs(rate_hz: int) -> NDArray[np.float32]:
    """Four overs with open-squelch hiss around them, as codes of 16 bits."""
    spoken = []
    for name, drive_db in zip(voice_names(), DRIVES_DB, strict=False):
        voice, voice_hz = load_voice(name)
        spoken.append((voice[: round(SPOKEN_S * voice_hz)], voice_hz, Transmitter(drive_db=drive_db)))
    receiver = Receiver(scale_khz_per_fs=10.0, highpass_hz=200.0)
    timing = Timing(before_s=1.5, bare_carrier_s=0.5, end_s=1.0)
    made = simulate_session(
        spoken, receiver, SoundCard(sample_rate_hz=rate_hz), timing, seed=1, baseband_rate_hz=96000
    )
    return (np.round(np.clip(made.audio, -1.0, 32767 / 32768) * 32768.0) / 32768.0).astype(np.float32)


@dataclass
class Tape:
    """The overs and the pause, over and over, for as long as asked; looks at the memory on the way."""

    sample_rate_hz: int
    hours: float
    name: str = "soak"
    rounds: int = 0
    memory: list[tuple[float, float]] = field(default_factory=list)

    def blocks(self) -> Iterator[Block]:
        """Yield blocks of 20 ms, as a sound card does."""
        rng = np.random.default_rng(3)
        sounding = overs(self.sample_rate_hz)
        block_n = round(BLOCK_S * self.sample_rate_hz)
        given_n = 0
        looked_h = -1.0
        while given_n < self.hours * 3600.0 * self.sample_rate_hz:
            codes = rng.integers(-2, 3, round(PAUSE_S * self.sample_rate_hz))
            whole = np.concatenate([sounding, (codes / 32768.0).astype(np.float32)])
            for at in range(0, len(whole), block_n):
                yield Block(samples=whole[at : at + block_n])
            given_n += len(whole)
            self.rounds += 1
            now_h = given_n / self.sample_rate_hz / 3600.0
            if now_h - looked_h >= 1.0 / 12.0:
                looked_h = now_h
                self.memory.append((now_h, resident_mib()))
                print(f"{now_h:6.2f} h  {self.memory[-1][1]:7.1f} MiB", flush=True)

    def close(self) -> None:
        """There is nothing to release."""


def resident_mib() -> float:
    """Resident memory of this process."""
    pages = int(Path("/proc/self/statm").read_text().split()[1])
    return pages * os.sysconf("SC_PAGE_SIZE") / 2**20


def main(hours: float, rate_hz: int) -> int:
    """Soak, print, and return the exit status."""
    tape = Tape(rate_hz, hours)
    engine = Engine(rate_hz, feed=None, limits=get_limits("uk-27fm"), pause_ends_over_s=2.0)
    found = 0
    faults: list[str] = []

    def hear(event: WorkerEvent) -> None:
        nonlocal found
        if isinstance(event, OverHeard):
            over: Over = event.over
            found += over.kind == "voice"
            fault = not_finite(asdict(over))
            if fault is not None:
                faults.append(f"over at {over.start_s:.1f} s: {fault}")

    worker = Worker(tape, engine, hear)
    wall_s, cpu_s = time.monotonic(), time.process_time()
    worker.start()
    worker.join()
    wall_s, cpu_s = time.monotonic() - wall_s, time.process_time() - cpu_s
    expected = tape.rounds * len(DRIVES_DB)
    print(
        f"{engine.duration_s / 3600.0:.2f} h at {rate_hz} Hz: {found} spoken overs of {expected}; "
        f"{cpu_s:.0f} s of processor time ({engine.duration_s / cpu_s:.0f} times real time), "
        f"{wall_s:.0f} s by the clock"
    )
    settled = np.array([look for look in tape.memory if look[0] >= min(SETTLED_H, hours / 2.0)])
    if len(settled) > 2:
        slope = np.polyfit(settled[:, 0], settled[:, 1], 1)[0]
        print(
            f"resident {settled[0, 1]:.1f} MiB once settled, {settled[:, 1].max():.1f} at most, "
            f"{settled[-1, 1]:.1f} at the end; slope {slope:+.2f} MiB per hour of audio"
        )
    print(*faults, f"ended by: {worker.error}", sep="\n")
    return int(worker.error is not None or bool(faults) or found != expected)


if __name__ == "__main__":
    sys.exit(main(float(sys.argv[1]), int(sys.argv[2]) if len(sys.argv) > 2 else 48000))
