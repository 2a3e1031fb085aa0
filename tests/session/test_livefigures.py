"""The live line: what it says while somebody talks, and when the hiss comes back."""

import numpy as np
import pytest

from audiotest.measure.level import overload_runs
from audiotest.radio.link import simulate
from audiotest.radio.settings import Receiver, SoundCard, Timing, Transmitter
from audiotest.radio.voices import load_voice
from audiotest.session.engine import Engine
from audiotest.standards.limits import get_limits
from tests.made import bench_feed

RATE_HZ = 48000
FEED = bench_feed()


@pytest.fixture(scope="module")
def readings():
    """Ten a second over hiss, an over and hiss, with the over's truth and its quieting as measured."""
    voice, voice_hz = load_voice("english_reading")
    made = simulate(
        voice[: 6 * voice_hz], voice_hz, Transmitter(drive_db=6.0, ceiling_khz=2.2),
        Receiver(scale_khz_per_fs=16.0, cnr_db=30.0, squelch="open"), SoundCard(),
        Timing(before_s=1.0, bare_carrier_s=0.6, end_s=1.0), seed=5, baseband_rate_hz=96000,
    )  # fmt: skip
    engine = Engine(RATE_HZ, feed=FEED, limits=get_limits("uk-27fm"))
    seen, overs = [], []
    for first in range(0, len(made.audio), RATE_HZ // 10):
        overs += engine.push(made.audio[first : first + RATE_HZ // 10])
        seen.append(engine.reading())
    overs += engine.finish()
    return seen, made.truth[0], overs[0]


def test_hiss_is_never_shown_as_deviation(readings):
    seen, truth, _ = readings
    shown = [r.deviation_khz for r in seen if r.deviation_khz is not None]
    assert len(shown) > 40
    assert max(shown) < 1.25 * truth.peak_khz


def test_the_quieting_is_that_of_the_carrier_and_does_not_fall_as_one_talks(readings):
    seen, truth, over = readings
    talking = [r for r in seen if r.state == "speech" and truth.speech_start_s + 0.5 < r.time_s < truth.end_s]
    assert len(talking) > 30
    for reading in talking:
        # The quietest 20 ms of an over lie a little under its noise.
        assert -1.0 < reading.quieting_db - over.noise.quieting_db < 4.0


def test_hiss_that_overloads_the_sound_card_is_no_overload_of_the_live_line():
    speech, rate_hz = load_voice("english_reading")
    made = simulate(
        speech[: 2 * rate_hz], rate_hz, Transmitter(drive_db=3.0, ceiling_khz=2.0),
        Receiver(scale_khz_per_fs=6.0), SoundCard(), Timing(), seed=1,
    )  # fmt: skip
    # Hiss far beyond full scale, speech inside it.
    samples = np.clip(2.0 * made.audio, -1.0, 1.0)
    engine = Engine(made.sample_rate_hz, feed=None, limits=get_limits("uk-27fm"))
    seen = []
    for block in np.array_split(samples, len(samples) // 960):
        engine.push(block)
        seen.append(engine.reading())
    assert overload_runs(samples[: made.sample_rate_hz // 2]) > 0
    assert not any(reading.overloaded for reading in seen)


def test_speech_that_overloads_the_sound_card_is_an_overload_of_the_live_line():
    speech, rate_hz = load_voice("english_reading")
    made = simulate(
        speech[: 2 * rate_hz], rate_hz, Transmitter(drive_db=3.0, ceiling_khz=2.0),
        Receiver(scale_khz_per_fs=1.0), SoundCard(), Timing(), seed=1,
    )  # fmt: skip
    engine = Engine(made.sample_rate_hz, feed=None, limits=get_limits("uk-27fm"))
    seen = []
    for block in np.array_split(made.audio, len(made.audio) // 960):
        engine.push(block)
        seen.append(engine.reading())
    assert any(reading.overloaded for reading in seen)
    assert all(reading.over_s is not None for reading in seen if reading.overloaded)
