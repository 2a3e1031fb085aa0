"""Band limits and de-emphasis: gain, phase, noise bandwidth, ends and very short stretches."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from audiotest.measure.filters import bandpass, deemphasis, undo_deemphasis

RATES_HZ = [6000, 8000, 11025, 16000, 44100, 48000]


def tone(hz, rate_hz, seconds=1.0, phase=0.3):
    return np.cos(2 * np.pi * hz * np.arange(round(seconds * rate_hz)) / rate_hz + phase)


def response_at(network, hz, rate_hz):
    """Complex gain for one frequency, read from the middle of a second."""
    wave = np.exp(2j * np.pi * hz * np.arange(rate_hz) / rate_hz)
    out = network(wave.real) + 1j * network(wave.imag)
    inner = slice(rate_hz // 4, -rate_hz // 4)
    return np.mean(out[inner] / wave[inner])


@pytest.mark.parametrize("rate_hz", RATES_HZ)
def test_band_passes_inside_without_phase_and_stops_outside(rate_hz):
    def network(x):
        return bandpass(x, rate_hz, 300.0, 3400.0)

    for hz in (400.0, 1000.0, 2500.0):
        assert response_at(network, hz, rate_hz) == pytest.approx(1.0, abs=1e-4)
    for hz in (50.0, 100.0, 250.3):
        assert abs(response_at(network, hz, rate_hz)) < 1e-4
    assert abs(response_at(network, 300.0, rate_hz)) == pytest.approx(np.sqrt(0.5), abs=0.01)


@pytest.mark.parametrize("rate_hz", RATES_HZ)
def test_noise_bandwidth_is_the_distance_of_the_edges(rate_hz):
    rng = np.random.default_rng(6)
    noise = rng.standard_normal(30 * rate_hz)
    high_hz = min(3400.0, 0.95 * rate_hz / 2)
    share = np.mean(bandpass(noise, rate_hz, 300.0, 3400.0) ** 2)
    # 30 s of 2.5 kHz of noise: power known to 0.4 %. Where the edge meets Nyquist its skirt is cut short.
    tolerance = 0.012 if rate_hz > 2 * 1.05 * 3400.0 else 0.03
    assert share == pytest.approx((high_hz - 300.0) / (rate_hz / 2), rel=tolerance)


@pytest.mark.parametrize("count", [0, 1, 2, 3, 7, 50, 480])
def test_short_stretches_and_constants(count):
    samples = np.full(count, 0.25)
    for result in (
        bandpass(samples, 48000, 300.0, 3400.0),
        deemphasis(samples, 48000, 750.0),
        undo_deemphasis(samples, 48000, 750.0),
    ):
        assert result.shape == (count,)
        assert np.all(np.isfinite(result))
    assert np.all(np.abs(bandpass(samples, 48000, 300.0, 3400.0)) < 1e-12)


@pytest.mark.parametrize("rate_hz", [8000, 44100, 48000])
@pytest.mark.parametrize("tau_us", [50.0, 530.0, 750.0])
def test_deemphasis_has_the_analogue_magnitude_and_phase(rate_hz, tau_us):
    # First-order network 1/(1+jωτ), unity at 1 kHz (textbook); no sampled approximation is left over.
    for hz in (100.0, 300.0, 1000.0, 3000.0):
        exact = abs(1 + 2e-3j * np.pi * tau_us) / (1 + 2e-6j * np.pi * hz * tau_us)
        assert response_at(lambda x: deemphasis(x, rate_hz, tau_us), hz, rate_hz) == pytest.approx(
            exact, abs=2e-4
        )
        back = response_at(lambda x: undo_deemphasis(x, rate_hz, tau_us), hz, rate_hz)
        assert back == pytest.approx(1 / exact, rel=1e-3)


@pytest.mark.parametrize(
    ("tau_us", "gains_db"),
    [
        (50.0, (-0.37, -0.30, 1.04, 1.68, 2.35)),
        (75.0, (-0.79, -0.64, 1.89, 2.91, 3.90)),
        (530.0, (-7.82, -5.06, 5.74, 7.65, 9.21)),
        (750.0, (-8.89, -5.49, 5.88, 7.80, 9.37)),
    ],
)
def test_gain_of_usual_time_constants_relative_to_1_khz(tau_us, gains_db):
    # Closed form of the first-order network at 300, 500, 2000, 2500 and 3000 Hz. 50 and 75 µs are the
    # broadcast constants, 750 µs the usual two-way one (from memory).
    for hz, gain_db in zip((300.0, 500.0, 2000.0, 2500.0, 3000.0), gains_db, strict=True):
        gain = response_at(lambda x: undo_deemphasis(x, 48000, tau_us), hz, 48000)
        assert 20 * np.log10(abs(gain)) == pytest.approx(gain_db, abs=0.006)


@pytest.mark.parametrize("rate_hz", RATES_HZ)
def test_a_flat_feed_is_only_band_limited(rate_hz):
    def network(x):
        return undo_deemphasis(x, rate_hz, 0.0, high_hz=3600.0)

    for hz in (20.0, 100.0, 1000.0, 2700.0):
        assert response_at(network, hz, rate_hz) == pytest.approx(1.0, abs=1e-3)
    if rate_hz > 12000:
        assert abs(response_at(network, 5000.0, rate_hz)) < 1e-4
    # The mean of a discriminator's output is a frequency error: it stays.
    assert np.mean(network(np.full(rate_hz, 0.1))) == pytest.approx(0.1, rel=0.02)


@settings(max_examples=40, deadline=None)
@given(st.integers(0, 2**32 - 1), st.sampled_from(RATES_HZ), st.sampled_from([0.0, 75.0, 750.0]))
def test_undoing_restores_what_lies_in_the_band(seed, rate_hz, tau_us):
    rng = np.random.default_rng(seed)
    band = bandpass(rng.standard_normal(rate_hz // 2), rate_hz, 200.0, 2500.0)
    restored = undo_deemphasis(deemphasis(band, rate_hz, tau_us), rate_hz, tau_us)
    inner = slice(rate_hz // 10, -rate_hz // 10)
    # The ends are guessed twice; 100 ms inside nothing of that is left.
    assert np.max(np.abs((restored - band)[inner])) < 2e-3 * np.max(np.abs(band))


@settings(max_examples=30, deadline=None)
@given(st.floats(1e-3, 1e3), st.integers(0, 2**32 - 1))
def test_every_filter_is_linear(gain, seed):
    samples = np.random.default_rng(seed).standard_normal(500)
    for network in (
        lambda x: bandpass(x, 8000, 300.0, 3400.0),
        lambda x: deemphasis(x, 8000, 750.0),
        lambda x: undo_deemphasis(x, 8000, 750.0),
    ):
        assert np.allclose(network(-gain * samples), -gain * network(samples), rtol=1e-9, atol=1e-9 * gain)
