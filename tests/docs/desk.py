"""A bench out of virtual sound cards: wires on which the program runs, with somebody at its keyboard."""

import re
import shlex
import signal
import subprocess
import sys
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import soundfile
from numpy.typing import NDArray

from tests.live.conftest import RATE_HZ, VirtualCard

PATIENCE_S = 90.0


def control(card: VirtualCard, *arguments: str) -> None:
    """Have the sound server do something."""
    done = subprocess.run(
        ["pactl", *arguments], env=card.environment, capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stderr


@dataclass(frozen=True, slots=True)
class Wire:
    """An output joined to an input, apart from every other wire; the programs on it share a folder."""

    card: VirtualCard
    name: str
    folder: Path
    number: str
    """What `audiotest inputs` calls the input, for the pages' ``--device 2``."""

    def set_up_as_a_set(self, *, mic_gain_db: float, deviation_db: float) -> None:
        """Make a set of it: what is over full scale behind the mic gain is clipped, then turned down."""
        control(self.card, "set-sink-volume", self.name, f"{mic_gain_db:+g}dB")
        control(self.card, "set-source-volume", f"{self.name}.monitor", f"{deviation_db:+g}dB")

    def play(self, samples: NDArray[np.float64]) -> "subprocess.Popen[bytes]":
        """Let something be heard, in real time."""
        file = self.folder / f"played {time.monotonic_ns()}.wav"
        soundfile.write(file, samples, RATE_HZ)
        return self.card.play(file, self.name)

    def start(self, call: str) -> "Talk":
        """Start a call of the program as a page has it, this input in place of the page's second."""
        return Talk(self, shlex.split(call.replace("--device 2", f"--device {self.number}")))

    def run(self, call: str, *said: str) -> "Talk":
        """Run a call to its good end, every line of `said` typed beforehand."""
        talk = self.start(call)
        for line in said:
            talk.say(line)
        assert talk.ended() == 0, talk.text
        return talk


def new_wire(card: VirtualCard, name: str, folder: Path, number: str) -> Wire:
    """Add a wire to the sound server."""
    control(
        card, "load-module", "module-null-sink", f"sink_name={name}", f"rate={RATE_HZ}", "format=s16le",
        "channels=1", "channel_map=mono",
    )  # fmt: skip
    folder.mkdir()
    return Wire(card, name, folder, number)


class Talk:
    """The program while it runs: what it prints, and a keyboard."""

    def __init__(self, wire: Wire, call: list[str]) -> None:
        self._printed = wire.folder / f"printed {time.monotonic_ns()}"
        environment = wire.card.environment | {
            "PULSE_SINK": wire.name, "PULSE_SOURCE": f"{wire.name}.monitor", "HOME": str(wire.folder),
            "COLUMNS": "80", "QT_QPA_PLATFORM": "offscreen",
        }  # fmt: skip
        with self._printed.open("wb") as printed:
            self._process: subprocess.Popen[Any] = subprocess.Popen(
                [sys.executable, "-m", "audiotest", *call], cwd=wire.folder, env=environment,
                stdin=subprocess.PIPE, stdout=printed, stderr=subprocess.STDOUT,
            )  # fmt: skip
        wire.card.children.append(self._process)

    @property
    def text(self) -> str:
        """What was printed so far, in one line."""
        return " ".join(re.sub("[┃┏┓┗┛━]", " ", self._printed.read_text("utf-8", "replace")).split())

    def until(self, pattern: str, times: int = 1) -> str:
        """Wait until something was printed so often; the last of it."""
        self.wait_for(lambda: len(re.findall(pattern, self.text)) >= times, pattern)
        last: str = re.findall(pattern, self.text)[-1]
        return last

    def wait_for(self, true: Callable[[], bool], what: str) -> None:
        """Wait until something has come about while it runs."""
        deadline_s = time.monotonic() + PATIENCE_S
        while not true():
            assert self._process.poll() is None, f"ended before {what}: {self.text}"
            assert time.monotonic() < deadline_s, f"waited in vain for {what}: {self.text}"
            time.sleep(0.25)

    def say(self, line: str = "") -> None:
        """Type a line."""
        assert self._process.stdin is not None
        self._process.stdin.write(f"{line}\n".encode())
        self._process.stdin.flush()

    def interrupted(self) -> int:
        """Ctrl-C; the exit status."""
        self._process.send_signal(signal.SIGINT)
        return self._process.wait(PATIENCE_S)

    def ended(self) -> int:
        """Wait until it ends by itself; the exit status."""
        return self._process.wait(PATIENCE_S)
