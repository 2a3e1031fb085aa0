"""SINAD = (S+N+D)/(N+D), Federal Standard 1037C, entry "SINAD"; the relations below follow from it."""

import numpy as np
import pytest

from audiotest.measure.filters import bandpass
from audiotest.measure.tone import measure_tone

RATE_HZ = 48000


def tone_in_noise(sinad_db, *, hz=1000.0, rate_hz=RATE_HZ, seconds=5.0, seed=1):
    """A tone and flat noise in 300-3400 Hz whose powers are in the wanted ratio exactly."""
    t = np.arange(round(seconds * rate_hz)) / rate_hz
    noise = bandpass(np.random.default_rng(seed).standard_normal(len(t)), rate_hz, 300.0, 3400.0)
    noise *= 0.05 / np.sqrt(np.mean(noise**2))
    signal = 0.05 * np.sqrt(2.0 * (10 ** (sinad_db / 10) - 1.0))
    return signal * np.sin(2 * np.pi * hz * t + 0.7) + noise


# THD+N re total %, re fundamental %, S/(N+D) dB: closed forms 10^(-s/20), (10^(s/10)-1)^(-1/2),
# 10·lg(10^(s/10)-1) of the definition. 12 dB is the sensitivity point of TIA-603 (from memory).
TABLE = [
    (6.0, 50.119, 57.918, 4.744),
    (10.0, 31.623, 33.333, 9.542),
    (12.0, 25.119, 25.951, 11.717),
    (20.0, 10.000, 10.050, 19.956),
    (30.0, 3.162, 3.164, 29.996),
    (40.0, 1.000, 1.000, 40.000),
]


@pytest.mark.parametrize(("sinad_db", "of_total", "of_fundamental", "snd_db"), TABLE)
def test_sinad_and_its_relations(sinad_db, of_total, of_fundamental, snd_db):
    # The band edges are passed twice here and once more by the instrument: 0.1 dB of noise is lost at most.
    samples = tone_in_noise(sinad_db)
    tone = measure_tone(samples, RATE_HZ)
    assert tone.sinad_db == pytest.approx(sinad_db, abs=0.15)
    total = 10 ** (tone.level_dbfs / 10) / (1.0 - 10 ** (-tone.sinad_db / 10))
    rest = total * 10 ** (-tone.sinad_db / 10)
    assert 100 * np.sqrt(rest / total) == pytest.approx(of_total, rel=0.02)
    assert 100 * np.sqrt(rest / (total - rest)) == pytest.approx(of_fundamental, rel=0.02)
    assert tone.level_dbfs - 10 * np.log10(rest) == pytest.approx(snd_db, abs=0.2)


@pytest.mark.parametrize("rate_hz", [8000, 44100, 48000])
@pytest.mark.parametrize("colour", ["flat", "wide"])
def test_psophometric_sinad_of_flat_noise(rate_hz, colour):
    # ITU-T O.41: flat noise in 300-3400 Hz loses 2.51 dB, the 1 kHz tone gains 1.0 dB (in both branches).
    samples = tone_in_noise(20.0, rate_hz=rate_hz, seconds=10.0)
    if colour == "wide":
        noise = np.random.default_rng(4).standard_normal(len(samples))
        noise *= 0.05 / np.sqrt(np.mean(bandpass(noise, rate_hz, 300.0, 3400.0) ** 2))
        t = np.arange(len(samples)) / rate_hz
        samples = 0.05 * np.sqrt(2 * 99.0) * np.sin(2 * np.pi * 1000.0 * t) + noise
    tone = measure_tone(samples, rate_hz)
    plain = 10 ** (tone.sinad_db / 10) - 1.0
    expected_db = 10 * np.log10(1.0 + plain * 10 ** ((1.0 + 2.51) / 10))
    # Noise in a 2 kHz band over 10 s: its power is known to 0.03 dB, its colour to as much again.
    assert tone.sinad_psophometric_db == pytest.approx(expected_db, abs=0.15)


def test_hum_and_sub_audible_tones_stand_outside_the_band():
    # SINAD is stated for 300-3400 Hz: 50 Hz and 250.3 Hz at a tenth of the tone must not move 30 dB.
    samples = tone_in_noise(30.0)
    t = np.arange(len(samples)) / RATE_HZ
    level = 0.05 * np.sqrt(2 * 999.0)
    disturbed = samples + 0.1 * level * (np.sin(2 * np.pi * 50 * t) + np.sin(2 * np.pi * 250.3 * t))
    assert measure_tone(disturbed, RATE_HZ).sinad_db == pytest.approx(
        measure_tone(samples, RATE_HZ).sinad_db, abs=0.05
    )


def test_noise_alone_never_reads_below_zero():
    # Under this definition SINAD is never negative.
    noise = np.random.default_rng(5).standard_normal(RATE_HZ)
    assert 0.0 <= measure_tone(noise, RATE_HZ).sinad_db < 1.0
