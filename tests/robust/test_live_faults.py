"""Faults of a real sound server under ``audiotest live``: it goes on, or ends with one line."""

import pickle
import re
import signal
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile
from numpy.typing import NDArray
from scipy.signal import correlate

from audiotest.radio.link import laboratory_hiss, simulate
from audiotest.radio.settings import Receiver, SoundCard, Timing, Transmitter
from audiotest.radio.voices import load_voice
from tests.live.conftest import SINK, answers

pytestmark = pytest.mark.soundcard

RATE_HZ = 48000
PATIENCE_S = 120.0


@pytest.fixture(scope="module")
def codes() -> NDArray[np.int16]:
    """Hiss, and a long over in it, as codes of 16 bits."""
    voice, rate_hz = load_voice("english_reading")
    receiver = Receiver(scale_khz_per_fs=8.0)
    made = simulate(
        voice[: 8 * rate_hz], rate_hz, Transmitter(drive_db=9.0), receiver, SoundCard(), Timing(), seed=3
    )
    hiss = laboratory_hiss(4.0, receiver, SoundCard(), seed=4).audio
    whole = np.clip(np.concatenate([hiss, made.audio]), -1.0, 32767 / 32768)
    return np.round(whole * 32768.0).astype(np.int16)


@pytest.fixture
def played(tmp_path: Path, codes: NDArray[np.int16]) -> Path:
    path = tmp_path / "played.wav"
    soundfile.write(path, codes, RATE_HZ)
    return path


def control(card: Any, *arguments: str) -> None:
    done = subprocess.run(
        ["pactl", *arguments], env=card.environment, capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stderr


def wait_until(true: Callable[[], bool], what: str) -> None:
    deadline_s = time.monotonic() + PATIENCE_S
    while not true():
        assert time.monotonic() < deadline_s, f"waited in vain until {what}"
        time.sleep(0.05)


class Live:
    """``audiotest live --text`` with what it prints in two files."""

    def __init__(self, card: Any, folder: Path, *options: str) -> None:
        self._out, self._err = folder / "out", folder / "err"
        command = [sys.executable, "-m", "audiotest", "live", "--text", "--device", "pulse", *options]
        with self._out.open("wb") as out, self._err.open("wb") as err:
            self.process = subprocess.Popen(
                command, env=card.environment, stdin=subprocess.DEVNULL, stdout=out, stderr=err
            )
        card.children.append(self.process)

    @property
    def out(self) -> str:
        return self._out.read_text()

    @property
    def err(self) -> str:
        return self._err.read_text()

    def until(self, pattern: str) -> None:
        wait_until(lambda: re.search(pattern, self.out) is not None, f"it prints {pattern}")


def talking(card: Any, played: Path, folder: Path, *options: str) -> Live:
    """The program in the middle of an over."""
    live = Live(card, folder, *options)
    live.until(r"\d:\d\d\.\d  waiting")
    card.play(played)
    live.until(r"\d:\d\d\.\d  talking 0:0[1-9]")
    return live


@pytest.mark.parametrize("fault", ["server killed", "sink removed"])
def test_what_was_heard_before_the_input_went_is_measured(
    card: Any, played: Path, tmp_path: Path, fault: str
) -> None:
    live = talking(card, played, tmp_path)
    if fault == "server killed":
        card.vanish()
    else:
        control(card, "unload-module", "module-null-sink")
    assert live.process.wait(PATIENCE_S) == 2
    assert re.search(r"over \d+ .* voice", live.out), live.out
    assert live.err.count("\n") == 1, live.err
    assert "stopped delivering: check the plug" in live.err
    if fault == "server killed":
        come_back(card, tmp_path)
        again = tmp_path / "again"
        again.mkdir()
        live = Live(card, again)
        live.until(r"\d:\d\d\.\d  waiting")
        live.process.send_signal(signal.SIGINT)
        assert live.process.wait(PATIENCE_S) == 130
        assert live.err == ""


def come_back(card: Any, folder: Path) -> None:
    """Start another server where the killed one was."""
    options = [
        "--daemonize=no",
        "--exit-idle-time=-1",
        "--use-pid-file=no",
        "-n",
        f"--file={folder / 'card.pa'}",
    ]
    server = subprocess.Popen(
        ["pulseaudio", *options], env=card.environment, stdin=subprocess.DEVNULL, stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    )  # fmt: skip
    card.children.append(server)
    wait_until(lambda: answers(card.environment), "the server is back")


def test_a_server_that_dies_before_the_first_sample_costs_one_line(card: Any, tmp_path: Path) -> None:
    live = Live(card, tmp_path)
    live.until("Listening")
    card.vanish()
    assert live.process.wait(PATIENCE_S) == 2
    assert live.err.count("\n") == 1, live.err[:2000]
    assert live.err.startswith("audiotest: pulse: ")


def test_a_suspended_source_costs_its_pause_and_no_more(card: Any, played: Path, tmp_path: Path) -> None:
    live = talking(card, played, tmp_path)
    # A monitor is suspended with its sink, and the player then waits.
    control(card, "suspend-sink", SINK, "1")
    time.sleep(1.0)
    control(card, "suspend-sink", SINK, "0")
    live.until(r"over \d+ .* voice")
    live.process.send_signal(signal.SIGINT)
    assert live.process.wait(PATIENCE_S) == 130
    assert live.err == ""


def test_a_stalled_program_and_another_listener_lose_nothing(
    card: Any, played: Path, codes: NDArray[np.int16], tmp_path: Path
) -> None:
    """Five seconds without reading and a second client: every sample is there."""
    result = tmp_path / "result"
    listener = card.listen("pulse", str(result), "-", "1")
    player = card.play(played)
    time.sleep(0.5)
    listener.stdin.write("go\n")
    listener.stdin.flush()
    assert listener.stdout.readline().strip() == "listening"
    listener.send_signal(signal.SIGSTOP)
    time.sleep(5.0)
    listener.send_signal(signal.SIGCONT)
    other = subprocess.Popen(
        ["parec", f"--device={SINK}.monitor"], env=card.environment, stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    )  # fmt: skip
    card.children.append(other)
    assert player.wait(PATIENCE_S) == 0
    time.sleep(0.7)
    listener.stdin.close()
    listener.wait(PATIENCE_S)
    live = pickle.loads(result.read_bytes())
    assert live["error"] is None
    assert live["lost_n"] == 0
    caught = live["samples"] * 32768.0
    start_n = int(
        np.argmax(correlate(codes.astype(np.float64), caught[:4800].astype(np.float64), "valid", "fft"))
    )
    # Where the listener was told to stop the last of it may still have been on its way.
    heard_n = min(len(caught), len(codes) - start_n)
    assert heard_n > 8 * RATE_HZ
    np.testing.assert_array_equal(caught[:heard_n], codes[start_n : start_n + heard_n])
    assert [over.kind for over in live["overs"]] == ["voice"]
