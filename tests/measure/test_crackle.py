"""A crackle in the recording must not turn the advice."""

import numpy as np
import pytest

from audiotest.measure.over import CRACKLE_LEFT_OUT, OverAudio, measure_over
from audiotest.radio.link import simulate
from audiotest.radio.settings import Receiver, SoundCard, Timing, Transmitter
from audiotest.radio.voices import load_voice
from audiotest.standards.limits import get_limits
from tests.made import bench_feed

RATE_HZ = 48000
SCALE_KHZ = 16.0
FEED = bench_feed()


@pytest.fixture(scope="module")
def heard():
    """An over of real speech, and where its speech lies in it."""
    voice, voice_hz = load_voice("english_reading")
    made = simulate(
        voice[: 8 * voice_hz], voice_hz, Transmitter(drive_db=3.0, ceiling_khz=2.2),
        Receiver(scale_khz_per_fs=SCALE_KHZ, cnr_db=35.0), SoundCard(), Timing(), seed=5,
        baseband_rate_hz=96000,
    )  # fmt: skip
    truth = made.truth[0]
    return made.audio[round(truth.start_s * RATE_HZ) : round(truth.end_s * RATE_HZ)]


def measured(samples):
    audio = OverAudio(samples=samples, sample_rate_hz=RATE_HZ, start_s=0.0, hiss=None)
    return measure_over(audio, feed=FEED, limits=get_limits("uk-27fm"))


@pytest.mark.parametrize("what", ["noise", "click"])
def test_a_crackle_is_left_out_and_said(heard, what):
    clean = measured(heard)
    spoiled = heard.copy()
    at = len(heard) // 2
    if what == "noise":
        spoiled[at : at + 1488] = np.random.default_rng(1).uniform(-0.98, 0.98, 1488)
    else:
        spoiled[at : at + 40] += 0.9 * np.hanning(40).astype(np.float32)
    over = measured(spoiled)
    assert CRACKLE_LEFT_OUT in over.notes
    assert CRACKLE_LEFT_OUT not in clean.notes
    assert over.limiter.drive_db == pytest.approx(clean.limiter.drive_db, abs=1.0)
    assert over.deviation.peak_khz == pytest.approx(clean.deviation.peak_khz, rel=0.05)


def test_speech_that_gets_louder_is_no_crackle(heard):
    louder = heard.copy()
    louder[len(heard) // 2 :] *= 3.0
    assert CRACKLE_LEFT_OUT not in measured(louder).notes
