"""Samples that do not fit are counted, to the sample and where they are missing; through a real sound server.

The short form of ``tests/benchmarks/reliability/test_live_soak.py``.
"""

import pickle
import subprocess
import sys
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile

from tests.live.conftest import RATE_HZ
from tests.live.gaps import BLOCK_N, Gap, gaps, unreported

pytestmark = pytest.mark.soundcard

SECONDS = 12.0


def heard(card: Any, folder: Path, *, stall_s: float) -> tuple[list[Gap], dict[str, Any]]:
    """Noise that is nowhere alike, listened to; what is missing of it, and what was reported."""
    codes = np.random.default_rng(5).integers(-9000, 9000, round((SECONDS + 8.0) * RATE_HZ)).astype(np.int16)
    played, result, raw = folder / "played.wav", folder / "result", folder / "given.raw"
    soundfile.write(played, codes, RATE_HZ)
    command = [
        sys.executable,
        "-m",
        "tests.live.stalling",
        "pulse",
        str(result),
        str(SECONDS),
        str(stall_s),
        "3",
    ]
    listener = subprocess.Popen(
        command, env=card.environment, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    )
    card.children.append(listener)
    assert listener.stdout is not None
    assert listener.stdin is not None
    assert listener.stdout.readline().strip() == "ready"
    with card.recorded(raw):
        player = card.play(played)
        listener.stdin.write("go\n")
        listener.stdin.flush()
        assert listener.wait(120.0) == 0
        player.kill()
    found = pickle.loads(result.read_bytes())
    # What the server had before the player began is silence and tells no place.
    caught = found["samples"] * 32768.0
    start_n = int(np.argmax(caught != 0.0))
    # A gap is placed by the whole block after it: one at the very end shows in no sample.
    last_n = len(caught) - start_n - 2 * BLOCK_N
    marks = [(at_n - start_n, lost_n) for at_n, lost_n in found["marks"]]
    found["marks"] = [(at_n, lost_n) for at_n, lost_n in marks if at_n <= last_n]
    return gaps(np.fromfile(raw, dtype="<i2"), caught[start_n:]), found


def test_a_reader_that_stalls_knows_what_it_has_missed(card: Any, tmp_path: Path) -> None:
    """Stalls of two seconds before a ring of one: samples heard and samples reported make up all of them."""
    found, reported = heard(card, tmp_path, stall_s=2.0)
    lost = [gap for gap in found if gap.missing_n > 0]
    assert reported["stalls"] >= 2
    assert unreported(lost, reported["marks"]) == []
    assert sum(gap.missing_n for gap in lost) == sum(lost_n for at_n, lost_n in reported["marks"] if at_n > 0)
    # Not all: on a busy machine a reader that is emptying the ring is held up, and one more block is lost.
    assert sum(gap.missing_n > 0.5 * RATE_HZ for gap in lost) >= 2


def test_a_reader_in_time_misses_nothing(card: Any, tmp_path: Path) -> None:
    found, reported = heard(card, tmp_path, stall_s=0.0)
    assert unreported([gap for gap in found if gap.missing_n > 0], reported["marks"]) == []
    assert len(reported["samples"]) > 0.5 * SECONDS * RATE_HZ
