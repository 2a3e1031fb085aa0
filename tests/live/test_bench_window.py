"""The bench window on a real sound server: tones out of it and back in, and the stop."""

import json
import subprocess
import sys
import time
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from tests.live.conftest import RATE_HZ, two_tones_fit

pytestmark = [pytest.mark.soundcard, pytest.mark.window]


def window(card: Any, procedure: str, files: tuple[str, str], stop_after: int) -> "subprocess.Popen[str]":
    script = str(Path(__file__).with_name("benchwindow.py"))
    process = subprocess.Popen(
        [sys.executable, script, procedure, *files, str(stop_after)], env=card.environment, text=True,
        stdin=subprocess.DEVNULL, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL,
    )  # fmt: skip
    card.children.append(process)
    return process


def test_a_procedure_in_the_window_hears_what_it_sends(card: Any, files: tuple[str, str]) -> None:
    out, _ = window(card, "two-tone", files, 0).communicate(timeout=200.0)
    found = json.loads(out)
    assert found["rehearsed"] is False
    two_tones_fit(found)


def test_the_stop_silences_a_real_output(card: Any, files: tuple[str, str], tmp_path: Path) -> None:
    raw = tmp_path / "heard.raw"
    with card.recorded(raw):
        out, _ = window(card, "limiting", files, 3).communicate(timeout=200.0)
        time.sleep(3.0)
    found = json.loads(out)
    assert found["complete"] is False
    assert any("stopped early" in note for note in found["notes"])
    heard = np.fromfile(raw, dtype="<i2") / 32768.0
    sounding = np.flatnonzero(np.abs(heard) > 1e-4)
    assert len(sounding) > 0.5 * RATE_HZ
    # The whole procedure would sound for more than thirty seconds; the recorder itself lags by up to two.
    assert len(sounding) < 10.0 * RATE_HZ
    assert len(heard) - sounding[-1] > 0.5 * RATE_HZ
