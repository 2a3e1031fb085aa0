"""Peak, RMS, offset, and what is and what is not an overload of the sound card."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from audiotest.measure.level import OverloadCounter, dc_percent_fs, overload_runs, peak_dbfs, rms_dbfs

RATE_HZ = 48000
T = np.arange(RATE_HZ) / RATE_HZ


def quantised(samples, bits):
    steps = 2.0 ** (bits - 1)
    return np.clip(np.round(samples * steps), -steps, steps - 1) / steps


def test_levels_of_a_full_scale_sine_by_definition():
    sine = np.sin(2 * np.pi * 1000 * T)
    assert peak_dbfs(sine) == pytest.approx(0.0, abs=1e-6)
    assert rms_dbfs(sine) == pytest.approx(-3.0103, abs=1e-3)
    assert dc_percent_fs(sine + 0.02) == pytest.approx(2.0, abs=1e-6)
    assert peak_dbfs(np.zeros(10)) is None
    assert rms_dbfs(np.zeros(0)) is None


@pytest.mark.parametrize("bits", [8, 16, 24])
@pytest.mark.parametrize("frequency_hz", [50.0, 440.0, 997.0, 2500.0])
@pytest.mark.parametrize("level", [0.1, 0.5, 0.99])
def test_a_crest_is_not_an_overload(bits, frequency_hz, level):
    assert overload_runs(quantised(level * np.sin(2 * np.pi * frequency_hz * T), bits)) == 0


@pytest.mark.parametrize("bits", [16, 24, None])
@pytest.mark.parametrize("frequency_hz", [203.7, 441.3, 997.1])
@pytest.mark.parametrize("ceiling", [1.0, 0.93, 0.5])
@pytest.mark.parametrize("drive_db", [3.0, 12.0])
def test_every_clipped_half_wave_is_counted(bits, frequency_hz, ceiling, drive_db):
    wave = np.clip(10 ** (drive_db / 20) * np.sin(2 * np.pi * frequency_hz * T + 0.1), -1.0, 1.0) * ceiling
    wave = wave if bits is None else quantised(wave, bits)
    half_waves = 2 * frequency_hz
    assert overload_runs(wave) == pytest.approx(half_waves, abs=3)


@pytest.mark.parametrize("frequency_hz", [440.0, 997.0])
def test_eight_bits_show_a_hard_overload(frequency_hz):
    # With 128 codes a slow, slight overload looks like a crest: steps of two codes. 12 dB over is plain.
    wave = quantised(np.clip(4.0 * np.sin(2 * np.pi * frequency_hz * T + 0.1), -1.0, 1.0), 8)
    assert overload_runs(wave) == pytest.approx(2 * frequency_hz, abs=2)


def test_one_side_is_enough():
    wave = np.minimum(1.5 * np.sin(2 * np.pi * 300 * T), 0.9)
    assert overload_runs(wave) == pytest.approx(300, abs=1)


@pytest.mark.parametrize("samples", [np.zeros(1000), np.full(1000, 0.5), np.array([0.3]), np.zeros(0)])
def test_nothing_to_overload(samples):
    assert overload_runs(samples) == 0


def test_noise_has_none_and_clipped_noise_has():
    rng = np.random.default_rng(1)
    noise = quantised(0.2 * rng.standard_normal(RATE_HZ), 16)
    assert overload_runs(noise) == 0
    smooth = np.convolve(rng.standard_normal(RATE_HZ), np.ones(16) / 16, "same")
    assert overload_runs(np.clip(smooth, -0.3, 0.3)) > 100


@settings(max_examples=60, deadline=None)
@given(
    st.lists(st.integers(0, 400), max_size=30),
    st.integers(0, 2**32 - 1),
    st.sampled_from([0.3, 1.0, 3.0]),
    st.sampled_from([3, 6, 16]),
)
def test_cutting_the_stream_changes_nothing(cuts, seed, gain, bits):
    rng = np.random.default_rng(seed)
    smooth = np.convolve(rng.standard_normal(1500), np.ones(8) / 4, "same")
    wave = quantised(np.clip(gain * smooth, -1, 1), bits)
    counter, at = OverloadCounter(), 0
    for cut in cuts:
        counter.push(wave[at : at + cut])
        at += cut
    counter.push(wave[at:])
    assert counter.runs == overload_runs(wave)


@pytest.mark.parametrize("bits", [8, 16, None])
@pytest.mark.parametrize("frequency_hz", [50.0, 100.0, 300.0, 400.0, 1000.0])
@pytest.mark.parametrize("drive_db", [0.5, 3.0, 20.0])
def test_tones_that_divide_the_sampling_clock_are_counted_too(bits, frequency_hz, drive_db):
    # Each period is the same, so the codes in between the steps of one period never occur at all.
    wave = 0.93 * np.clip(10 ** (drive_db / 20) * np.sin(2 * np.pi * frequency_hz * T + 0.1), -1.0, 1.0)
    wave = wave if bits is None else quantised(wave, bits)
    assert overload_runs(wave) == pytest.approx(2 * frequency_hz, abs=2)


def companded(samples):
    """ITU-T G.711's µ-law, µ = 255, with 8 bits: its steps are coarse at the top and fine below."""
    code = np.round(127 * np.sign(samples) * np.log1p(255 * np.abs(samples)) / np.log(256)) / 127
    return np.sign(code) * np.expm1(np.abs(code) * np.log(256)) / 255


@pytest.mark.parametrize("frequency_hz", [50.0, 200.0, 330.0])
@pytest.mark.parametrize("level", [0.3, 0.8, 1.0])
def test_a_crest_through_a_coarse_compander_is_not_an_overload(frequency_hz, level):
    t = np.arange(16000) / 8000
    assert overload_runs(companded(level * np.sin(2 * np.pi * frequency_hz * t))) == 0


def test_quiet_recordings_and_dithered_offsets_overload_nothing():
    rng = np.random.default_rng(2)
    assert overload_runs(quantised(3e-4 * np.sin(2 * np.pi * 200 * T), 16)) == 0
    assert overload_runs(quantised(0.5 + 1e-4 * rng.standard_normal(RATE_HZ), 16)) == 0
    assert overload_runs(quantised(1e-4 * rng.standard_normal(RATE_HZ), 16)) == 0


def test_only_runs_at_the_final_extreme_count():
    clipped = np.clip(1.5 * np.sin(2 * np.pi * 300 * T), -0.5, 0.5)
    later = 0.8 * np.sin(2 * np.pi * 307 * T)
    counter = OverloadCounter()
    counter.push(clipped)
    assert counter.runs == pytest.approx(600, abs=2)
    counter.push(later)
    assert counter.runs == 0
