"""The two rates of an over, and filters in pieces."""

import numpy as np
import pytest

from audiotest.measure.filters import bandpass
from audiotest.measure.views import in_pieces, two_views


@pytest.mark.parametrize("rate_hz", [6000, 7350, 8000, 11025, 16000, 22050, 24000, 44100, 48000, 96000])
def test_a_tone_keeps_level_and_place_at_every_rate(rate_hz):
    time_s = np.arange(3 * rate_hz) / rate_hz
    sound = two_views((0.3 * np.sin(2 * np.pi * 1000 * time_s)).astype(np.float32), rate_hz)
    assert sound.rate_hz % 50 == sound.low_rate_hz % 50 == 0
    for wave, rate in ((sound.wave, sound.rate_hz), (sound.low, sound.low_rate_hz)):
        inner = slice(rate // 10, -rate // 10)
        expected = 0.3 * np.sin(2 * np.pi * 1000 * np.arange(len(wave)) / rate)
        assert np.max(np.abs(wave - expected)[inner]) < 1e-4
    part = sound.cut(1.0, 2.0)
    assert (len(part.wave), len(part.low)) == (sound.rate_hz, sound.low_rate_hz)


@pytest.mark.parametrize("seconds", [29.0, 31.0, 45.3, 80.0])
def test_pieces_give_what_the_whole_gives(seconds):
    rng = np.random.default_rng(4)
    noise = rng.standard_normal(round(seconds * 8000))
    whole = bandpass(noise, 8000, 300.0, 3400.0)
    pieces = in_pieces(lambda part: bandpass(part, 8000, 300.0, 3400.0), noise, 8000)
    # 90 dB down: what a filter edge 90 Hz wide still remembers after a second.
    assert np.max(np.abs(whole - pieces)[8000:-8000]) < 3e-5 * np.max(np.abs(whole))
