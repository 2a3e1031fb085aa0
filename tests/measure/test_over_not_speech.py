"""Overs that hold something else than speech: test tones, bursts of hiss, sweeps."""

import numpy as np
import pytest

from audiotest.advise.rules import advise
from audiotest.measure.over import OverAudio, measure_over
from audiotest.standards.limits import get_limits

RATE_HZ = 8000
LIMITS = get_limits("uk-27fm")


def measured(samples, hiss=None):
    audio = OverAudio(
        samples=np.asarray(samples, dtype=np.float32), sample_rate_hz=RATE_HZ, start_s=0.0, hiss=hiss
    )
    return measure_over(audio, feed=None, limits=LIMITS)


def noisy_tone(seconds, seed):
    t = np.arange(round(seconds * RATE_HZ)) / RATE_HZ
    noise = np.random.default_rng(seed).standard_normal(len(t))
    return 0.2 * np.sin(2 * np.pi * 1000.0 * t) + 0.005 * noise, 0.005 * noise


def test_a_tone_that_fills_the_over_is_not_taken_for_its_own_noise():
    over = measured(noisy_tone(5.0, 1)[0])
    assert over.kind == "tone"
    assert over.noise.snr_db is None
    assert over.noise.quieting_db is None
    assert any(note.startswith("noise unknown") for note in over.notes)


def test_a_tone_with_bare_carrier_before_it_has_a_signal_to_noise_ratio():
    tone, noise = noisy_tone(5.0, 2)
    tone[: RATE_HZ // 2] = noise[: RATE_HZ // 2]
    over = measured(tone)
    assert over.kind == "tone"
    # Tone and noise over noise, both in 300-3400 Hz of 4 kHz: 10 log10(1 + 0.02 / (25e-6 * 3.1 / 4)).
    assert abs(over.noise.snr_db - 30.1) < 0.7


def test_a_bare_carrier_does_not_ask_for_a_little_more_speech():
    over = measured(0.005 * np.random.default_rng(9).standard_normal(4 * RATE_HZ))
    assert over.kind == "carrier"
    assert not any("drive" in note for note in over.notes)


@pytest.mark.parametrize("overloaded", [False, True])
def test_hum_is_not_measured_on_an_overloaded_over(overloaded):
    t = np.arange(6 * RATE_HZ) / RATE_HZ
    heard = noisy_tone(6.0, 3)[0]
    heard += 0.02 * np.sin(2 * np.pi * 50.0 * t) + 0.02 * np.sin(2 * np.pi * 150.0 * t)
    over = measured(np.clip(4.0 * heard, -0.5, 0.5) if overloaded else heard)
    assert ("overload" in over.conditions) == overloaded
    assert (over.noise.hum_hz is None) == overloaded
    assert any(note.startswith("hum unknown") for note in over.notes) == overloaded


@pytest.mark.parametrize("name", ["bursts of hiss", "sweep"])
def test_what_is_no_speech_gets_no_advice(name):
    t = np.arange(8 * RATE_HZ) / RATE_HZ
    hiss = np.random.default_rng(4).standard_normal(len(t))
    if name == "sweep":
        sound = 0.5 * np.sin(2 * np.pi * (100.0 * t + 200.0 * t**2)) + 1e-4 * hiss
    else:
        sound = np.where(t % 0.25 < 0.2, 0.2, 5e-4) * hiss
    over = measured(sound)
    assert "not_speech" in over.conditions
    advice = advise(over, LIMITS)
    assert (advice.mic_gain, advice.deviation) == ("unknown", "unknown")
    assert "talk into the set" in advice.sentence


def test_samples_of_zero_are_no_carriers_noise_and_that_is_the_reason_given():
    heard = noisy_tone(6.0, 4)[0]
    heard[2 * RATE_HZ : 3 * RATE_HZ] = 0.0
    over = measured(heard)
    assert over.noise.snr_db is None
    assert any(note.startswith("quieting and noise unknown: the quietest") for note in over.notes)
    assert not any("taken from pauses" in note for note in over.notes)
