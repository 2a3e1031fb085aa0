"""A hard-clipped sine against its Fourier series.

sin θ clipped at ±r, a = arcsin r: b₁ = (2a + sin 2a)/π and, for odd n,
bₙ = 4/(πn(n²-1))·[n sin(na) cos a - cos(na) sin a]; even harmonics vanish (derived by integration; the
rows below were computed from it, and agree with a numerical transform to 1e-12).
"""

import numpy as np
import pytest

from audiotest.measure.tone import fit_sine, measure_tone

RATE_HZ = 48000

# Overdrive dB, b1, H3 %, H5 %, THD re fundamental % with all harmonics, SINAD dB with all harmonics.
TABLE = [
    (0.5, 0.984252, 1.4599, 1.2059, 2.1889, 33.20),
    (1.0, 0.957659, 3.6842, 2.4718, 4.6316, 26.70),
    (2.0, 0.891552, 8.4773, 3.4717, 9.2499, 20.71),
    (3.0, 0.819065, 12.9234, 2.6092, 13.3795, 17.55),
    (6.0, 0.610306, 22.5839, 4.4738, 23.2371, 12.91),
    (10.0, 0.395819, 28.9505, 12.7382, 32.1637, 10.28),
    (20.0, 0.127111, 32.8895, 19.2075, 43.0397, 8.06),
]


def coefficient(n, r):
    a = np.arcsin(r)
    if n == 1:
        return (2 * a + np.sin(2 * a)) / np.pi
    if n % 2 == 0:
        return 0.0
    return 4 / (np.pi * n * (n**2 - 1)) * (n * np.sin(n * a) * np.cos(a) - np.cos(n * a) * np.sin(a))


def clipped(hz, r, *, highest, seconds=2.0, rate_hz=RATE_HZ):
    """The series up to a harmonic, so that nothing folds back at Nyquist."""
    t = np.arange(round(seconds * rate_hz)) / rate_hz
    return sum(coefficient(n, r) * np.sin(2 * np.pi * n * hz * t) for n in range(1, highest + 1))


@pytest.mark.parametrize(("overdrive_db", "b1", "h3", "h5", "thd", "sinad_db"), TABLE)
def test_series_against_direct_clipping(overdrive_db, b1, h3, h5, thd, sinad_db):
    r = 10 ** (-overdrive_db / 20)
    wave = np.clip(np.sin(2 * np.pi * (np.arange(2**16) + 0.5) / 2**16), -r, r)
    fit = fit_sine(wave, 2.0**16, 1.0)
    assert fit.amplitude == pytest.approx(b1, abs=1e-6)
    assert 100 * abs(coefficient(3, r)) / b1 == pytest.approx(h3, abs=2e-4)
    assert 100 * abs(coefficient(5, r)) / b1 == pytest.approx(h5, abs=2e-4)
    assert 100 * np.sqrt(2) * fit.residual_rms / fit.amplitude == pytest.approx(thd, abs=2e-4)
    assert 10 * np.log10(np.mean(wave**2) / fit.residual_rms**2) == pytest.approx(sinad_db, abs=0.006)


@pytest.mark.parametrize(("overdrive_db", "b1", "h3", "h5", "thd", "sinad_db"), TABLE)
@pytest.mark.parametrize("hz", [307.0, 400.0])
def test_harmonics_of_a_clipped_tone_in_the_audio_band(hz, overdrive_db, b1, h3, h5, thd, sinad_db):
    r = 10 ** (-overdrive_db / 20)
    tone = measure_tone(0.5 * clipped(hz, r, highest=59), RATE_HZ)
    assert tone.frequency_hz == pytest.approx(hz, abs=1e-3)
    assert tone.level_dbfs == pytest.approx(20 * np.log10(0.5 * b1 / np.sqrt(2)), abs=1e-3)
    assert tone.harmonics_db[1] == pytest.approx(20 * np.log10(h3 / 100), abs=0.02)
    assert tone.harmonics_db[3] == pytest.approx(20 * np.log10(h5 / 100), abs=0.02)
    inside = [n for n in range(2, 11) if n * hz <= 3400.0]
    in_band = np.sqrt(sum(coefficient(n, r) ** 2 for n in inside)) / b1
    assert tone.thd_percent == pytest.approx(100 * in_band, rel=0.003)
    # Out of band: not measured. Even: nothing there, 60 dB under the fundamental or more.
    assert [k for k, db in enumerate(tone.harmonics_db, start=2) if db is not None and db > -60.0] == [
        n for n in inside if n % 2 and abs(coefficient(n, r)) / b1 > 1e-3
    ]
    assert all(db is None for n, db in enumerate(tone.harmonics_db, start=2) if n not in inside)


@pytest.mark.parametrize(("overdrive_db", "sinad_db"), [(1.0, 26.70), (3.0, 17.55), (10.0, 10.28)])
def test_sinad_of_a_clipped_tone_is_that_of_its_harmonics_in_band(overdrive_db, sinad_db):
    r = 10 ** (-overdrive_db / 20)
    tone = measure_tone(clipped(400.0, r, highest=59), RATE_HZ)
    rest = sum(coefficient(n, r) ** 2 for n in range(2, 9))
    expected_db = 10 * np.log10(1.0 + coefficient(1, r) ** 2 / rest)
    assert tone.sinad_db == pytest.approx(expected_db, abs=0.02)
    # What the band hides makes the reading better, never worse, than with all harmonics.
    assert tone.sinad_db > sinad_db


def test_a_limited_1_khz_tone_shows_its_third_harmonic_alone():
    # 3 kHz audio passes only H3 of 1 kHz; a square wave has a third of the fundamental there (textbook).
    tone = measure_tone(clipped(1000.0, 1e-4, highest=23), RATE_HZ)
    assert tone.thd_percent == pytest.approx(100.0 / 3.0, abs=0.02)
    assert tone.harmonics_db[3:] == (None,) * 6
