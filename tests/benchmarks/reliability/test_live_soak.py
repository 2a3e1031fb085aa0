"""Minutes of a real sound server: every sample is there or counted, and how long the callback takes.

``AUDIOTEST_LIVE_MINUTES=10 python -m pytest tests/benchmarks/reliability/test_live_soak.py -s``. What the
server gave is what another of its clients recorded meanwhile: of a player that is late it leaves out some.
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

from tests.benchmarks.reliability.soak import overs
from tests.live.conftest import card
from tests.live.gaps import gaps, unreported

__all__ = ["card"]

MINUTES = float(os.environ.get("AUDIOTEST_LIVE_MINUTES", "2"))
RATE_HZ = 48000
LARGEST_SHARE = 20.0
SETTLED_S = 120.0
MOST_GROWTH_MIB = 16.0
"""An over that is measured takes that for a moment; a quarter of the blocks, kept, more in ten minutes."""


def long_codes() -> NDArray[np.int16]:
    """Overs again and again, no stretch of them alike: a few codes of noise tell where one is."""
    length_n = round(60.0 * MINUTES * RATE_HZ)
    sounding = np.round(overs(RATE_HZ) * 32768.0)
    tiled = np.tile(sounding, length_n // len(sounding) + 1)[:length_n]
    noise = np.random.default_rng(7).integers(-40, 41, length_n)
    return np.clip(tiled + noise, -32768, 32767).astype(np.int16)


def print_shares(calls: NDArray[np.float64]) -> NDArray[np.float64]:
    """Print what part of their period the calls of the callback take; returns the processor's share in %."""
    *times_s, frames = calls.T
    period_s = frames / RATE_HZ
    print(
        f"{len(frames)} callbacks of {1e3 * np.median(period_s):.1f} ms (shortest {1e3 * period_s.min():.1f})"
    )
    shares = dict(
        zip(("clock inside", "processor inside", "clock from PortAudio's call"), times_s, strict=True)
    )
    for name, took_s in shares.items():
        percent = 100.0 * took_s / period_s
        print(
            f"share of the period, {name}: median {np.median(percent):.2f} %, 99.9 % of calls below "
            f"{np.quantile(percent, 0.999):.2f} %, worst {percent.max():.2f} % ({1e3 * took_s.max():.2f} ms)"
        )
    return np.asarray(100.0 * shares["processor inside"] / period_s)


def test_every_sample_is_there_or_counted(card: Any, tmp_path: Path) -> None:
    played, result = tmp_path / "played.wav", tmp_path / "result"
    soundfile.write(played, long_codes(), RATE_HZ)
    command = [sys.executable, "-m", "tests.benchmarks.reliability.listening", "pulse", str(result)]
    listener = subprocess.Popen(
        command, env=card.environment, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    )
    card.children.append(listener)
    assert listener.stdout is not None
    assert listener.stdin is not None
    assert listener.stdout.readline().strip() == "ready"
    raw = tmp_path / "given.raw"
    with card.recorded(raw):
        player = card.play(played)
        time.sleep(0.5)
        listener.stdin.write("go\n")
        listener.stdin.flush()
        assert listener.stdout.readline().strip() == "listening"
        assert player.wait(60.0 * MINUTES + 120.0) == 0
        time.sleep(0.7)
        listener.stdin.close()
        listener.wait(120.0)
    live = pickle.loads(result.read_bytes())
    given, caught = np.fromfile(raw, dtype="<i2"), np.fromfile(f"{result}.f32", dtype=np.float32)
    found = gaps(given, caught * 32768.0)
    marks = live["marks"]
    lost = [gap for gap in found if gap.missing_n > 0]
    unseen = unreported(lost, marks)
    print(
        f"\n{len(caught) / RATE_HZ / 60:.1f} min, {len(live['kinds'])} overs; "
        f"{len(lost)} gaps of together {sum(gap.missing_n for gap in lost)} samples, "
        f"{len(marks)} reported as {sum(lost_n for _, lost_n in marks)} samples or more; "
        f"{-sum(min(gap.missing_n, 0) for gap in found)} samples that the server gave to nobody else"
    )
    at_s, resident = np.array(live["memory"]).T
    settled = resident[at_s - at_s[0] >= min(SETTLED_S, (at_s[-1] - at_s[0]) / 2.0)]
    print(
        f"resident memory {settled[0]:.1f} MiB once settled, {settled.max():.1f} at most, "
        f"{settled[-1]:.1f} at last"
    )
    print(f"PortAudio's latency {live['latency_s']} s")
    processor = print_shares(live["calls"])
    print(f"unseen: {unseen}")
    assert live["error"] is None
    assert settled.max() - settled[0] <= MOST_GROWTH_MIB
    assert not unseen, "samples were lost and not reported"
    assert np.quantile(processor, 0.999) <= LARGEST_SHARE
