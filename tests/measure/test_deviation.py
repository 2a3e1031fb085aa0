"""Peaks under noise: the correction against the truth known by construction."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.signal import butter, sosfilt

from audiotest.measure.deviation import Swing, by_model, measure_swing, with_model
from audiotest.measure.limiter import Drive

RATE_HZ = 48000


def _noise(seconds, seed):
    # The FM noise triangle: differentiated white noise below the audio low-pass.
    rng = np.random.default_rng(seed)
    shaped = np.diff(rng.standard_normal(round(seconds * RATE_HZ) + 1))
    band = sosfilt(butter(4, 3000, fs=RATE_HZ, output="sos"), shaped)
    return band / np.std(band)


@pytest.mark.parametrize("snr_db", [40, 30, 20])
def test_the_correction_takes_out_more_than_half_of_the_noise_in_p999(snr_db):
    # A tone is the hardest case: it dwells at its crest, so noise lifts p999 the most (1, 5 and 17 %).
    tone = np.sin(2 * np.pi * 1000.3 * np.arange(RATE_HZ) / RATE_HZ)
    sigma = 10 ** (-snr_db / 20) / np.sqrt(2)
    plain, corrected = [], []
    for seed in range(6):
        noisy = tone + sigma * _noise(1.0, seed)
        swing = measure_swing(noisy, RATE_HZ, sigma * _noise(0.5, seed + 100))
        plain.append(measure_swing(noisy, RATE_HZ, None).p999 - 1.0)
        corrected.append(swing.p999 - 1.0)
        assert swing.peak >= swing.p999
    assert abs(np.mean(corrected)) < 0.5 * np.mean(plain)


def test_both_sides_are_kept_apart():
    ramp = np.tile(np.linspace(-1.0, 2.0, 480), 100)
    swing = measure_swing(ramp, RATE_HZ, None)
    assert swing.positive == pytest.approx(2.0)
    assert swing.negative == pytest.approx(1.0)
    assert swing.rms == pytest.approx(np.sqrt(np.mean(ramp**2)))


def test_too_short_is_not_measured():
    assert measure_swing(np.ones(100), RATE_HZ, None) is None


def drive_of(drive_db, ratio):
    return Drive(
        drive_db=drive_db, low_db=drive_db, high_db=drive_db, clipped_fraction=0.1,
        p999_ratio=ratio, peak_ratio=ratio, automatic_gain=False,
    )  # fmt: skip


def swing_of(peak):
    return Swing(peak, peak, 0.5, peak, peak)


ACTIVE = np.full(8000, 1.0)
# Peaks 3.01 dB apart: a disagreement of 3 dB takes a fifth of the weight.
APART = 2.0**0.5


@pytest.mark.parametrize(("drive_db", "weight"), [(-4.0, 0.4), (7.5, 0.2), (20.0, 0.0)])
def test_the_harder_the_limiter_acts_the_less_a_higher_peak_heard_counts(drive_db, weight):
    found = with_model(swing_of(2.0 * APART), ACTIVE, drive_of(drive_db, 2.0))
    assert found.peak == pytest.approx(2.0 * APART**weight, rel=0.002)
    assert found.p999 == pytest.approx(found.peak)


def test_behind_a_receiver_without_filters_a_higher_peak_heard_counts_at_every_drive():
    bare = replace(swing_of(2.0 * APART), unfiltered=True)
    for drive_db in (-4.0, 20.0):
        found = with_model(bare, ACTIVE, drive_of(drive_db, 2.0))
        assert found.peak == pytest.approx(2.0 * APART**0.4, rel=0.002)


@pytest.mark.parametrize("drive_db", [-4.0, 7.5, 20.0])
def test_a_lower_peak_heard_counts_at_every_drive_with_and_without_hiss(drive_db):
    """Filters and noise make peaks taller, never lower: a receiver that has none of them is not doubted."""
    heard, drive = swing_of(2.0 / APART), drive_of(drive_db, 2.0)
    for found in (with_model(heard, ACTIVE, drive), by_model(ACTIVE, heard, drive)):
        assert found.peak == pytest.approx(2.0 / APART**0.4, rel=0.002)
        assert found.p999 == pytest.approx(found.peak)


def test_what_the_model_expects_beyond_all_that_was_heard_is_no_deviation():
    """Filters undone, noise left in: what was sent is no higher than that, but for 1 dB above the band."""
    drive = drive_of(5.0, 2.0)
    wave = np.tile(np.array([1.05, -1.05]), 4000)
    sent = measure_swing(wave, RATE_HZ // 8, None)
    assert (sent.noisy_peak, sent.noisy_p999) == pytest.approx((1.05, 1.05))
    found = with_model(sent, ACTIVE, drive)
    # Half way, less a little for the disagreement of 1 dB, from 1.05 to 1 dB above it.
    assert found.peak == pytest.approx(1.05 * 10 ** (0.513 / 20), rel=0.002)
    # Unknown filters may have taken some: then the model may expect more.
    assert by_model(ACTIVE, sent, drive).peak > 1.4


def test_without_hiss_a_higher_peak_heard_says_nothing():
    found = by_model(ACTIVE, swing_of(2.0 * APART), drive_of(5.0, 2.0))
    assert found.peak == found.p999 == pytest.approx(2.0)
