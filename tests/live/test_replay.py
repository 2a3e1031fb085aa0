"""What the window plays, on a real output: the null sink, heard again at its monitor."""

import subprocess
import sys
import time
from pathlib import Path
from typing import Any

import numpy as np
import pytest

PLAY = """
import sys, time
import numpy as np
from audiotest.window.playback import Player
player = Player()
t = np.arange(96000) / 48000
player.play((0.25 * np.sin(2 * np.pi * 1000 * t)).astype(np.float32), 48000).join()
time.sleep(1.0)
player.play((0.25 * np.sin(2 * np.pi * 1500 * t)).astype(np.float32), 48000).join()
time.sleep(1.0)
player.stop()
time.sleep(0.5)
print(player.trouble)
"""


@pytest.mark.soundcard
def test_the_second_takes_the_place_of_the_first_on_a_real_output(card: Any, tmp_path: Path) -> None:
    caught = tmp_path / "caught.raw"
    with caught.open("wb") as file:
        command = [
            "parec",
            "--device=bench.monitor",
            "--format=s16le",
            "--rate=48000",
            "--channels=1",
            "--raw",
            "--latency-msec=30",
        ]
        recorder = subprocess.Popen(command, env=card.environment, stdout=file, stderr=subprocess.DEVNULL)
        card.children.append(recorder)
        deadline_s = time.monotonic() + 20.0
        while caught.stat().st_size == 0 and time.monotonic() < deadline_s:
            time.sleep(0.05)
        # A null sink takes two seconds at a time unless somebody is in a hurry; what it holds is dropped.
        environment = card.environment | {"PULSE_LATENCY_MSEC": "30"}
        done = subprocess.run(
            [sys.executable, "-c", PLAY], env=environment, capture_output=True, text=True, timeout=60.0,
            check=False,
        )  # fmt: skip
        recorder.terminate()
        recorder.wait(10.0)
    assert done.stdout.strip() == "None", done.stdout + done.stderr
    heard = np.fromfile(caught, dtype=np.int16) / 32768.0
    spectrum = np.abs(np.fft.rfft(heard.reshape(-1)[: len(heard) // 4800 * 4800].reshape(-1, 4800), axis=1))
    strength = spectrum[:, [100, 150]] / 2400.0
    playing = strength > 0.1
    # First 1000 Hz, then 1500 Hz, hardly ever both; the last stretch is silent.
    first, second = (np.flatnonzero(playing[:, k]) for k in (0, 1))
    assert len(first) >= 3
    assert len(second) >= 3
    assert first[-1] <= second[0] + 1
    assert not playing[-1].any()
