"""``demo --text`` and the end of ``live --text``: the story is told, Ctrl-C finishes the over."""

import os
import signal
import subprocess
import sys
from pathlib import Path

import pytest

from audiotest.__main__ import main

REPOSITORY = Path(__file__).parents[2]

LISTEN_TO_THE_DEMO = """
import sys
import numpy as np
from audiotest.feeds import soundcard
from audiotest.feeds.protocol import Block
from audiotest.feeds.simulated import SimulatedSource
from audiotest.radio.scenario import demo_simulation, demo_steps

audio = demo_simulation(demo_steps()[0]).audio[:int(3.5 * 48000)]

class StillTalking(SimulatedSource):
    # The first seconds of an over as fast as they are taken; then it goes on, but time stands nearly still.
    def blocks(self):
        yield from super().blocks()
        print("talking", file=sys.stderr, flush=True)
        while not self._closed.wait(0.02):
            yield Block(samples=audio[-1:])

soundcard.open_input = lambda device, rate, channel: StillTalking(audio, 48000)
from audiotest.__main__ import main
sys.exit(main(["live", "--text"]))
"""


def test_the_demo_tells_its_story_and_shows_the_truth(capsys):
    assert main(["demo", "--text"]) == 0
    text = capsys.readouterr().out
    assert "\x1b" not in text
    assert max(len(line) for line in text.splitlines()) <= 80
    assert text.count("Technician: ") == 3
    assert text.count("What the simulated set really did") == 3
    assert "Mic gain down" in text
    assert text.index("Technician: ") < text.index("talking") < text.index("Mic gain down")


def test_the_demo_ends_when_asked(capsys):
    assert main(["demo", "--text", "--seconds", "4"]) == 0
    text = capsys.readouterr().out
    assert text.count("Technician: ") == 1
    assert "over 1" in text
    assert "over 2" not in text
    assert text.splitlines()[-1] == (
        "Next, your own set: audiotest inputs, then audiotest live --text --device N"
    )


@pytest.mark.skipif(os.name == "nt", reason="a signal to one process is not to be had there")
def test_ctrl_c_finishes_the_running_over():
    process = subprocess.Popen(
        [sys.executable, "-c", LISTEN_TO_THE_DEMO],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        encoding="utf-8",
        env={
            **os.environ,
            "PYTHONPATH": str(REPOSITORY),
            "PYTHONIOENCODING": "utf-8",
            "PYTHONUNBUFFERED": "1",
        },
    )
    try:
        assert process.stderr is not None
        assert process.stdout is not None
        # The over runs, and the first live line shows that the command waits for Ctrl-C.
        assert process.stderr.readline() == "talking\n"
        heard = process.stdout.readline() + process.stdout.readline()
        process.send_signal(signal.SIGINT)
        rest, errors = process.communicate(timeout=120.0)
        output = heard + rest
    finally:
        process.kill()
    assert (process.returncode, errors) == (130, "")
    assert "Listening to simulated radio" in output
    assert "over 1" in output
    assert "mic gain" in output
