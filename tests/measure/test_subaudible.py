"""Sub-audible tone: found under a voice through a receiver's high-pass, never made up."""

import numpy as np
import pytest
import scipy.signal as sps
import soxr

from audiotest.measure.subaudible import find_subaudible
from audiotest.radio.voices import load_voice
from audiotest.standards.tones import SUBAUDIBLE_HZ

RATE_HZ = 8000
QUIET_VOICES = ("german_male", "italian_male", "russian_female")
"""Recordings without steady lines of their own."""


def noise(seconds, level, seed):
    return level * np.random.default_rng(seed).standard_normal(round(seconds * RATE_HZ))


def tone(seconds, frequency_hz, amplitude_fs):
    t = np.arange(round(seconds * RATE_HZ)) / RATE_HZ
    return amplitude_fs * np.sin(2 * np.pi * frequency_hz * t + 1.0)


def voice(name, start_s, seconds, highpass_hz=300.0):
    """A voice of -20 dBFS after the high-pass of microphone and receiver."""
    samples, rate_hz = load_voice(name)
    part = samples[round(start_s * rate_hz) : round((start_s + seconds) * rate_hz)].astype(float)
    at_rate = sps.sosfilt(
        sps.butter(2, highpass_hz, "highpass", fs=RATE_HZ, output="sos"),
        np.asarray(soxr.resample(part, rate_hz, RATE_HZ)),
    )
    return 0.1 * at_rate / np.std(at_rate)


@pytest.mark.parametrize("frequency_hz", SUBAUDIBLE_HZ)
def test_every_tone_of_the_table_on_a_bare_carrier(frequency_hz):
    heard = tone(2, frequency_hz, 0.02) + noise(2, 1e-3, 1)
    measured_hz, peak_fs = find_subaudible(heard, RATE_HZ)
    # The closest tones of the table are 2.3 Hz apart; 0.05 Hz is far below what telling them apart needs.
    assert measured_hz == pytest.approx(frequency_hz, abs=0.05)
    assert 20 * np.log10(peak_fs / 0.02) == pytest.approx(0.0, abs=0.3)


@pytest.mark.parametrize("frequency_hz", [67.0, 88.5, 103.5, 127.3, 151.4, 203.5, 250.3])
@pytest.mark.parametrize("name", QUIET_VOICES)
def test_under_a_voice_and_20_db_below_it(name, frequency_hz):
    heard = voice(name, 0.0, 8) + tone(8, frequency_hz, 0.01) + noise(8, 3e-4, 2)
    measured_hz, peak_fs = find_subaudible(heard, RATE_HZ)
    assert measured_hz == pytest.approx(frequency_hz, abs=0.1)
    assert 20 * np.log10(peak_fs / 0.01) == pytest.approx(0.0, abs=1.5)


@pytest.mark.parametrize("frequency_hz", [67.0, 77.0, 88.5, 94.8])
def test_two_seconds_are_enough_where_the_voice_leaves_room(frequency_hz):
    heard = voice("russian_female", 1.0, 2) + tone(2, frequency_hz, 0.01) + noise(2, 3e-4, 3)
    assert find_subaudible(heard, RATE_HZ)[0] == pytest.approx(frequency_hz, abs=0.3)


@pytest.mark.parametrize("frequency_hz", [67.0, 97.4, 103.5, 151.4, 250.3])
def test_beside_hum(frequency_hz):
    t = np.arange(6 * RATE_HZ) / RATE_HZ
    hum = sum(
        a * np.sin(2 * np.pi * k * 49.97 * t + k) for k, a in ((1, 4e-3), (2, 2e-3), (3, 3e-3), (5, 1e-3))
    )
    heard = hum + tone(6, frequency_hz, 0.01) + noise(6, 3e-4, 4)
    assert find_subaudible(heard, RATE_HZ)[0] == pytest.approx(frequency_hz, abs=0.1)


@pytest.mark.parametrize("mains_hz", [50.0, 60.0])
def test_hum_is_no_tone(mains_hz):
    t = np.arange(4 * RATE_HZ) / RATE_HZ
    hum = sum(a * np.sin(2 * np.pi * k * mains_hz * t + k) for k, a in ((1, 4e-3), (2, 6e-3), (3, 4e-3)))
    assert find_subaudible(hum + noise(4, 1e-3, 5), RATE_HZ) is None


@pytest.mark.parametrize("seconds", [1.0, 2.0, 6.0])
def test_noise_is_no_tone(seconds):
    assert not [k for k in range(25) if find_subaudible(noise(seconds, 0.05, 200 + k), RATE_HZ)]


@pytest.mark.parametrize("name", QUIET_VOICES)
@pytest.mark.parametrize("highpass_hz", [20.0, 300.0])
def test_the_pitch_of_a_voice_is_no_tone(name, highpass_hz):
    for start_s in np.arange(0.0, 6.0, 0.7):
        for seconds in (1.2, 2.0):
            heard = voice(name, start_s, seconds, highpass_hz)
            assert find_subaudible(heard + noise(len(heard) / RATE_HZ, 1e-3, 6), RATE_HZ) is None


@pytest.mark.parametrize("share", [0.3, 0.5, 0.7])
def test_a_tone_in_part_of_the_clip_is_not_continuous(share):
    heard = tone(6, 123.0, 0.02)
    heard[round(share * len(heard)) :] = 0.0
    assert find_subaudible(heard + noise(6, 3e-4, 7), RATE_HZ) is None


@pytest.mark.parametrize("rate_hz", [8000, 22050, 44100, 48000])
def test_any_sample_rate(rate_hz):
    t = np.arange(2 * rate_hz) / rate_hz
    heard = 0.02 * np.sin(2 * np.pi * 110.9 * t) + 1e-3 * np.random.default_rng(8).standard_normal(len(t))
    measured_hz, peak_fs = find_subaudible(heard, rate_hz)
    assert measured_hz == pytest.approx(110.9, abs=0.05)
    assert peak_fs == pytest.approx(0.02, rel=0.02)


@pytest.mark.parametrize("count", [0, 1, 100, RATE_HZ])
def test_silence_has_no_tone(count):
    assert find_subaudible(np.zeros(count), RATE_HZ) is None


@pytest.mark.parametrize(("frequency_hz", "below_db", "found"), [
    (180.8, 40.0, True), (180.8, 62.0, False), (94.8, 65.0, True), (94.8, 80.0, False),
])  # fmt: skip
def test_a_line_fainter_than_a_high_pass_explains_is_no_tone(frequency_hz, below_db, found):
    # A motor or a mains harmonic in the talker's room.
    peaks = tone(8, 1000.0, 0.5)
    heard = peaks + tone(8, frequency_hz, 0.5 * 10 ** (-below_db / 20)) + noise(8, 1e-6, 9)
    assert (find_subaudible(heard, RATE_HZ) is not None) is found
