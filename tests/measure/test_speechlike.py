"""Speech or not: voices through a limiter, a pre-emphasis and noise; hiss, tones, chords and dialling."""

import numpy as np
import pytest
import scipy.signal as sps
import soxr

from audiotest.measure.filters import bandpass, undo_deemphasis
from audiotest.measure.speechlike import speech_cues
from audiotest.radio.voices import load_voice, voice_names

RATE_HZ = 8000
SECONDS = 5.0
T = np.arange(round(SECONDS * RATE_HZ)) / RATE_HZ


def sent(source, drive_db, snr_db, seed=1):
    """Pre-emphasis, limiter and the rising noise of a discriminator."""
    flat = undo_deemphasis(bandpass(source, RATE_HZ, 200.0, 3800.0), RATE_HZ, 530.0, high_hz=3000.0)
    gain = 10 ** (drive_db / 20) / np.quantile(np.abs(flat), 0.999)
    noise = np.diff(np.random.default_rng(seed).standard_normal(len(flat)), prepend=0.0)
    noise *= 0.3 * 10 ** (-snr_db / 20) / np.std(noise)
    return bandpass(np.clip(gain * flat, -1.0, 1.0) + noise, RATE_HZ, 300.0, 3000.0)


def bursts(make):
    return np.concatenate([np.concatenate([make(k), np.zeros(400)]) for k in range(25)])


def not_speech(name):
    rng = np.random.default_rng(5)
    swell = 1.0 + 0.95 * np.sin(2 * np.pi * 3.0 * T)
    short, half = T[:1200], T[:4000]
    if name == "hiss bursts":
        return bursts(lambda _: rng.standard_normal(1600))
    if name == "white noise":
        return rng.standard_normal(len(T)) * swell
    if name == "pink noise":
        return sps.lfilter([1.0], [1.0, -0.97], rng.standard_normal(len(T))) * swell
    if name == "sweep":
        return sps.chirp(T, 100.0, SECONDS, 3800.0)
    if name == "dialling":
        pairs = [(770.0, 1336.0), (941.0, 1209.0), (697.0, 1477.0)]
        return bursts(lambda k: sum(np.sin(2 * np.pi * hz * short) for hz in pairs[k % 3]))
    if name == "steps":
        return np.concatenate([np.sin(2 * np.pi * hz * T[:1600]) for hz in rng.uniform(300, 2500, 25)])
    chords = rng.uniform(130.0, 400.0, 10)
    ratios = [(k, m) for k in range(1, 7) for m in (1.0, 1.26, 1.5)]
    return np.concatenate(
        [sum(np.sin(2 * np.pi * hz * k * m * half + k) / k for k, m in ratios) for hz in chords]
    )


@pytest.mark.parametrize("drive_db", [0.0, 12.0])
@pytest.mark.parametrize("snr_db", [15.0, 40.0])
@pytest.mark.parametrize(
    "name", ["hiss bursts", "white noise", "pink noise", "sweep", "dialling", "steps", "chords"]
)
def test_other_sounds_are_no_speech(name, snr_db, drive_db):
    assert not speech_cues(sent(not_speech(name), drive_db, snr_db), RATE_HZ).speech


@pytest.mark.parametrize("drive_db", [-5.0, 5.0, 25.0])
@pytest.mark.parametrize("snr_db", [15.0, 40.0])
@pytest.mark.parametrize("name", voice_names())
def test_every_voice_is_speech(name, snr_db, drive_db):
    samples, rate_hz = load_voice(name)
    part = soxr.resample(samples[: 8 * rate_hz].astype(float), rate_hz, RATE_HZ)
    assert speech_cues(sent(part, drive_db, snr_db), RATE_HZ).speech


@pytest.mark.parametrize("count", [0, 100, 4000])
def test_too_short_to_tell(count):
    assert speech_cues(np.zeros(count), RATE_HZ) is None


def test_silence_is_no_number():
    assert speech_cues(np.zeros(RATE_HZ * 3), RATE_HZ) is None
