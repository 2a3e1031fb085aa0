"""The fixtures' voices: free, short, credited; and the demo's story told with them."""

from pathlib import Path

import numpy as np
import pytest

import audiotest
from audiotest.errors import RequestError
from audiotest.radio.monitor import SCALE_KHZ_PER_FS
from audiotest.radio.scenario import demo_simulation, demo_steps
from audiotest.radio.voices import load_voice, voice_names

SOURCES = Path(audiotest.__file__).parents[1] / "fixtures" / "speech" / "SOURCES.md"
LIMIT_KHZ = 2.5
"""The service whose figure the demo's set reads right against: UK 27 MHz FM sets before 1997, ±2.5 kHz."""


@pytest.mark.parametrize("name", voice_names())
def test_a_voice_is_short_clean_and_credited(name):
    samples, rate_hz = load_voice(name)
    assert rate_hz == 16000
    assert samples.ndim == 1
    assert samples.dtype == np.float32
    assert len(samples) <= rate_hz * (25 if name == "english_reading" else 10)
    assert np.max(np.abs(samples)) == pytest.approx(0.5, abs=1e-3)
    assert not samples.flags.writeable
    assert f"`{name}.flac`" in SOURCES.read_text(encoding="utf-8")


def test_there_are_voices_of_several_languages():
    assert len({name.split("_")[0] for name in voice_names()}) >= 5


def test_an_unknown_voice_is_refused_by_name():
    with pytest.raises(RequestError, match=r"no voice named 'nobody': choose one of .*german_male"):
        load_voice("nobody")


def test_the_story_of_the_demo():
    """As found: right on a meter, clipped; then mic gain down, deviation low; then deviation too high.

    70 to 100 % of the limit and a drive of -3 to 8 dB are what the advice leaves alone.
    """
    steps = demo_steps(1)
    truths = [demo_simulation(step).truth[0] for step in steps]
    found, turned, beyond = truths
    assert 0.7 * LIMIT_KHZ <= found.peak_khz <= LIMIT_KHZ
    assert found.drive_db > 8
    assert -3 <= turned.drive_db <= 8
    assert turned.peak_khz < 0.7 * LIMIT_KHZ
    assert steps[0].transmitter.ceiling_khz == steps[1].transmitter.ceiling_khz
    assert -3 <= beyond.drive_db <= 8
    assert beyond.peak_khz > LIMIT_KHZ
    assert {t.scale_khz_per_fs for t in truths} == {SCALE_KHZ_PER_FS}


def test_the_story_is_told_alike_every_time():
    step = demo_steps(3)[1]
    assert np.array_equal(demo_simulation(step).audio, demo_simulation(step).audio)
    assert [s.seed for s in demo_steps(3)] == [3, 4, 5]
