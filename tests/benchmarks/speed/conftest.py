"""Recordings to hurry with: simulated overs, as dense as a lively evening, repeated to the length asked for.

``AUDIOTEST_BENCH_MINUTES`` sets the length of the long one (default 10).
"""

import os
from pathlib import Path

import numpy as np
import pytest
import soundfile

from audiotest.radio.link import simulate_session
from audiotest.radio.settings import Receiver, SoundCard, Timing, Transmitter
from audiotest.radio.voices import load_voice, voice_names

RATE_HZ = 48000
MINUTES = float(os.environ.get("AUDIOTEST_BENCH_MINUTES", "10"))
DRIVES_DB = (15.0, 2.0, -6.0, 8.0)
SPOKEN_S = 7.0


@pytest.fixture(scope="session")
def overs() -> np.ndarray:
    """Eight overs of seven seconds with two and a half seconds of hiss between them."""
    names = voice_names()
    spoken = []
    for k in range(8):
        voice, rate_hz = load_voice(names[k % len(names)])
        sent = Transmitter(drive_db=DRIVES_DB[k % len(DRIVES_DB)])
        spoken.append((voice[: round(SPOKEN_S * rate_hz)], rate_hz, sent))
    receiver = Receiver(scale_khz_per_fs=10.0, highpass_hz=200.0)
    timing = Timing(before_s=1.5, bare_carrier_s=0.5, end_s=1.0)
    made = simulate_session(spoken, receiver, SoundCard(), timing, seed=1, baseband_rate_hz=96000)
    return made.audio


@pytest.fixture(scope="session")
def place(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("recordings")


def written(path: Path, overs: np.ndarray, minutes: float) -> Path:
    """Repeat the overs in a file until it is long enough; never held in memory as a whole."""
    left_n = round(60 * minutes * RATE_HZ)
    with soundfile.SoundFile(path, "w", RATE_HZ, 1) as file:
        while left_n > 0:
            file.write(overs[:left_n])
            left_n -= len(overs)
    return path


@pytest.fixture(scope="session")
def long_recording(place: Path, overs: np.ndarray) -> Path:
    return written(place / "long.wav", overs, MINUTES)


@pytest.fixture(scope="session")
def short_recording(place: Path, overs: np.ndarray) -> Path:
    return written(place / "short.wav", overs, 1.0 / 6.0)


@pytest.fixture(scope="session")
def one_over(place: Path, overs: np.ndarray) -> Path:
    """A single over of some minutes: hiss, speech without end, hiss."""
    start_n, end_n = round(2.2 * RATE_HZ), round(8.0 * RATE_HZ)
    path = place / "one.wav"
    with soundfile.SoundFile(path, "w", RATE_HZ, 1) as file:
        file.write(overs[:start_n])
        for _ in range(round(max(MINUTES, 4.0) * 60.0 / 5.8)):
            file.write(overs[start_n:end_n])
        file.write(overs[end_n : end_n + 3 * RATE_HZ])
    return path
