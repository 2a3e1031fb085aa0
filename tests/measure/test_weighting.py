"""Weighting networks on samples; the curves themselves are checked against their standards elsewhere."""

import numpy as np
import pytest

from audiotest.measure.filters import bandpass
from audiotest.measure.weighting import apply_weighting, weight_db, weight_gain

NAMES = ["psophometric", "c_message", "a", "c", "bs468"]


@pytest.mark.parametrize("name", NAMES)
def test_curves_are_finite_and_stop_the_mean(name):
    hz = np.array([0.0, 1e-6, 1.0, 24000.0, 96000.0])
    assert np.all(np.isfinite(weight_db(name, hz)))
    assert weight_gain(name, hz)[0] == 0.0
    assert np.all(weight_gain(name, hz) < 1.0)


@pytest.mark.parametrize("name", NAMES)
@pytest.mark.parametrize("count", [0, 1, 2, 10])
def test_short_stretches(name, count):
    result = apply_weighting(np.ones(count), 8000, name)
    assert result.shape == (count,)
    assert np.all(np.isfinite(result))


@pytest.mark.parametrize("rate_hz", [8000, 44100, 48000])
def test_flat_noise_loses_two_and_a_half_decibels_psophometrically(rate_hz):
    # ITU-T O.41 (10/94): flat noise in 300-3400 Hz changes by -2.51 dB (integral over its table).
    noise = np.random.default_rng(7).standard_normal(30 * rate_hz)
    band = bandpass(noise, rate_hz, 300.0, 3400.0)
    weighted = apply_weighting(band, rate_hz, "psophometric")
    change_db = 10 * np.log10(np.mean(weighted**2) / np.mean(band**2))
    assert change_db == pytest.approx(-2.51, abs=0.06)


@pytest.mark.parametrize("name", NAMES)
def test_a_gain_and_a_polarity_pass_through(name):
    samples = np.random.default_rng(8).standard_normal(4000)
    plain = apply_weighting(samples, 16000, name)
    assert np.allclose(apply_weighting(-3.0 * samples, 16000, name), -3.0 * plain, atol=1e-9)
