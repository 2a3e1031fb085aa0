"""Tones for signalling: keys, calls, bursts and sub-audible ones, against what was sent."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from audiotest.measure.dtmf import find_dtmf
from audiotest.measure.sequences import find_burst, find_calls
from audiotest.measure.toneruns import find_tone_runs
from audiotest.radio.voices import load_voice
from audiotest.standards.tones import DTMF_COLUMNS_HZ, DTMF_KEYS, DTMF_ROWS_HZ, FIVE_TONE_SETS

RATE = 16000


def tone(hz, seconds, size=0.2, rate=RATE):
    return size * np.sin(2 * np.pi * hz * np.arange(round(seconds * rate)) / rate)


def noise(n, size, seed=1):
    return size * np.random.default_rng(seed).standard_normal(n)


def dial(keys, tone_s, gap_s, off=0.0, twist_db=0.0, size=0.1):
    parts = [np.zeros(round(0.2 * RATE))]
    for key in keys:
        row = next(k for k, line in enumerate(DTMF_KEYS) if key in line)
        low = tone(DTMF_ROWS_HZ[row] * (1 + off), tone_s, size)
        high = tone(DTMF_COLUMNS_HZ[DTMF_KEYS[row].index(key)] * (1 + off), tone_s, size)
        parts += [low + 10 ** (twist_db / 20) * high, np.zeros(round(gap_s * RATE))]
    return np.concatenate([*parts, np.zeros(round(0.2 * RATE))])


def test_every_key_in_noise():
    keys = "".join(DTMF_KEYS)
    x = dial(keys, 0.07, 0.07)
    found = find_dtmf(x + noise(len(x), 0.01), RATE)
    assert "".join(key.key for key in found) == keys
    assert all(abs(key.row_off_percent) < 0.3 and abs(key.column_off_percent) < 0.3 for key in found)
    assert all(key.end_s - key.start_s == pytest.approx(0.07, abs=0.009) for key in found)


@pytest.mark.parametrize("off", [-0.015, 0.015])
def test_a_receiver_takes_what_is_one_and_a_half_percent_off(off):
    found = find_dtmf(dial("159D", 0.06, 0.06, off), RATE)
    assert "".join(key.key for key in found) == "159D"
    assert all(key.in_tolerance and key.row_off_percent == pytest.approx(100 * off, abs=0.2) for key in found)


@pytest.mark.parametrize("off", [-0.035, 0.035])
def test_a_receiver_refuses_what_is_three_and_a_half_percent_off(off):
    assert find_dtmf(dial("159D", 0.06, 0.06, off), RATE) == ()


def test_out_of_tolerance_is_said_and_short_keys_are_ignored():
    found = find_dtmf(dial("5", 0.1, 0.1, 0.021), RATE)
    assert [key.in_tolerance for key in found] == [False]
    # ITU-T Q.24, one administration: under 23 ms is to be ignored (second hand).
    assert find_dtmf(dial("5", 0.022, 0.1), RATE) == ()


@pytest.mark.parametrize("seed", range(7, 13))
def test_a_burst_of_a_single_frame_is_no_key(seed):
    # So short a pair in noise looks like a key in one frame alone, which has no length to fit anything to.
    x = dial("5", 0.008, 0.1)
    assert find_dtmf(x + noise(len(x), 0.05, seed), RATE) == ()


@settings(max_examples=10)
@given(st.floats(-8.0, 8.0), st.floats(1e-3, 1.0))
def test_twist_is_measured_at_every_level(twist_db, size):
    found = find_dtmf(dial("6", 0.1, 0.1, 0.0, twist_db, size), RATE)
    assert found[0].twist_db == pytest.approx(twist_db, abs=0.1)


@pytest.mark.parametrize("voice", ["english_reading", "german_male"])
def test_a_voice_dials_nothing_and_calls_nobody(voice):
    speech, rate = load_voice(voice)
    assert find_dtmf(speech, rate) == ()
    runs = find_tone_runs(speech, rate)
    assert find_calls(runs) == ()
    assert find_burst(runs) is None


@pytest.mark.parametrize("tones", FIVE_TONE_SETS, ids=lambda tones: tones.name)
@pytest.mark.parametrize("digits", ["12345", "90817", "11223", "55555"])
def test_calls_of_every_set(tones, digits):
    sent, before = [], ""
    for digit in digits:
        repeated = digit == before
        sent.append(tones.repeat_hz if repeated else tones.digits_hz["1234567890".index(digit)])
        before = "" if repeated else digit
    phase, parts = 0.0, [np.zeros(3000)]
    for hz in sent:
        n = round(tones.tone_s * RATE)
        parts.append(0.2 * np.sin(phase + 2 * np.pi * hz * np.arange(n) / RATE))
        phase += 2 * np.pi * hz * n / RATE
    x = np.concatenate([*parts, np.zeros(3000)])
    found = find_calls(find_tone_runs(x + noise(len(x), 0.005), RATE))
    assert [(call.set_name, call.digits) for call in found] == [(tones.name, digits)]
    assert abs(found[0].off_percent) < 0.5
    assert found[0].tone_s == pytest.approx(tones.tone_s, rel=0.1)


@pytest.mark.parametrize(
    ("hz", "seconds", "good"),
    [(1750, 0.3, True), (1771, 0.3, True), (1780, 0.3, False), (1750, 0.6, False), (1750, 0.15, False)],
)
def test_the_burst_is_judged_on_frequency_and_length(hz, seconds, good):
    speech, rate = load_voice("english_reading")
    x = np.concatenate([np.zeros(rate // 4), tone(hz, seconds, 0.3, rate), np.zeros(800), speech[: 3 * rate]])
    burst = find_burst(find_tone_runs(x + noise(len(x), 0.01), rate))
    assert burst is not None
    assert burst.good is good
    assert burst.frequency_hz == pytest.approx(hz, abs=1.0)
    assert burst.end_s - burst.start_s == pytest.approx(seconds, abs=0.01)
    assert burst.peak_fs == pytest.approx(0.3, rel=0.03)


@pytest.mark.parametrize("at", [0.03, 0.05, 0.07])
def test_a_click_in_a_tone_makes_no_digit_of_its_halves(at):
    tones = next(each for each in FIVE_TONE_SETS if each.name == "CCIR")
    x = np.concatenate(
        [np.zeros(3000), *(tone(tones.digits_hz["1234567890".index(d)], 0.1) for d in "47905")]
    )
    x = np.concatenate([x, np.zeros(3000)])
    click_n = 3000 + round((0.2 + at) * RATE)
    x[click_n : click_n + round(0.004 * RATE)] += noise(round(0.004 * RATE), 1.0)
    (call,) = find_calls(find_tone_runs(x + noise(len(x), 0.002), RATE))
    assert call.digits == "47905"


def test_a_burst_with_clicks_in_it_is_one_burst():
    x = np.concatenate([np.zeros(4000), tone(1750.0, 0.3), np.zeros(4000)])
    for at_s in (0.07, 0.2):
        first_n = 4000 + round(at_s * RATE)
        x[first_n : first_n + 64] += noise(64, 1.0)
    burst = find_burst(find_tone_runs(x + noise(len(x), 0.002), RATE))
    assert burst.good
    assert burst.end_s - burst.start_s == pytest.approx(0.3, abs=0.01)
