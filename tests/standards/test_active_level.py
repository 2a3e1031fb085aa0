"""Active speech level against ITU-T P.56 (12/2011), method B, on signals with known answers."""

import numpy as np
import pytest

from audiotest.measure.speech_level import active_speech_level

RATE_HZ = 16000
T = np.arange(20 * RATE_HZ) / RATE_HZ
TONE = 0.1 * np.sqrt(2) * np.sin(2 * np.pi * 1000 * T)
"""-20.00 dB r.m.s."""


def test_a_steady_tone_is_active_all_the_time():
    # P.56 clause 11.2 calibrates with a tone: the active level is its r.m.s. level.
    level = active_speech_level(TONE, RATE_HZ)
    assert level.active_dbfs == pytest.approx(-20.00, abs=0.01)
    assert level.activity == pytest.approx(0.999, abs=0.001)


def test_steady_noise():
    # P.56 clause 11.3. The r.m.s. of 320 000 samples of noise scatters by 0.011 dB; four of these allowed.
    noise = 0.1 * np.random.default_rng(5).standard_normal(len(T))
    level = active_speech_level(noise, RATE_HZ)
    assert level.active_dbfs == pytest.approx(-20.00, abs=0.044 + 0.01)
    assert level.activity == pytest.approx(0.999, abs=0.001)


def test_a_tone_two_seconds_on_and_two_off():
    # Constants of P.56 clause 8 (0.03 s, 0.2 s, 15.9 dB); two implementations of method B agree on these.
    level = active_speech_level(TONE * (T % 4 < 2), RATE_HZ)
    assert level.long_term_dbfs == pytest.approx(-23.010, abs=0.0005)
    assert level.active_dbfs == pytest.approx(-20.558, abs=0.0005)
    assert level.activity == pytest.approx(0.5685, abs=0.00005)


@pytest.mark.parametrize("rate_hz", [8000, 11025, 16000, 44100, 48000])
def test_the_sample_rate_does_not_matter(rate_hz):
    # 1013 Hz divides no rate: of 1 kHz at 8 kHz eight samples a cycle misjudge the mean magnitude by 0.5 dB.
    t = np.arange(20 * rate_hz) / rate_hz
    tone = 0.1 * np.sqrt(2) * np.sin(2 * np.pi * 1013 * t) * (t % 4 < 2)
    level = active_speech_level(tone, rate_hz)
    assert level.active_dbfs == pytest.approx(-20.5592, abs=0.001)


@pytest.mark.parametrize("gain_db", [-40.0, -13.7, 6.0])
def test_gain_moves_the_level_and_not_the_activity(gain_db):
    # Thresholds are 6.02 dB apart; P.56 interpolates between them, which costs up to 0.1 dB here.
    gated = TONE * (T % 4 < 2)
    plain, moved = (active_speech_level(g * gated, RATE_HZ) for g in (1.0, 10 ** (gain_db / 20)))
    assert moved.active_dbfs - plain.active_dbfs == pytest.approx(gain_db, abs=0.1)
    assert moved.long_term_dbfs - plain.long_term_dbfs == pytest.approx(gain_db, abs=1e-6)


@pytest.mark.parametrize(
    "samples", [np.zeros(0), np.zeros(1), np.zeros(RATE_HZ)], ids=["none", "one", "silent"]
)
def test_nothing_has_no_level(samples):
    assert active_speech_level(samples, RATE_HZ) is None


@pytest.mark.parametrize("gain_db", np.arange(-12.0, 0.1, 0.75))
def test_words_that_grow_until_the_very_end_have_the_level_of_the_words(gain_db):
    """At any gain, also when a threshold is passed in the last few samples only.

    Half a second of tone that doubles along its way has an r.m.s. of sqrt(7/12) of its end; nothing is left
    for the hangover after it (ITU-T P.56, clause 8).
    """
    t = np.arange(RATE_HZ // 2) / RATE_HZ
    words = (0.5 + t) * np.sin(2 * np.pi * 500.0 * t) * 10 ** (gain_db / 20)
    level = active_speech_level(np.concatenate([np.zeros(8 * RATE_HZ), words]), RATE_HZ)
    expected = -3.01 + 10 * np.log10(7.0 / 12.0) + gain_db
    assert level.active_dbfs == pytest.approx(expected, abs=0.3)
    assert level.activity == pytest.approx(0.5 / 8.5, rel=0.08)
