"""Tones out of a real sound server and back in: procedures, the soft start, and silence on interruption."""

import json
import signal
import subprocess
import sys
import time
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from tests.live.conftest import RATE_HZ, two_tones_fit

pytestmark = pytest.mark.soundcard


def program(card: Any, *arguments: str) -> "subprocess.Popen[str]":
    process = subprocess.Popen(
        [sys.executable, "-m", "audiotest", *arguments], env=card.environment, text=True,
        stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL,
    )  # fmt: skip
    card.children.append(process)
    return process


def test_two_tones_go_out_and_come_back(card: Any, files: tuple[str, str]) -> None:
    feed, output = files
    arguments = ["bench", "two-tone", "--json", "--confirmed", "--feed", feed, "--output", output]
    out, _ = program(card, *arguments).communicate("\n" * 20, timeout=90.0)
    found = json.loads(out)
    figures = two_tones_fit(found)
    assert figures["high_khz"] == pytest.approx(figures["low_khz"], rel=0.01)
    assert figures["each_mv"] == pytest.approx(figures["low_khz"] / 8.0 * 100.0, rel=0.01)


def test_an_interrupted_tone_fades_and_is_silent(card: Any, files: tuple[str, str], tmp_path: Path) -> None:
    raw = tmp_path / "heard.raw"
    with card.recorded(raw):
        arguments = ["send", "tone", "1000", "--millivolt", "50", "--seconds", "30", "--output", files[1]]
        sender = program(card, *arguments, "--confirmed")
        deadline_s = time.monotonic() + 60.0
        while time.monotonic() < deadline_s and not np.any(np.fromfile(raw, dtype="<i2")):
            time.sleep(0.1)
        time.sleep(1.0)
        sender.send_signal(signal.SIGINT)
        assert sender.wait(20.0) == 130
        time.sleep(1.0)
    heard = np.fromfile(raw, dtype="<i2") / 32768.0
    sounding = np.flatnonzero(np.abs(heard) > 1e-4)
    assert len(sounding) > 0.5 * RATE_HZ
    assert np.max(np.abs(heard)) == pytest.approx(0.5, rel=0.02)
    # Soft at both ends: no step between neighbours is larger than those of the tone itself.
    steepest = 0.5 * 2.0 * np.pi * 1000.0 / RATE_HZ
    assert np.max(np.abs(np.diff(heard))) < 1.05 * steepest
    assert len(heard) - sounding[-1] > 0.5 * RATE_HZ
