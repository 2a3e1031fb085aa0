"""Mains hum: found and measured where it is, not found in noise, voices and sub-audible tones."""

import numpy as np
import pytest
import soxr

from audiotest.measure.hum import measure_hum
from audiotest.radio.voices import load_voice

RATE_HZ = 8000
HUM_FREE_VOICES = ("german_male", "italian_male", "russian_female")
"""Two of the other recordings carry mains hum of their own, 50 and 60 Hz with harmonics."""


def noise(seconds, level, seed):
    return level * np.random.default_rng(seed).standard_normal(round(seconds * RATE_HZ))


def hum(seconds, mains_hz, amplitudes):
    t = np.arange(round(seconds * RATE_HZ)) / RATE_HZ
    return sum(a * np.sin(2 * np.pi * k * mains_hz * t + k) for k, a in amplitudes.items())


def voice(name, start_s, seconds):
    samples, rate_hz = load_voice(name)
    part = samples[round(start_s * rate_hz) : round((start_s + seconds) * rate_hz)].astype(float)
    at_rate = np.asarray(soxr.resample(part, rate_hz, RATE_HZ))
    return 0.1 * at_rate / np.std(at_rate)


@pytest.mark.parametrize("seconds", [1.0, 3.0, 20.0])
@pytest.mark.parametrize("mains_hz", [50.0, 60.0])
def test_hum_on_a_bare_carrier(mains_hz, seconds):
    # Ripple at twice the mains is the strongest line. 0.1 dB: the noise adds to each of four lines less.
    made = hum(seconds, mains_hz, {1: 0.002, 2: 0.006, 3: 0.004, 5: 0.001})
    frequency_hz, rms_fs = measure_hum(made + noise(seconds, 1e-3, 1), RATE_HZ)
    assert frequency_hz == pytest.approx(2 * mains_hz, abs=0.1)
    assert 20 * np.log10(rms_fs / np.std(made)) == pytest.approx(0.0, abs=0.1)


@pytest.mark.parametrize("mains_hz", [49.9, 50.1, 59.95])
def test_mains_that_is_off_its_nominal_frequency(mains_hz):
    made = hum(5, mains_hz, {1: 0.002, 2: 0.006, 3: 0.004})
    frequency_hz, rms_fs = measure_hum(made + noise(5, 1e-3, 2), RATE_HZ)
    assert frequency_hz == pytest.approx(2 * mains_hz, abs=0.25)
    assert 20 * np.log10(rms_fs / np.std(made)) == pytest.approx(0.0, abs=0.1)


@pytest.mark.parametrize("mains_hz", [50.0, 60.0])
def test_hum_under_a_voice(mains_hz):
    # The hum is 26 dB below the voice, whose own leavings in the band cost up to 0.5 dB in 8 s.
    made = hum(8, mains_hz, {1: 0.002, 2: 0.006, 3: 0.004})
    heard = made + voice("russian_female", 0.0, 8) + noise(8, 1e-3, 3)
    frequency_hz, rms_fs = measure_hum(heard, RATE_HZ)
    assert frequency_hz == pytest.approx(2 * mains_hz, abs=0.1)
    assert 20 * np.log10(rms_fs / np.std(made)) == pytest.approx(0.0, abs=0.5)


@pytest.mark.parametrize("seconds", [1.0, 2.0, 6.0])
def test_noise_is_no_hum(seconds):
    assert not [k for k in range(25) if measure_hum(noise(seconds, 0.05, 100 + k), RATE_HZ)]


@pytest.mark.parametrize("name", HUM_FREE_VOICES)
def test_a_voice_is_no_hum(name):
    for start_s in np.arange(0.0, 6.0, 1.1):
        for seconds in (1.2, 2.0):
            heard = voice(name, start_s, seconds)
            assert measure_hum(heard + noise(len(heard) / RATE_HZ, 1e-3, 4), RATE_HZ) is None


@pytest.mark.parametrize("tone_hz", [67.0, 97.4, 118.8, 151.4, 179.9, 199.5, 241.8, 250.3])
def test_a_sub_audible_tone_is_no_hum(tone_hz):
    # 100.0 Hz alone is left out: nothing in the audio tells it from the ripple of a rectifier.
    t = np.arange(2 * RATE_HZ) / RATE_HZ
    assert measure_hum(0.02 * np.sin(2 * np.pi * tone_hz * t) + noise(2, 1e-3, 5), RATE_HZ) is None


@pytest.mark.parametrize("count", [0, 1, 100, RATE_HZ])
def test_silence_has_no_hum(count):
    assert measure_hum(np.zeros(count), RATE_HZ) is None
