"""The inputs are listed while something sounds: PortAudio would look for devices by starting again."""

import subprocess
import sys
from pathlib import Path
from typing import Any

import numpy as np
import pytest

pytestmark = pytest.mark.soundcard

SOUND = """
import time
import numpy as np
import sounddevice
from audiotest.feeds.soundcard import list_inputs, open_input
from audiotest.tones.output import SoundOutput
from audiotest.window.playback import Player

def tone(hz, seconds):
    return (0.25 * np.sin(2 * np.pi * hz * np.arange(round(seconds * 48000)) / 48000)).astype(np.float32)

output = SoundOutput("pulse", 48000)
output.play(tone(1000, 3.0))
while output.playing:  # for ever, once nobody asks it for samples any more
    assert list_inputs()
    time.sleep(0.2)
time.sleep(0.3)
output.close()
player = Player()
for hz in (1500, 2000):
    player.play(tone(hz, 2.0), 48000).join()
    assert player.trouble is None, player.trouble
    assert list_inputs()
    stream = sounddevice.get_stream()
    assert stream.active and not stream.closed
    # On into the time after its end, where it is still open.
    while stream.active:
        time.sleep(0.2)
    assert not stream.closed
    assert list_inputs()
    assert stream.closed
source = open_input("pulse", 48000)
print(len(next(source.blocks()).samples))
source.close()
"""


def test_a_list_of_inputs_breaks_nothing_that_sounds(card: Any, tmp_path: Path) -> None:
    raw = tmp_path / "heard.raw"
    with card.recorded(raw):
        done = subprocess.run(
            [sys.executable, "-c", SOUND], env=card.environment | {"PULSE_LATENCY_MSEC": "30"},
            capture_output=True, text=True, timeout=300.0, check=False,
        )  # fmt: skip
    assert (done.returncode, done.stdout) == (0, "960\n"), done.stderr
    heard = np.fromfile(raw, dtype="<i2") / 32768.0
    frames = heard[: len(heard) // 4800 * 4800].reshape(-1, 4800)
    strength = np.abs(np.fft.rfft(frames, axis=1))[:, [100, 150, 200]] / 2400.0
    # How much of each a busy machine's sound server leaves out is not ours to say.
    assert np.all(np.any(strength > 0.1, axis=0))
