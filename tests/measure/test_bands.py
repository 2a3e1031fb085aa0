"""Band levels against Parseval's theorem and SciPy's own power spectral density."""

import itertools

import numpy as np
import pytest
from scipy.signal import welch

from audiotest.measure.bands import band_frames, plan_bands


@pytest.mark.parametrize("rate_hz", [8000, 44100, 48000])
def test_band_levels_equal_the_integrated_density_of_scipy(rate_hz):
    # Reference library: scipy.signal.welch, density integrated over the band.
    rng = np.random.default_rng(3)
    samples = 0.1 * rng.standard_normal(20 * rate_hz)
    plan = plan_bands(rate_hz)
    frames = band_frames(samples, plan)
    hz, density = welch(samples, rate_hz, nperseg=plan.window_n)
    edges = [*plan.first_bins, plan.end_bin]
    for band, (low, high) in enumerate(itertools.pairwise(edges)):
        expected_db = 10 * np.log10(np.sum(density[low:high]) * (hz[1] - hz[0]))
        measured_db = 10 * np.log10(np.mean(10 ** (frames.levels_db[:, band] / 10)))
        # 2000 half-overlapped frames of a band of 12 bins or more: s.d. below 0.05 dB.
        assert measured_db == pytest.approx(expected_db, abs=0.15)


def test_a_tone_is_not_flat_and_noise_is():
    rate_hz = 48000
    rng = np.random.default_rng(4)
    plan = plan_bands(rate_hz)
    noise = band_frames(rng.standard_normal(rate_hz), plan).flatness_db
    tone = band_frames(np.sin(2 * np.pi * 1234.0 * np.arange(rate_hz) / rate_hz), plan).flatness_db
    # E[ln of an exponential variable] is minus Euler's constant: -2.51 dB for noise.
    assert np.mean(noise[:, -1]) == pytest.approx(-2.51, abs=0.15)
    assert np.max(tone[:, 2]) < -10.0


@pytest.mark.parametrize("rate_hz", [8000, 44100, 48000, 384000])
def test_groups_of_eight_frames_give_the_same_bits_as_all_at_once(rate_hz):
    rng = np.random.default_rng(5)
    samples = rng.standard_normal(rate_hz).astype(np.float32)
    plan = plan_bands(rate_hz)
    whole = band_frames(samples, plan).levels_db
    for group in range(len(whole) // 8):
        start = group * 8 * plan.hop_n
        part = band_frames(samples[start : start + 7 * plan.hop_n + plan.window_n], plan).levels_db
        assert np.array_equal(part, whole[group * 8 : group * 8 + 8])


def test_silence_and_short_clips_have_levels_without_a_warning():
    plan = plan_bands(48000)
    assert band_frames(np.zeros(100), plan).levels_db.shape == (0, 11)
    assert np.all(band_frames(np.zeros(4800), plan).levels_db < -120.0)
