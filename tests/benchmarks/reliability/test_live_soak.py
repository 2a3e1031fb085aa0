"""Minutes of a real sound server: every sample is there or counted, and how long the callback takes.

``AUDIOTEST_LIVE_MINUTES=10 python -m pytest tests/benchmarks/reliability/test_live_soak.py -s``. Samples that
the sound server itself never gave (it plays silence when its player is late) are told from lost ones.
"""

import os
import pickle
import subprocess
import sys
import time
from pathlib import Path
from typing import Any

import numpy as np
import soundfile
from numpy.typing import NDArray
from scipy.signal import correlate

from tests.benchmarks.reliability.soak import overs
from tests.live.conftest import card

__all__ = ["card"]

MINUTES = float(os.environ.get("AUDIOTEST_LIVE_MINUTES", "2"))
RATE_HZ = 48000
BLOCK_N = 960
SEARCH_N = 10 * RATE_HZ
LATEST_START_N = 60 * RATE_HZ
"""The listener's libraries take their time to load on a busy machine."""


def long_codes() -> NDArray[np.int16]:
    """Overs again and again, no stretch of them alike: a few codes of noise tell where one is."""
    length_n = round(60.0 * MINUTES * RATE_HZ)
    sounding = np.round(overs(RATE_HZ) * 32768.0)
    tiled = np.tile(sounding, length_n // len(sounding) + 1)[:length_n]
    noise = np.random.default_rng(7).integers(-40, 41, length_n)
    return np.clip(tiled + noise, -32768, 32767).astype(np.int16)


def place(
    codes: NDArray[np.int16], wanted: NDArray[np.float32], near_n: int, search_n: int = SEARCH_N
) -> int | None:
    """Where in `codes`, near a position, a block was taken from, sample for sample; None if nowhere."""
    low = max(near_n - search_n, 0)
    part = codes[low : near_n + search_n].astype(np.float64)
    if len(part) < len(wanted):
        return None
    at = low + int(np.argmax(correlate(part, wanted.astype(np.float64), "valid", "fft")))
    return at if np.array_equal(codes[at : at + len(wanted)], wanted) else None


def missing(codes: NDArray[np.int16], caught: NDArray[np.float32]) -> tuple[int, int]:
    """Samples that were played and not caught, and those that were caught and never played."""
    start = place(codes, caught[:BLOCK_N], 0, LATEST_START_N)
    assert start is not None, "the beginning is not found"
    offset, lost, silent = start, 0, 0
    for at in range(0, len(caught) - BLOCK_N, BLOCK_N):
        block = caught[at : at + BLOCK_N]
        if offset + at + BLOCK_N > len(codes):
            break
        if np.array_equal(codes[offset + at : offset + at + BLOCK_N], block):
            continue
        now = place(codes, block, offset + at)
        if now is None:
            # The change is within this block: the next whole one tells.
            continue
        step = now - at - offset
        lost, silent, offset = lost + max(step, 0), silent + max(-step, 0), now - at
    return lost, silent


def test_every_sample_is_there_or_counted(card: Any, tmp_path: Path) -> None:
    codes = long_codes()
    played, result = tmp_path / "played.wav", tmp_path / "result"
    soundfile.write(played, codes, RATE_HZ)
    player = card.play(played)
    time.sleep(0.5)
    command = [sys.executable, "-m", "tests.benchmarks.reliability.listening", "pulse", str(result)]
    listener = subprocess.Popen(
        command, env=card.environment, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    )
    card.children.append(listener)
    assert listener.stdout is not None
    assert listener.stdin is not None
    assert listener.stdout.readline().strip() == "listening"
    assert player.wait(60.0 * MINUTES + 120.0) == 0
    time.sleep(0.7)
    listener.stdin.close()
    listener.wait(120.0)
    live = pickle.loads(result.read_bytes())
    wall_s, cpu_s, frames = live["calls"].T
    period_s = frames / RATE_HZ
    lost, silent = missing(codes, live["samples"] * 32768.0)
    share = {name: 100.0 * took / period_s for name, took in (("by the clock", wall_s), ("processor", cpu_s))}
    print(
        f"\n{len(live['samples']) / RATE_HZ / 60:.1f} min, {len(live['kinds'])} overs; lost {lost} samples, "
        f"counted {live['lost_n']}; {silent} samples of silence from the server\n"
        f"{len(frames)} callbacks of {1e3 * np.median(period_s):.1f} ms (shortest {1e3 * period_s.min():.1f})"
    )
    for name, percent in share.items():
        print(
            f"share of its period {name}: median {np.median(percent):.2f} %, 99.9 % of calls below "
            f"{np.quantile(percent, 0.999):.2f} %, worst {percent.max():.2f} %"
        )
    assert live["error"] is None
    assert lost <= live["lost_n"] * BLOCK_N, "samples were lost unseen"
    assert np.quantile(share["processor"], 0.999) <= 20.0
