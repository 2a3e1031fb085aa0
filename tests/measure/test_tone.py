"""Tone or not, and what is read from one: every rate, drift, noise, voices and near misses."""

from pathlib import Path

import numpy as np
import pytest
import soundfile
from hypothesis import given, settings
from hypothesis import strategies as st

from audiotest.errors import MeasureError
from audiotest.measure.filters import bandpass, deemphasis
from audiotest.measure.tone import find_steady_tone, fit_sine, measure_tone

RATES_HZ = [6000, 8000, 16000, 44100, 48000]
SPEECH = sorted((Path(__file__).parents[2] / "fixtures" / "speech").glob("*.flac"))


def sine(hz, rate_hz, seconds, amplitude=0.3, phase=0.4):
    return amplitude * np.cos(2 * np.pi * hz * np.arange(round(seconds * rate_hz)) / rate_hz + phase)


def band_noise(count, rate_hz, rng, tau_us=0.0):
    noise = deemphasis(rng.standard_normal(count), rate_hz, tau_us)
    return noise / np.sqrt(np.mean(bandpass(noise, rate_hz, 300.0, 3400.0) ** 2))


def voiced(rate_hz, seconds, rng, *, pitch_hz, glide_hz_s, tremor):
    """Harmonics of a gliding pitch under two formants, swelling and fading five times a second."""
    t = np.arange(round(seconds * rate_hz)) / rate_hz
    pitch = pitch_hz + glide_hz_s * t + tremor * pitch_hz * np.sin(2 * np.pi * 5.0 * t + rng.uniform(0, 6))
    turn = 2 * np.pi * np.cumsum(pitch) / rate_hz
    wave = np.zeros(len(t))
    for order in range(1, int(3400 / np.max(pitch))):
        hz = order * pitch_hz
        weight = 1 / (1 + ((hz - 600) / 120) ** 2) + 0.4 / (1 + ((hz - 1800) / 150) ** 2)
        wave += weight * np.cos(order * turn + rng.uniform(0, 6))
    return 0.1 * wave * (1.0 + 0.7 * np.sin(2 * np.pi * 4.0 * t + rng.uniform(0, 6)))


@pytest.mark.parametrize("rate_hz", RATES_HZ)
@pytest.mark.parametrize("hz", [300.0, 400.0, 997.0, 1000.0, 1750.0, 2500.0])
@pytest.mark.parametrize("seconds", [0.25, 1.0, 2.2])
def test_a_clean_tone_is_found_and_read(rate_hz, hz, seconds):
    samples = sine(hz, rate_hz, seconds)
    found_hz = find_steady_tone(samples, rate_hz)
    assert found_hz == pytest.approx(hz, abs=0.5)
    tone = measure_tone(samples, rate_hz)
    assert tone.frequency_hz == pytest.approx(hz, abs=1e-4)
    assert tone.level_dbfs == pytest.approx(20 * np.log10(0.3 / np.sqrt(2)), abs=1e-4)
    # Nothing is left but rounding, and that is no noise.
    assert tone.sinad_db is None
    harmonic_in_band = 2.0 * hz < 3400.0 and 2.0 * hz < rate_hz / 2.0
    assert (tone.thd_percent is not None) == harmonic_in_band
    assert (tone.thd_percent or 0.0) < 1e-3
    assert len(tone.harmonics_db) == 9


def test_a_full_scale_sine_is_minus_three_decibels():
    # The definition of the level: RMS re full scale 1.0.
    assert measure_tone(sine(1000.0, 48000, 1.0, amplitude=1.0), 48000).level_dbfs == pytest.approx(
        -3.0103, abs=1e-4
    )


@pytest.mark.parametrize("tau_us", [0.0, 750.0])
@pytest.mark.parametrize("rate_hz", [8000, 48000])
@pytest.mark.parametrize("seconds", [0.25, 0.3, 1.0, 3.0])
def test_a_tone_at_6_db_sinad_is_found(rate_hz, seconds, tau_us):
    rng = np.random.default_rng(9)
    found = 0
    for hz in np.linspace(400.0, 2800.0, 20):
        noise = band_noise(round(seconds * rate_hz), rate_hz, rng, tau_us)
        samples = 0.1 * noise + sine(hz, rate_hz, seconds, 0.1 * np.sqrt(2 * (10**0.6 - 1)))
        result = find_steady_tone(samples, rate_hz)
        found += result is not None and abs(result - hz) < 3.0
    assert found >= 18


def test_tones_of_a_clipped_and_a_disturbed_kind_are_tones():
    rate_hz = 48000
    clipped = np.clip(4 * sine(400.0, rate_hz, 1.0, 0.3), -0.3, 0.3)
    assert find_steady_tone(clipped, rate_hz) == pytest.approx(400.0, abs=0.5)
    hum = sine(1000.0, rate_hz, 1.0) + sine(50.0, rate_hz, 1.0, 0.1) + sine(88.5, rate_hz, 1.0, 0.1) + 0.02
    assert find_steady_tone(hum, rate_hz) == pytest.approx(1000.0, abs=0.5)


@pytest.mark.parametrize("drift_hz_s", [0.1, -2.0, 5.0])
def test_a_drifting_tone_is_still_a_tone_and_its_drift_is_not_noise(drift_hz_s):
    rate_hz, seconds = 48000, 6.0
    t = np.arange(round(seconds * rate_hz)) / rate_hz
    samples = 0.3 * np.cos(2 * np.pi * (1000.0 * t + drift_hz_s * t**2 / 2))
    middle_hz = 1000.0 + drift_hz_s * seconds / 2
    assert find_steady_tone(samples, rate_hz) == pytest.approx(middle_hz, abs=0.5)
    tone = measure_tone(samples, rate_hz)
    assert tone.frequency_hz == pytest.approx(middle_hz, abs=0.01)
    # One fit to all six seconds would leave more residual than tone. Within a segment of one second the
    # phase still bends by π·drift·(t-½)² about its best line: r.m.s. π·drift/√180.
    bend = np.pi * abs(drift_hz_s) / np.sqrt(180.0)
    assert tone.sinad_db > -20 * np.log10(bend) - 1.0


def test_a_sound_card_clock_100_ppm_off_moves_the_frequency_only():
    tone = measure_tone(sine(1000.0 * 1.0001, 48000, 20.0), 48000)
    assert tone.frequency_hz == pytest.approx(1000.1, abs=1e-4)
    assert tone.sinad_db is None


@pytest.mark.parametrize("path", SPEECH, ids=lambda path: path.stem)
@pytest.mark.parametrize("seconds", [0.25, 0.5, 2.0])
def test_recorded_voices_are_never_tones(path, seconds):
    samples, rate_hz = soundfile.read(path)
    samples = bandpass(samples, rate_hz, 200.0, 3400.0)
    count = round(seconds * rate_hz)
    for view in (samples, deemphasis(samples, rate_hz, 750.0)):
        for at in range(0, len(view) - count, count):
            assert find_steady_tone(view[at : at + count], rate_hz) is None


@settings(max_examples=60, deadline=None)
@given(
    st.integers(0, 2**32 - 1),
    st.floats(80.0, 320.0),
    st.sampled_from([-80.0, -20.0, 15.0, 60.0]),
    st.sampled_from([0.3, 1.0, 3.0]),
)
def test_gliding_swelling_voiced_sounds_are_never_tones(seed, pitch_hz, glide_hz_s, seconds):
    rng = np.random.default_rng(seed)
    glide_hz_s = max(glide_hz_s, -0.2 * pitch_hz / seconds)
    wave = voiced(8000, seconds, rng, pitch_hz=pitch_hz, glide_hz_s=glide_hz_s, tremor=0.01)
    assert find_steady_tone(wave, 8000) is None


@settings(max_examples=60, deadline=None)
@given(st.integers(0, 2**32 - 1), st.floats(400.0, 3400.0), st.sampled_from([0.25, 0.3, 1.0]))
def test_noise_of_any_width_is_never_a_tone(seed, high_hz, seconds):
    rng = np.random.default_rng(seed)
    noise = bandpass(rng.standard_normal(round(8000 * seconds)), 8000, 300.0, high_hz)
    assert find_steady_tone(noise, 8000) is None


@pytest.mark.parametrize(
    "samples",
    [
        np.zeros(48000),
        np.full(48000, 0.2),
        np.zeros(0),
        sine(1000.0, 48000, 0.1),
        sine(100.0, 48000, 2.0),
        sine(250.3, 48000, 2.0),
        sine(254.1, 48000, 2.0),
        sine(697.0, 48000, 1.0) + sine(1209.0, 48000, 1.0),
        sine(1000.0, 48000, 1.0, amplitude=1e-4),
        np.concatenate([sine(1124.0 + 90 * k, 48000, 0.1) for k in range(5)]),
        sine(1000.0, 48000, 2.0) * (1 + 0.9 * np.sin(2 * np.pi * 3.0 * np.arange(96000) / 48000)),
    ],
    ids=["silence", "mean", "empty", "short", "hum", "sub-audible", "highest sub-audible", "two tones",
         "faint", "five tones", "swelling"],
)  # fmt: skip
def test_what_is_no_steady_tone(samples):
    assert find_steady_tone(samples, 48000) is None


@settings(max_examples=40, deadline=None)
@given(
    st.floats(-60.0, 20.0), st.booleans(), st.sampled_from(RATES_HZ), st.integers(0, 2**32 - 1),
    st.floats(320.0, 2700.0),
)  # fmt: skip
def test_gain_and_polarity_move_the_level_and_nothing_else(gain_db, flip, rate_hz, seed, hz):
    rng = np.random.default_rng(seed)
    samples = sine(hz, rate_hz, 0.4) + 0.03 * rng.standard_normal(round(0.4 * rate_hz))
    gain = 10 ** (gain_db / 20) * (-1 if flip else 1)
    plain, changed = measure_tone(samples, rate_hz), measure_tone(gain * samples, rate_hz)
    assert changed.level_dbfs == pytest.approx(plain.level_dbfs + gain_db, abs=1e-6)
    assert changed.sinad_db == pytest.approx(plain.sinad_db, abs=1e-6)
    assert changed.frequency_hz == pytest.approx(plain.frequency_hz, abs=1e-6)


@pytest.mark.parametrize("hz", [150.0, 3500.0])
def test_a_fundamental_out_of_band_has_no_sinad(hz):
    # 150 Hz is below any test tone: the line that is read then is not it.
    tone = measure_tone(sine(hz, 48000, 1.0), 48000)
    assert (tone.sinad_db, tone.sinad_psophometric_db) == (None, None)
    assert np.all(np.isfinite([tone.frequency_hz, tone.level_dbfs]))
    assert (tone.frequency_hz == pytest.approx(hz)) == (hz > 300.0)


@pytest.mark.parametrize("samples", [np.zeros(0), np.ones(10), np.zeros(48000)])
def test_what_holds_no_tone_is_refused(samples):
    with pytest.raises(MeasureError):
        measure_tone(samples, 48000)


def test_a_fit_needs_four_samples():
    with pytest.raises(MeasureError):
        fit_sine(np.ones(3), 48000)


@pytest.mark.parametrize("samples", [np.zeros(100), np.ones(100), np.array([1.0, -1.0, 1.0, -1.0])])
def test_a_fit_to_nothing_is_finite(samples):
    fit = fit_sine(samples, 48000)
    assert np.all(np.isfinite([fit.frequency_hz, fit.amplitude, fit.phase, fit.offset, fit.residual_rms]))


@pytest.mark.parametrize("rate_hz", [8000, 24000])
@pytest.mark.parametrize("hz", [300.0, 1000.0, 2500.0])
@pytest.mark.parametrize(("before_s", "after_s"), [(0.002, 0.0), (0.013, 0.018), (0.5, 0.2)])
def test_what_surrounds_a_keyed_tone_changes_nothing(rate_hz, hz, before_s, after_s):
    # Federal Standard 1037C, "SINAD": a figure of the tone, so the carrier around it must not enter.
    rng = np.random.default_rng(3)
    before, after = round(before_s * rate_hz), round(after_s * rate_hz)
    # A harmonic of 2500 Hz would lie outside of the band, where SINAD does not count it.
    second = 0.02 * sine(2 * hz, rate_hz, 3.0) if hz < 1700.0 else 0.0
    tone = sine(hz, rate_hz, 3.0) + second
    noise = 3e-4 * rng.standard_normal(before + len(tone) + after)
    alone = measure_tone(tone + noise[before : before + len(tone)], rate_hz)
    keyed = np.concatenate([np.zeros(before), tone, np.zeros(after)]) + noise
    among = measure_tone(keyed, rate_hz)
    assert among.frequency_hz == pytest.approx(alone.frequency_hz, abs=0.001)
    assert among.level_dbfs == pytest.approx(alone.level_dbfs, abs=0.005)
    assert among.sinad_db == pytest.approx(alone.sinad_db, abs=0.1)
    assert among.sinad_psophometric_db == pytest.approx(alone.sinad_psophometric_db, abs=0.1)
    if alone.thd_percent is not None:
        assert among.thd_percent == pytest.approx(alone.thd_percent, rel=0.01)
