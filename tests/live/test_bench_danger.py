"""What may never happen with a tone, tried on a real sound server: what is on the wire is what counts."""

import json
import signal
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from tests.live.conftest import RATE_HZ

pytestmark = pytest.mark.soundcard
AUDIBLE = 1e-4
PATIENCE_S = 90.0

Program = Callable[..., "subprocess.Popen[str]"]


@pytest.fixture
def program(card: Any) -> Program:
    """Start ``audiotest`` on the virtual sound card."""

    def start(*arguments: str) -> "subprocess.Popen[str]":
        process = subprocess.Popen(
            [sys.executable, "-m", "audiotest", *arguments], env=card.environment, text=True,
            stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.PIPE,
        )  # fmt: skip
        card.children.append(process)
        return process

    return start


def on_the_wire(raw: Path) -> NDArray[np.float64]:
    return np.fromfile(raw, dtype="<i2") / 32768.0


def wait_for_sound(raw: Path) -> None:
    deadline_s = time.monotonic() + PATIENCE_S
    while time.monotonic() < deadline_s and not np.any(np.abs(on_the_wire(raw)) > AUDIBLE):
        time.sleep(0.1)


def wait_for_what_follows(raw: Path, seconds: float) -> None:
    """Until the recorder, which lags, has written so much more than it has now."""
    wanted_n, deadline_s = raw.stat().st_size + 2 * round(seconds * RATE_HZ), time.monotonic() + PATIENCE_S
    while time.monotonic() < deadline_s and raw.stat().st_size < wanted_n:
        time.sleep(0.1)


def sounding(heard: NDArray[np.float64]) -> NDArray[np.intp]:
    return np.flatnonzero(np.abs(heard) > AUDIBLE)


@pytest.mark.parametrize(
    ("arguments", "typed", "words"),
    [
        # The ceiling is 120 mV peak: 100 mV RMS are 141.
        (["tone", "1000", "--millivolt", "100", "--confirmed"], "", "over the ceiling"),
        (["noise", "--millivolt", "60", "--confirmed"], "", "over the ceiling"),
        (["tone", "1000", "--millivolt", "20"], "no\n", "nothing was sent"),
        (["tone", "1000", "--millivolt", "20"], "", "nobody answers"),
    ],
)
def test_what_is_refused_never_sounds(
    card: Any, program: Program, files: tuple[str, str], tmp_path: Path,
    arguments: list[str], typed: str, words: str,
) -> None:  # fmt: skip
    raw = tmp_path / "heard.raw"
    with card.recorded(raw):
        sender = program("send", *arguments, "--output", files[1])
        _, said = sender.communicate(typed, timeout=PATIENCE_S)
        wait_for_what_follows(raw, 3.0)
    assert sender.returncode == 2
    assert words in said
    assert len(on_the_wire(raw)) > 0.5 * RATE_HZ
    assert len(sounding(on_the_wire(raw))) == 0


def test_a_tone_begins_softly_and_stops_by_itself(
    card: Any, program: Program, files: tuple[str, str], tmp_path: Path
) -> None:
    raw = tmp_path / "heard.raw"
    with card.recorded(raw):
        arguments = ["tone", "1000", "--millivolt", "50", "--seconds", "1", "--output", files[1]]
        sender = program("send", *arguments, "--confirmed")
        out, _ = sender.communicate(timeout=PATIENCE_S)
        wait_for_what_follows(raw, 3.0)
    heard = on_the_wire(raw)
    at = sounding(heard)
    assert sender.returncode == 0
    assert "Silent again" in out
    assert np.max(np.abs(heard)) == pytest.approx(0.5, rel=0.02)
    # One second and no more: pieces may be dropped, but none is repeated.
    assert 0.5 * RATE_HZ < len(at) < 1.05 * RATE_HZ
    assert len(heard) - at[-1] > 0.4 * RATE_HZ
    # The first two milliseconds are under a tenth of the tone, and so are the last.
    edge = round(0.002 * RATE_HZ)
    assert np.max(np.abs(heard[at[0] :][:edge])) < 0.05
    assert np.max(np.abs(heard[: at[-1] + 1][-edge:])) < 0.05


def test_an_interrupted_procedure_is_silent_keeps_its_points_and_says_so(
    card: Any, program: Program, files: tuple[str, str], tmp_path: Path
) -> None:
    raw = tmp_path / "heard.raw"
    with card.recorded(raw):
        arguments = ["response", "--json", "--confirmed", "--feed", files[0], "--output", files[1]]
        bench = program("bench", *arguments)
        assert bench.stdin is not None
        bench.stdin.write("\n" * 20)
        bench.stdin.flush()
        wait_for_sound(raw)
        # Some tones are measured by now, and the next sounds or is about to.
        said, points, said_so_far = bench.stderr, 0, []
        assert said is not None
        while points < 4:
            line = said.readline()
            said_so_far.append(line)
            assert line, f"it ended too early: {said_so_far}"
            points += line.startswith("  response, at ")
        bench.send_signal(signal.SIGINT)
        out, rest = bench.communicate(timeout=PATIENCE_S)
        wait_for_what_follows(raw, 3.0)
    heard = on_the_wire(raw)
    found = json.loads(out)
    assert bench.returncode == 130
    assert found["complete"] is False
    assert found["passed"] is not True
    assert any("stopped early" in note and "stands" in note for note in found["notes"])
    response = next(curve for curve in found["curves"] if curve["name"] == "response")
    assert 4 <= len(response["points"]) < 12
    # The wire is flat.
    assert all(value_db == pytest.approx(0.0, abs=0.1) for _, value_db in response["points"])
    assert "Let the set go" in rest
    assert len(sounding(heard)) > 0
    assert len(heard) - sounding(heard)[-1] > 0.5 * RATE_HZ
    # Soft at all its ends: nothing on the wire is steeper than its loudest tone, which is of 1 kHz or less.
    steepest = np.max(np.abs(heard)) * 2.0 * np.pi * 1000.0 / RATE_HZ
    assert np.max(np.abs(np.diff(heard))) < 1.1 * steepest


def test_a_program_that_is_killed_leaves_no_tone(
    card: Any, program: Program, files: tuple[str, str], tmp_path: Path
) -> None:
    raw = tmp_path / "heard.raw"
    with card.recorded(raw):
        arguments = ["tone", "1000", "--millivolt", "50", "--seconds", "30", "--output", files[1]]
        sender = program("send", *arguments, "--confirmed")
        wait_for_sound(raw)
        sender.kill()
        sender.wait(PATIENCE_S)
        wait_for_what_follows(raw, 5.0)
    heard = on_the_wire(raw)
    assert len(sounding(heard)) > 0
    assert len(heard) - sounding(heard)[-1] > 1.0 * RATE_HZ
