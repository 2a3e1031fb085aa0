"""Digital code and the fifty tones under a voice, through the simulated radio's discriminator."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.signal import butter, sosfilt

from audiotest.measure.digitalcode import BIT_RATE_HZ, GENERATOR, code_word, find_digital_code
from audiotest.measure.signalling import hear_signalling, table_tone
from audiotest.radio.link import simulate
from audiotest.radio.settings import Receiver, SoundCard, Timing, Transmitter
from audiotest.radio.voices import load_voice
from audiotest.standards.tones import SUBAUDIBLE_HZ

RATE = 16000


def digital(code, seconds, size=0.1, bit_rate=BIT_RATE_HZ, start=5):
    word = code_word(code)
    at = (np.arange(round(seconds * RATE)) / RATE * bit_rate + start).astype(int) % 23
    square = np.array([1.0 if word >> k & 1 else -1.0 for k in range(23)])[at]
    # A set rounds the bits before the modulator.
    kernel = np.hanning(round(0.004 * RATE))
    return size * np.convolve(square, kernel / kernel.sum(), mode="same")


def voice(seconds, size=0.3):
    speech, rate = load_voice("english_reading")
    assert rate == RATE
    # Sets that send a code keep the voice above 300 Hz.
    return size * sosfilt(
        butter(4, 300.0, "highpass", fs=RATE, output="sos"), speech[: round(seconds * RATE)]
    )


def remainder(value, divisor):
    """Of polynomials over the field of two elements, bits as coefficients."""
    while value.bit_length() >= divisor.bit_length():
        value ^= divisor << (value.bit_length() - divisor.bit_length())
    return value


def test_the_generator_is_that_of_the_golay_code():
    # Golay 1949, any textbook of coding: the generator divides x^23 + 1 and no two words differ in fewer than
    # seven bits, which of all binary codes of this length and size only the Golay code achieves.
    assert remainder(1 << 23 | 1, GENERATOR) == 0
    assert GENERATOR.bit_length() == 12
    words = [data << 11 | remainder(data << 11, GENERATOR) for data in range(1, 1 << 12)]
    assert all(remainder(word, GENERATOR) == 0 for word in words)
    # The code is linear: its least distance is the least weight of a word. Weights by the textbook's table.
    weights = [word.bit_count() for word in words]
    assert {weight: weights.count(weight) for weight in set(weights)} == {
        7: 253, 8: 506, 11: 1288, 12: 1288, 15: 506, 16: 253, 23: 1,
    }  # fmt: skip


def test_a_known_word():
    # 023 is 763813h: from memory.
    assert code_word("023") == 0x763813


@pytest.mark.parametrize("code", ["023", "114", "365", "627", "754"])
def test_a_code_is_heard_under_a_voice(code):
    x = digital(code, 2.0) + voice(2.0)
    found = find_digital_code(x, RATE)
    assert found is not None
    assert code in found.codes
    assert found.peak_fs == pytest.approx(0.1, rel=0.25)
    upside_down = find_digital_code(-x, RATE)
    assert upside_down is not None
    assert code in upside_down.inverted


def test_a_slow_bit_clock_still_reads():
    found = find_digital_code(digital("245", 2.0, bit_rate=BIT_RATE_HZ * 1.001), RATE)
    assert found is not None
    assert "245" in found.codes


def test_what_is_no_code():
    t = np.arange(2 * RATE) / RATE
    rng = np.random.default_rng(1)
    for x in (
        voice(2.0), 0.1 * rng.standard_normal(2 * RATE), 0.1 * np.sin(2 * np.pi * 88.5 * t),
        # A tone that fits the word's period to the cycle, and mains with harmonics.
        0.1 * np.sin(2 * np.pi * 15.0 * BIT_RATE_HZ / 23.0 * t),
        sum(0.05 / k * np.sin(2 * np.pi * 50.0 * k * t) for k in (1, 2, 3)), np.zeros(2 * RATE),
    ):  # fmt: skip
        assert find_digital_code(x, RATE) is None
    assert find_digital_code(np.zeros(100), RATE) is None


@pytest.mark.parametrize("tone_hz", SUBAUDIBLE_HZ[::7])
def test_tones_of_the_table_in_two_seconds_through_the_radio(tone_hz):
    speech, rate = load_voice("english_reading")
    sent = simulate(
        speech[: 2 * rate], rate, replace(Transmitter(), subaudible_hz=tone_hz, subaudible_khz=0.3),
        Receiver(deemphasis_us=0.0, highpass_hz=None), SoundCard(sample_rate_hz=16000),
        Timing(before_s=0.0, bare_carrier_s=0.0, after_s=0.0, end_s=0.0), seed=3,
    )  # fmt: skip
    heard = hear_signalling(sent.audio[: 2 * RATE], RATE)
    assert heard.subaudible is not None
    assert heard.subaudible.frequency_hz == pytest.approx(tone_hz, abs=0.3)
    assert heard.subaudible.nearest_hz == tone_hz
    assert heard.digital is None
    assert heard.keys == ()
    assert heard.calls == ()


def test_between_two_tones_there_is_none():
    assert table_tone(68.15) is None
    assert table_tone(254.5) == 254.1
