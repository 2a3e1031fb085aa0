"""Sensitivity against tables of SINAD over level, and the relations between RF units."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from audiotest.errors import MeasureError
from audiotest.measure.sensitivity import (
    LevelReading,
    dbm_of_microvolt,
    level_crossing,
    rf_level,
    sinad_crossing,
    squelch_levels,
)
from audiotest.measure.sinad import SinadMeter, read_sinad, sinad_readings
from audiotest.measure.tone import measure_tone
from audiotest.radio.voices import load_voice

CNR_DB = np.array([3.0, 5.0, 6.0, 7.0, 8.0, 10.0, 12.0, 15.0, 20.0])
NARROW_DB = np.array([2.7, 5.8, 8.1, 10.6, 12.6, 15.2, 17.3, 20.3, 25.3])
"""SINAD over carrier-to-noise ratio of an 8 kHz IF, 1.5 kHz deviation; simulated, ±0.1 dB."""


def readings(level, value, sd, rng=None):
    noise = np.zeros(len(value)) if rng is None else rng.normal(0.0, sd, len(value))
    return [
        LevelReading(level_dbm=float(x), value_db=float(y), sd_db=sd)
        for x, y in zip(level, value + noise, strict=True)
    ]


def test_twelve_and_twenty_db_of_a_knee_without_scatter():
    found = sinad_crossing(readings(CNR_DB - 125.0, NARROW_DB, 0.1), 12.0)
    # linear between 7 and 8 dB: 7.70
    assert found.level_dbm + 125.0 == pytest.approx(7.70, abs=0.15)
    assert found.low_dbm < found.level_dbm < found.high_dbm
    twenty = sinad_crossing(readings(CNR_DB - 125.0, NARROW_DB, 0.1), 20.0)
    assert twenty.level_dbm + 125.0 == pytest.approx(14.7, abs=0.15)


def test_the_interval_holds_the_truth_as_often_as_it_says():
    rng = np.random.default_rng(3)
    level = np.arange(-121.0, -113.0, 1.0)
    curve = np.interp(level, CNR_DB - 125.0, NARROW_DB)
    # A smooth curve through the knee: the truth is where its quadratic passes 12 dB of SINAD.
    ratio = 10.0 * np.log10(10.0 ** (curve / 10.0) - 1.0)
    smooth = np.polyval(np.polyfit(level + 117.0, ratio, 2), level + 117.0)
    sinad = 10.0 * np.log10(1.0 + 10.0 ** (smooth / 10.0))
    truth = sinad_crossing(readings(level, sinad, 0.001), 12.0).level_dbm
    inside = 0
    for _ in range(200):
        found = sinad_crossing(readings(level, sinad, 0.3, rng), 12.0)
        inside += found.low_dbm <= truth <= found.high_dbm
    assert 180 <= inside <= 200  # 95 % of 200 is 190, standard deviation 3


def test_nothing_is_extrapolated():
    with pytest.raises(MeasureError, match="not between"):
        sinad_crossing(readings([-110.0, -108.0, -106.0], np.array([15.0, 17.0, 19.0]), 0.1))
    with pytest.raises(MeasureError, match="not between"):
        sinad_crossing(readings([-116.0, -110.0], np.array([10.0, 14.0]), 0.1))
    with pytest.raises(MeasureError):
        level_crossing(readings([-110.0, -108.0, -106.0], np.array([24.0, 20.0, 16.0]), 0.1), 20.5)


@given(st.floats(-140.0, 10.0))
def test_microvolts_and_dbm_are_inverses(dbm):
    assert dbm_of_microvolt(rf_level(dbm).microvolt_pd) == pytest.approx(dbm, abs=1e-9)


def test_s9_is_fifty_microvolts():
    # IARU Region 1 recommendation R.1: S9 is -73 dBm, 50 µV in 50 Ω.
    assert rf_level(-73.0).microvolt_pd == pytest.approx(50.0, rel=0.005)
    assert rf_level(-73.0).dbuv_emf == pytest.approx(40.0, abs=0.05)


def test_squelch_of_two_passes_with_chatter():
    up = [(-126.0 + k, k >= 4) for k in range(6)]
    down = [(-121.0 - k, k <= 3) for k in range(6)]
    found = squelch_levels([*up, *down, *up, *down])
    assert (found.opening_dbm, found.closing_dbm, found.hysteresis_db) == (-122.0, -125.0, 3.0)
    assert (found.openings_n, found.closings_n) == (2, 2)
    shut = squelch_levels([(-126.0, False), (-120.0, False)])
    assert shut.opening_dbm is None
    assert shut.hysteresis_db is None


RATE = 16000


def noisy_tone(sinad_db, seconds, seed):
    """A tone in white noise whose share in 300-3400 Hz makes the SINAD that is asked for."""
    rng = np.random.default_rng(seed)
    n = round(seconds * RATE)
    ratio = 10.0 ** (sinad_db / 10.0) - 1.0
    noise = 0.02 * rng.standard_normal(n)
    power = 0.02**2 * 3100.0 / (RATE / 2.0)
    return np.sqrt(2.0 * ratio * power) * np.sin(2 * np.pi * 1003.0 * np.arange(n) / RATE) + noise


@pytest.mark.parametrize("sinad_db", [3.0, 12.0, 20.0])
def test_readings_scatter_as_they_say(sinad_db):
    rows = [read_sinad(noisy_tone(sinad_db, 1.0, seed), RATE) for seed in range(60)]
    value = np.array([row.sinad_db for row in rows])
    said = np.median([row.sinad_sd_db for row in rows])
    assert np.mean(value) == pytest.approx(sinad_db, abs=4.0 * said / np.sqrt(60) + 0.01)
    # The standard deviation of 60 readings is known to 9 %.
    assert said == pytest.approx(np.std(value, ddof=1), rel=0.3)


@settings(max_examples=10)
@given(st.floats(1e-3, 1e3), st.sampled_from([1.0, -1.0]), st.floats(-0.5, 0.5))
def test_a_ratio_does_not_care_for_gain_polarity_or_offset(gain, sign, offset):
    x = noisy_tone(12.0, 0.5, 4)
    plain, other = read_sinad(x, RATE), read_sinad(sign * gain * (x + offset * np.std(x)), RATE)
    assert other.sinad_db == pytest.approx(plain.sinad_db, abs=1e-3)
    assert other.psophometric_db == pytest.approx(plain.psophometric_db, abs=1e-3)
    assert other.sinad_sd_db == pytest.approx(plain.sinad_sd_db, rel=0.02)


def test_a_reading_agrees_with_the_tone_measurement():
    x = noisy_tone(15.0, 1.0, 1)
    whole, row = measure_tone(x, RATE), read_sinad(x, RATE)
    # Not the same stretch: the tone measurement leaves out both ends. One standard deviation of the reading.
    assert row.sinad_db == pytest.approx(whole.sinad_db, abs=row.sinad_sd_db)
    assert row.psophometric_db == pytest.approx(whole.sinad_psophometric_db, abs=row.psophometric_sd_db)
    assert row.level_dbfs == pytest.approx(whole.level_dbfs, abs=0.02)


@pytest.mark.parametrize("block_n", [37, 1600, 20000])
def test_a_stream_reads_as_a_recording_at_every_block_size(block_n):
    x = noisy_tone(12.0, 2.4, 2)
    meter = SinadMeter(RATE)
    found = [row for at in range(0, len(x), block_n) for row in meter.push(x[at : at + block_n])]
    assert found == list(sinad_readings(x, RATE))
    assert len(found) == 8
    assert np.diff([row.time_s for row in found]) == pytest.approx(0.2)


def test_silence_and_a_clean_tone():
    silent = SinadMeter(RATE).push(np.zeros(2 * RATE))
    assert len(silent) == 6
    assert all(row.sinad_db is None and row.level_dbfs is None and "no audio" in row.reason for row in silent)
    clean = read_sinad(0.1 * np.sin(2 * np.pi * 1000.0 * np.arange(RATE) / RATE), RATE)
    # Nothing is left but rounding, and that is no noise.
    assert (clean.sinad_db, clean.reason) == (None, "")
    with pytest.raises(MeasureError, match="too short"):
        read_sinad(np.zeros(100), RATE)


@pytest.mark.parametrize("voice", ["english_address", "italian_male", "hiss"])
def test_what_is_no_tone_has_no_sinad(voice):
    x, rate = load_voice(voice) if voice != "hiss" else (noisy_tone(0.0, 20.0, 3), RATE)
    rows = list(sinad_readings(x[: 20 * rate], rate))
    assert len(rows) > 40
    for row in rows:
        assert row.frequency_hz is None
        assert row.sinad_db is None
        assert row.sinad_sd_db is None
        assert row.psophometric_db is None
        assert row.reason == "no steady tone near 1000 Hz"


def test_a_tone_that_can_just_be_heard_still_reads():
    rows = list(sinad_readings(noisy_tone(1.0, 10.0, 5), RATE, window_s=0.5))
    assert [row.sinad_db for row in rows] == [pytest.approx(1.0, abs=0.5)] * len(rows)


@pytest.mark.parametrize(
    ("dbm", "across_uv", "emf_uv", "emf_dbuv"),
    [
        # By hand: 0.5 uV across 50 ohms are 0.25e-12 / 50 = 5e-15 W = 5e-12 mW, 10 lg of which is -113.01;
        # the generator's e.m.f. is twice that, 1 uV, which is 0 dBuV.
        (-113.0103, 0.5, 1.0, 0.0),
        # 1 uV across 50 ohms: 1e-12 / 50 = 2e-14 W = 2e-11 mW.
        (-106.9897, 1.0, 2.0, 6.0206),
        # 0.224 uV: 5.0176e-14 / 50 = 1.00352e-15 W, a picowatt less 30 dB and 0.0153 dB.
        (-119.9847, 0.224, 0.448, -6.9744),
        # 1 mW into 50 ohms: U = sqrt(0.05) = 0.223607 V.
        (0.0, 223606.8, 447213.6, 113.0103),
        # 50 uV, S9 below 30 MHz: 2.5e-9 / 50 = 5e-11 W = 5e-8 mW.
        (-73.0103, 50.0, 100.0, 40.0),
    ],
)
def test_units_of_a_generator_s_level_worked_by_hand(dbm, across_uv, emf_uv, emf_dbuv):
    level = rf_level(dbm)
    assert level.microvolt_pd == pytest.approx(across_uv, rel=2e-5)
    assert level.microvolt_emf == pytest.approx(emf_uv, rel=2e-5)
    assert level.dbuv_emf == pytest.approx(emf_dbuv, abs=2e-4)
    assert dbm_of_microvolt(across_uv) == pytest.approx(dbm, abs=2e-4)


def test_a_mark_that_was_not_reached_names_no_other_figure():
    # 12 dB SINAD is 11.7 dB of S/(N+D): the ratio that is fitted is nobody's mark.
    with pytest.raises(MeasureError) as refused:
        sinad_crossing(readings([-110.0, -108.0, -106.0], np.array([15.0, 17.0, 19.0]), 0.1), 12.0)
    assert "11.7" not in str(refused.value)
