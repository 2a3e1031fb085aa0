"""A virtual sound card: a PulseAudio of the tests' own, with a null sink whose monitor is the input."""

import os
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pytest

import audiotest
from audiotest.feeds.feedfile import save_feed
from audiotest.records import Feed
from audiotest.tones.level import OutputScale, save_output

TOOLS = ("pulseaudio", "paplay", "pactl")
SINK = "bench"
RATE_HZ = 48000

ALSA_CONFIG = """\
</usr/share/alsa/alsa.conf>
pcm.!default { type pulse }
ctl.!default { type pulse }
"""
PULSE_SCRIPT = """\
load-module module-native-protocol-unix socket={socket} auth-anonymous=1
load-module module-null-sink sink_name={sink} rate={rate} format=s16le channels=1 channel_map=mono
set-default-source {sink}.monitor
"""


WIRE_FEED = Feed(
    name="wire", method="tone", scale_khz_per_fs=8.0, scale_uncertainty_db=0.1, deemphasis_us=0.0,
    tone_hz=1000.0, deviation_khz=1.5, if_bandwidth_khz=None, hiss_dbfs=None, learned="for the test",
)  # fmt: skip
"""The sink's monitor is the sink: a transmitter without any limiter, 8 kHz at full scale."""
WIRE_OUTPUT = OutputScale(name="wire", full_scale_mv=100.0, ceiling_mv=120.0)


@pytest.fixture
def files(tmp_path: Path) -> tuple[str, str]:
    """The wire's feed file and output file."""
    save_feed(WIRE_FEED, tmp_path / "feed.toml")
    save_output(WIRE_OUTPUT, tmp_path / "out.toml")
    return str(tmp_path / "feed.toml"), str(tmp_path / "out.toml")


def two_tones_fit(found: dict[str, Any]) -> dict[str, Any]:
    """Figures of a two-tone document measured over the wire, held against what was sent."""
    assert found["complete"], found["notes"]
    figures = {figure["key"]: figure["value"] for figure in found["figures"]}
    # A fifth of 2.5 kHz each, found to 0.3 dB; a wire has no products.
    assert figures["low_khz"] == pytest.approx(0.5, rel=0.04)
    assert figures["third_order_db"] < -60.0
    return figures


@dataclass(frozen=True, kw_only=True)
class VirtualCard:
    """A running sound server: its process and the environment that leads to it."""

    process: "subprocess.Popen[bytes]"
    environment: dict[str, str]
    children: "list[subprocess.Popen[Any]]" = field(default_factory=list)

    def play(self, recording: Path, sink: str = SINK) -> "subprocess.Popen[bytes]":
        """Play a recording into a sink, in real time."""
        command = ["paplay", f"--device={sink}", "--volume=65536", str(recording)]
        player = subprocess.Popen(command, env=self.environment, stdin=subprocess.DEVNULL)
        self.children.append(player)
        return player

    def listen(self, *arguments: str) -> "subprocess.Popen[str]":
        """Start `listen.py`, which captures through PortAudio, up to where it is ready."""
        command = [sys.executable, str(Path(__file__).with_name("listen.py")), *arguments]
        listener = subprocess.Popen(
            command, env=self.environment, stdin=subprocess.PIPE, stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL, text=True,
        )  # fmt: skip
        self.children.append(listener)
        assert listener.stdout is not None
        assert listener.stdout.readline().strip() == "ready"
        return listener

    @contextmanager
    def recorded(self, raw: Path, sink: str = SINK) -> Iterator[None]:
        """What sounds meanwhile, as 16-bit codes of one channel in a file."""
        command = ["parec", f"--device={sink}.monitor", "--format=s16le", "--channels=1", f"--rate={RATE_HZ}"]
        with raw.open("wb") as file:
            recorder = subprocess.Popen(command, env=self.environment, stdout=file)
            time.sleep(0.5)
            yield
            recorder.terminate()
            recorder.wait(10.0)

    def clear(self) -> None:
        """End what still runs and close its pipes."""
        for child in self.children:
            if child.poll() is None:
                child.kill()
            for pipe in (child.stdin, child.stdout, child.stderr):
                if pipe is not None:
                    pipe.close()
            child.wait(10.0)

    def vanish(self) -> None:
        """End the sound server without a word, as a pulled plug does."""
        self.process.send_signal(signal.SIGKILL)
        self.process.wait(10.0)


def need_tools() -> None:
    """Skip without PulseAudio, but never where everything is meant to run."""
    missing = [tool for tool in TOOLS if shutil.which(tool) is None]
    if not missing:
        return
    if os.environ.get("CI"):
        pytest.fail(f"{', '.join(missing)} not found: the virtual sound card must run here")
    pytest.skip(f"{', '.join(missing)} not found")


@contextmanager
def virtual_card(folder: Path) -> Iterator[VirtualCard]:
    """A sound server with its files in a folder of its own; the user's files and server are not touched."""
    need_tools()
    runtime = folder / "run"
    runtime.mkdir(mode=0o700)
    alsa = folder / "asound.conf"
    alsa.write_text(ALSA_CONFIG)
    socket = runtime / "native"
    environment = {key: value for key, value in os.environ.items() if not key.startswith(("PULSE_", "ALSA_"))}
    environment |= {
        "PYTHONPATH": str(Path(audiotest.__file__).parents[1]),
        "HOME": str(folder),
        "XDG_RUNTIME_DIR": str(runtime),
        "XDG_CONFIG_HOME": str(folder / "config"),
        "PULSE_RUNTIME_PATH": str(runtime),
        "PULSE_SERVER": f"unix:{socket}",
        "ALSA_CONFIG_PATH": str(alsa),
        "DBUS_SESSION_BUS_ADDRESS": "disabled:",
    }
    script = folder / "card.pa"
    script.write_text(PULSE_SCRIPT.format(socket=socket, sink=SINK, rate=RATE_HZ))
    log = folder / "pulse.log"
    with log.open("wb") as output:
        options = ["--daemonize=no", "--exit-idle-time=-1", "--use-pid-file=no", "-n", f"--file={script}"]
        process = subprocess.Popen(
            ["pulseaudio", *options],
            env=environment, stdin=subprocess.DEVNULL, stdout=output, stderr=subprocess.STDOUT,
        )  # fmt: skip
    virtual = VirtualCard(process=process, environment=environment)
    try:
        deadline_s = time.monotonic() + 20.0
        while not answers(environment):
            if process.poll() is not None or time.monotonic() > deadline_s:
                pytest.fail(f"PulseAudio does not start:\n{log.read_text(errors='replace')}")
            time.sleep(0.1)
        yield virtual
    finally:
        virtual.clear()
        if process.poll() is None:
            process.terminate()
            process.wait(10.0)


@pytest.fixture
def card(tmp_path: Path) -> Iterator[VirtualCard]:
    """Start a sound server for one test."""
    with virtual_card(tmp_path) as virtual:
        yield virtual


def answers(environment: dict[str, str]) -> bool:
    """Whether the server has its sink."""
    done = subprocess.run(
        ["pactl", "list", "short", "sinks"], env=environment, capture_output=True, text=True, check=False
    )
    return SINK in done.stdout
