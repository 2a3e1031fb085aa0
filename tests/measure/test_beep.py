"""End beep: found where a set sends one, not in speech, noise or a steady tone."""

import numpy as np
import pytest
import soxr

from audiotest.measure.beep import find_end_beep
from audiotest.measure.filters import bandpass
from audiotest.radio.voices import load_voice, voice_names

RATE_HZ = 8000
FRAME_N = RATE_HZ // 100


def noise(seconds, level, seed):
    return level * np.random.default_rng(seed).standard_normal(round(seconds * RATE_HZ))


def speech(name):
    samples, rate_hz = load_voice(name)
    heard = bandpass(
        np.asarray(soxr.resample(samples.astype(float), rate_hz, RATE_HZ)), RATE_HZ, 300.0, 3000.0
    )
    return 0.1 * heard / np.std(heard)


def with_beep(frequency_hz, seconds, after_s, seed):
    """A voice of 1.5 s, the beep, then bare carrier."""
    before = speech("german_male")[RATE_HZ : RATE_HZ + RATE_HZ * 3 // 2]
    beep = 0.15 * np.sin(2 * np.pi * frequency_hz * np.arange(round(seconds * RATE_HZ)) / RATE_HZ)
    heard = np.concatenate([before, beep, np.zeros(round(after_s * RATE_HZ))])
    return heard + noise(len(heard) / RATE_HZ, 0.005, seed)


@pytest.mark.parametrize("frequency_hz", [450.0, 1000.0, 1750.0, 2900.0])
@pytest.mark.parametrize("seconds", [0.1, 0.25, 0.55])
@pytest.mark.parametrize("after_s", [0.0, 0.03, 0.1])
def test_a_beep_after_speech(frequency_hz, seconds, after_s):
    # 20 ms: less than the frame of 30 ms in which a beep is looked for.
    found = find_end_beep(with_beep(frequency_hz, seconds, after_s, 1), RATE_HZ)
    assert found.frequency_hz == pytest.approx(frequency_hz, abs=5.0)
    assert found.start_s == pytest.approx(1.5, abs=0.02)
    assert found.end_s == pytest.approx(1.5 + seconds, abs=0.02)


def test_a_beep_after_silence():
    beep = 0.1 * np.sin(2 * np.pi * 1000.0 * np.arange(RATE_HZ // 4) / RATE_HZ)
    found = find_end_beep(np.concatenate([np.zeros(RATE_HZ), beep]) + noise(1.25, 1e-3, 2), RATE_HZ)
    assert (found.start_s, found.end_s) == pytest.approx((1.0, 1.25), abs=0.02)


def test_a_beep_in_the_middle_is_no_end_beep():
    heard = with_beep(1000.0, 0.25, 0.0, 3)
    assert find_end_beep(np.concatenate([heard, speech("italian_male")[: 2 * RATE_HZ]]), RATE_HZ) is None


def test_a_tone_all_the_way_is_no_end_beep():
    tone = 0.1 * np.sin(2 * np.pi * 1000.0 * np.arange(3 * RATE_HZ) / RATE_HZ)
    assert find_end_beep(tone + noise(3, 1e-3, 4), RATE_HZ) is None


@pytest.mark.parametrize("seconds", [0.04, 1.2])
def test_too_short_and_too_long(seconds):
    assert find_end_beep(with_beep(1000.0, seconds, 0.05, 5), RATE_HZ) is None


def endings(name):
    """Clips that end 50 and 120 ms into every pause of a voice, where a talker lets go of the key."""
    heard = speech(name)
    rms = np.sqrt(np.mean(heard[: len(heard) // FRAME_N * FRAME_N].reshape(-1, FRAME_N) ** 2, axis=1))
    quiet = np.concatenate([[0], (rms < 0.05 * np.percentile(rms, 95)).astype(int), [0]])
    starts, ends = np.flatnonzero(np.diff(quiet) == 1), np.flatnonzero(np.diff(quiet) == -1)
    for start, end in zip(starts, ends, strict=True):
        if end - start >= 12 and start > 100:
            for frames in (5, 12):
                yield heard[max(0, start - 300) * FRAME_N : (start + frames) * FRAME_N]


@pytest.mark.parametrize("name", voice_names())
def test_the_last_vowel_of_a_sentence_is_no_beep(name):
    for k, clip in enumerate(endings(name)):
        assert find_end_beep(clip + noise(len(clip) / RATE_HZ, 1e-3, 10 + k), RATE_HZ) is None


def test_the_voices_do_pause():
    assert sum(1 for name in voice_names() for _ in endings(name)) >= 40


@pytest.mark.parametrize("count", [0, 1, 50, RATE_HZ])
def test_silence_has_no_beep(count):
    assert find_end_beep(np.zeros(count), RATE_HZ) is None


def test_noise_has_no_beep():
    assert not [k for k in range(20) if find_end_beep(noise(2, 0.1, 300 + k), RATE_HZ)]
