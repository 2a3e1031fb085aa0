"""Limiting curves, response masks and two tones against closed forms."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from audiotest.errors import MeasureError
from audiotest.measure.limiting import fit_limiting
from audiotest.measure.response import EMPHASIS_DB_PER_OCTAVE, judge_response, mask_db
from audiotest.measure.twotone import measure_two_tone

THETA = (np.arange(4000) + 0.5) * np.pi / 4000


def fundamental(shape, levels, onset, threshold_khz):
    u = np.sqrt(1.0) * (np.asarray(levels) / onset)[:, None] * np.sin(THETA)
    return threshold_khz * 2.0 * np.mean(shape(u) * np.sin(THETA), axis=1)


def hard(u):
    return np.minimum(u, 1.0)


LEVELS = 2.0 * 10.0 ** (np.arange(-20.0, 20.1, 2.0) / 20.0)


@settings(max_examples=20)
@given(st.floats(0.5, 8.0), st.floats(0.5, 5.0))
def test_a_hard_limiter_wherever_it_sets_in(onset, threshold):
    found = fit_limiting(LEVELS, fundamental(hard, LEVELS, onset, threshold))
    assert found.kind == "clipping"
    assert 20 * math.log10(found.onset_mv / onset) == pytest.approx(0.0, abs=0.05)
    assert found.threshold_khz == pytest.approx(threshold, rel=0.01)
    # Where b1 of a hard-clipped sine is 1 dB down: 2.0 dB of overdrive, from the closed form.
    assert found.knee_db == pytest.approx(2.0, abs=0.1)


@pytest.mark.parametrize("p", [2.0, 4.0, 8.0])
def test_soft_limiters_keep_their_onset_and_show_their_knee(p):
    khz = fundamental(lambda u: u / (1 + u**p) ** (1 / p), LEVELS, 2.0, 2.0)
    rng = np.random.default_rng(1)
    found = fit_limiting(LEVELS, khz * 10 ** (rng.normal(0, 0.02, len(khz)) / 20))
    assert 20 * math.log10(found.onset_mv / 2.0) == pytest.approx(0.0, abs=0.15)
    assert found.knee == pytest.approx(p, rel=0.26)


@settings(max_examples=25, deadline=None)
@given(st.floats(1.55, 40.0))
def test_the_level_that_is_1_db_down_is_right_for_every_sharpness(p):
    """Not only for the exponents that are tried: held against the curve itself, its 1 dB by interpolation."""
    khz = fundamental(lambda u: u / (1 + u**p) ** (1 / p), LEVELS, 2.0, 2.0)
    fine_db = np.arange(-16.0, 6.0, 0.02)
    fine = fundamental(lambda u: u / (1 + u**p) ** (1 / p), 2.0 * 10 ** (fine_db / 20), 2.0, 2.0)
    true_db = float(np.interp(1.0, fine_db - 20 * np.log10(fine / 2.0), fine_db))
    assert fit_limiting(LEVELS, khz).knee_db == pytest.approx(true_db, abs=0.3)


def test_a_level_control_is_told_from_a_clipper():
    khz = 0.8 * np.minimum(LEVELS, 3.0)
    found = fit_limiting(LEVELS, khz)
    assert found.kind == "levelling"
    assert found.onset_mv == pytest.approx(3.0, rel=0.01)


@pytest.mark.parametrize("noise", [0.01, 0.03, 0.06, 0.12])
@pytest.mark.parametrize("slope", [0.0, 0.025, 0.055])
def test_a_set_s_own_noise_does_not_move_a_level_control_s_onset(noise, slope):
    """Tone and noise are held together, closed form: T·(tone / (tone + noise))^(1-slope) and the slope."""
    held = np.maximum(LEVELS / 3.0 + noise, 1.0)
    found = fit_limiting(LEVELS, 0.8 * LEVELS / held ** (1.0 - slope))
    assert found.kind == "levelling"
    assert 20 * math.log10(found.onset_mv / 3.0) == pytest.approx(0.0, abs=0.15)
    assert found.knee_db == pytest.approx(1.0 / (1.0 - slope), abs=0.03)


def test_what_is_no_limiting_curve():
    with pytest.raises(MeasureError, match="not set in"):
        fit_limiting(LEVELS, 0.3 * LEVELS)
    with pytest.raises(MeasureError, match="too few"):
        fit_limiting([1.0, 2.0], [1.0, 2.0])
    with pytest.raises(MeasureError, match="no limiter fits"):
        fit_limiting(
            LEVELS, 0.5 + 0.4 * np.sin(np.arange(len(LEVELS))) * np.exp(-0.1 * np.arange(len(LEVELS)))
        )


def test_the_mask_and_a_real_pre_emphasis():
    hz = [300.0, 500.0, 1000.0, 2000.0, 3000.0]
    # First-order 750 µs network re 1 kHz, closed form: -8.89, -5.49, 0, 5.88, 9.37 dB.
    gain = [abs(1 + 2j * math.pi * f * 750e-6) for f in hz]
    found = judge_response(hz, gain, EMPHASIS_DB_PER_OCTAVE)
    assert [p.response_db for p in found.points] == pytest.approx([-8.89, -5.49, 0.0, 5.88, 9.37], abs=0.01)
    # 300 Hz is 1.57 dB above the ideal slope: outside +1 dB.
    assert not found.inside
    assert found.worst.frequency_hz == 300.0
    assert found.worst.margin_db == pytest.approx(-0.57, abs=0.01)
    assert judge_response(hz, [f / 1000 for f in hz], EMPHASIS_DB_PER_OCTAVE).inside
    assert mask_db(300.0, 0.0)[0] == pytest.approx(-3.0 - 6.0 * math.log2(500 / 300))
    with pytest.raises(MeasureError):
        judge_response([300.0, 500.0], [1.0, 1.0], 0.0)


def test_two_tones_through_a_cubic():
    rate, n = 48000, 24000
    t = np.arange(n) / rate
    x = 0.3 * np.sin(2 * np.pi * 1000.3 * t) + 0.3 * np.sin(2 * np.pi * 1599.1 * t)
    rng = np.random.default_rng(1)
    found = measure_two_tone(x + 0.1 * x**2 - 0.2 * x**3 + rng.normal(0, 1e-3, n), rate, 1000.0, 1600.0)
    assert found.low_hz == pytest.approx(1000.3, abs=0.02)
    assert found.high_hz == pytest.approx(1599.1, abs=0.02)
    # Closed form: 2f1-f2 is 3/4·c·a³ each, f2-f1 and f1+f2 are b·a² each.
    third = 0.75 * 0.2 * 0.3**3
    second = 0.1 * 0.3**2
    whole = found.low + found.high
    assert found.third_order_db == pytest.approx(20 * math.log10(third * math.sqrt(2) / whole), abs=0.2)
    assert found.second_order_db == pytest.approx(20 * math.log10(second * math.sqrt(2) / whole), abs=0.2)
    with pytest.raises(MeasureError, match="not heard"):
        measure_two_tone(0.3 * np.sin(2 * np.pi * 1000.0 * t), rate, 1000.0, 1600.0)
