"""Sub-audible tone: found under a voice through a receiver's high-pass, never made up."""

import numpy as np
import pytest
import scipy.signal as sps
import soxr

from audiotest.measure.signalling import hear_subaudible
from audiotest.measure.subaudible import find_subaudible
from audiotest.radio.link import simulate
from audiotest.radio.settings import Receiver, SoundCard, Timing, Transmitter
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


@pytest.mark.parametrize("seconds", [1.2, 2.0, 4.0, 10.0])
def test_a_clean_tone_at_100_hz_is_not_read_at_what_it_spills(seconds):
    # As 'send subaudible 100 --wav' writes it: without noise its spill at 126 Hz stood for another tone.
    assert find_subaudible(tone(seconds, 100.0, 0.01), RATE_HZ)[0] == pytest.approx(100.0, abs=0.05)


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
    (180.8, 40.0, True), (180.8, 62.0, False), (94.8, 65.0, True), (94.8, 85.0, True), (94.8, 95.0, False),
    (67.0, 100.0, True), (68.2, 70.0, True), (68.2, 80.0, False),
])  # fmt: skip
def test_a_line_fainter_than_a_high_pass_explains_is_no_tone(frequency_hz, below_db, found):
    # A motor or a mains harmonic in the talker's room.
    peaks = tone(8, 1000.0, 0.5)
    heard = peaks + tone(8, frequency_hz, 0.5 * 10 ** (-below_db / 20)) + noise(8, 1e-7, 9)
    assert (find_subaudible(heard, RATE_HZ) is not None) is found


@pytest.mark.parametrize("order", [2, 3, 4, 6])
@pytest.mark.parametrize("frequency_hz", [hz for hz in SUBAUDIBLE_HZ if hz < 90.0])
def test_two_seconds_through_a_receiver_s_high_pass_under_a_voice(frequency_hz, order):
    # 0.25 kHz of 2.4, behind a Butterworth high-pass at 300 Hz and de-emphasis, with the noise of a carrier.
    speech, rate_hz = load_voice("english_reading")
    sender = Transmitter(
        ceiling_khz=2.4, preemphasis_us=750.0, ambient_db=-38.0, subaudible_hz=frequency_hz,
        subaudible_khz=0.25,
    )  # fmt: skip
    receiver = Receiver(cnr_db=25.0, highpass_hz=300.0, highpass_order=order)
    heard = simulate(
        speech[4 * rate_hz :][: round(2.3 * rate_hz)], rate_hz, sender, receiver, SoundCard(),
        Timing(before_s=0.1, bare_carrier_s=0.1, after_s=0.1, end_s=0.1), seed=int(frequency_hz),
    )  # fmt: skip
    found = find_subaudible(heard.audio[round(0.3 * 48000) :][: 2 * 48000], 48000)
    assert found[0] == pytest.approx(frequency_hz, abs=0.3)


@pytest.mark.parametrize("seconds", [2.0, 4.0])
def test_the_frequency_is_as_sure_as_noise_lets_it_be(seconds):
    # Cramer-Rao for a real sine in white noise (Rife and Boorstyn 1974, Kay 1993, as in textbooks):
    # var f >= 3 N / (pi^2 A^2 T^3) with N the one-sided density. The taper and the fit may cost half as much.
    amplitude_fs, level = 0.01, 0.02
    density = 2.0 * level**2 / RATE_HZ
    bound_hz = np.sqrt(3.0 * density / (np.pi**2 * amplitude_fs**2 * seconds**3))
    off = []
    for k in range(60):
        found = find_subaudible(tone(seconds, 88.5, amplitude_fs) + noise(seconds, level, 300 + k), RATE_HZ)
        off.append(found[0] - 88.5)
    assert np.sqrt(np.mean(np.square(off))) < 1.5 * bound_hz


def test_a_tone_beside_stronger_ripple_is_the_tone():
    t = np.arange(2 * RATE_HZ) / RATE_HZ
    heard = 0.01 * np.sin(2 * np.pi * 100.0 * t) + tone(2, 77.0, 0.004) + noise(2, 3e-4, 10)
    assert find_subaudible(heard, RATE_HZ)[0] == pytest.approx(77.0, abs=0.1)


@pytest.mark.parametrize(("amplitude_fs", "named"), [(0.05, 100.0), (0.004, None)])
def test_a_faint_line_alone_on_100_hz_is_not_named(amplitude_fs, named):
    heard = voice("russian_female", 0.0, 3) + tone(3, 100.0, amplitude_fs) + noise(3, 3e-4, 11)
    found = hear_subaudible(heard, RATE_HZ)
    assert found.frequency_hz == pytest.approx(100.0, abs=0.1)
    assert found.nearest_hz == named
