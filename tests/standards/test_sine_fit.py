"""The sine fit against the Cramér-Rao bound (Rife & Boorstyn 1974, IEEE Trans. Inf. Theory 20, 591-598).

The closed forms used here are from memory; the fit is that of IEEE Std 1057.
"""

import numpy as np
import pytest

from audiotest.measure.tone import fit_sine

RATE_HZ = 48000
RUNS = 200


def bound_hz(count, snr_db):
    """Least standard deviation of the frequency of one real tone in white noise, η = A²/2σ²."""
    eta = 10 ** (snr_db / 10)
    return RATE_HZ / (2 * np.pi) * np.sqrt(12.0 / (eta * count * (count**2 - 1)))


@pytest.mark.parametrize(
    ("count", "snr_db", "bound_mhz"),
    [(4800, 20, 7.958), (4800, 40, 0.796), (48000, 20, 0.2516), (48000, 12, 0.632), (9600, 12, 7.067)],
)
def test_the_bound_itself(count, snr_db, bound_mhz):
    assert 1e3 * bound_hz(count, snr_db) == pytest.approx(bound_mhz, rel=2e-3)


@pytest.mark.parametrize(("count", "snr_db"), [(4800, 20), (4800, 40), (9600, 12)])
def test_the_fit_reaches_the_bound(count, snr_db):
    rng = np.random.default_rng(20)
    t = np.arange(count) / RATE_HZ
    sigma = np.sqrt(0.5 / 10 ** (snr_db / 10))
    errors_hz, errors_amplitude = [], []
    for _ in range(RUNS):
        hz, phase = rng.uniform(900.0, 1100.0), rng.uniform(-np.pi, np.pi)
        fit = fit_sine(np.cos(2 * np.pi * hz * t + phase) + sigma * rng.standard_normal(count), RATE_HZ)
        errors_hz.append(fit.frequency_hz - hz)
        errors_amplitude.append(fit.amplitude - 1.0)
    # A standard deviation from 200 runs is itself known to 5 %: four of those to either side.
    assert np.std(errors_hz) == pytest.approx(bound_hz(count, snr_db), rel=0.2)
    assert np.std(errors_amplitude) == pytest.approx(sigma * np.sqrt(2.0 / count), rel=0.2)
    # And no bias: the mean of 200 runs lies within four of its own standard deviations.
    assert abs(np.mean(errors_hz)) < 4 * bound_hz(count, snr_db) / np.sqrt(RUNS)


@pytest.mark.parametrize("bits", [8, 12, 16])
def test_residual_of_an_ideal_quantiser(bits):
    # Textbook: full-scale sine, 6.0206·b + 1.7609 dB over uniform quantising noise. The model is exact only
    # for many levels; with 8 bits the real noise lies within 0.1 dB of it.
    t = np.arange(RATE_HZ) / RATE_HZ
    steps = 2.0 ** (bits - 1)
    wave = np.round(np.sin(2 * np.pi * 997.0 * t) * steps) / steps
    fit = fit_sine(wave, RATE_HZ)
    ratio_db = 20 * np.log10(fit.amplitude / np.sqrt(2.0) / fit.residual_rms)
    assert ratio_db == pytest.approx(6.0206 * bits + 1.7609, abs=0.1)


def test_three_parameters_keep_the_frequency():
    t = np.arange(4800) / RATE_HZ
    wave = 0.3 * np.cos(2 * np.pi * 1000.0 * t - 1.0) - 0.05
    fit = fit_sine(wave, RATE_HZ, 1000.0)
    assert fit.frequency_hz == 1000.0
    assert (fit.amplitude, fit.phase, fit.offset) == pytest.approx((0.3, -1.0, -0.05), abs=1e-10)
    assert fit.residual_rms < 1e-12
