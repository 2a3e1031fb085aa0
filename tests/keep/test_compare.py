"""Loudness against the published check signals, and two clips against each other."""

import json
import random
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import soundfile

from audiotest.errors import FileError
from audiotest.keep.compare import Listened, compare, write_blind
from audiotest.keep.loudness import integrated_loudness_lufs, matching_gains_db
from audiotest.records import Over

RATE_HZ = 48000


def sine(hz: float, level_dbfs_peak: float, seconds: float, rate_hz: int = RATE_HZ) -> np.ndarray:
    time_s = np.arange(round(seconds * rate_hz)) / rate_hz
    return (10.0 ** (level_dbfs_peak / 20.0) * np.sin(2.0 * np.pi * hz * time_s)).astype(np.float32)


def test_a_full_scale_sine_of_997_hz_is_minus_3_lkfs() -> None:
    # ITU-R BS.1770-4, annex 1: "If a 0 dB FS, 997 Hz sine wave is applied to the left, center, or right
    # channel input, the indicated loudness will equal -3.01 LKFS." A meter may be 0.1 LU off (EBU Tech
    # 3341, from memory).
    assert integrated_loudness_lufs(sine(997.0, 0.0, 10.0), RATE_HZ) == pytest.approx(-3.01, abs=0.1)


@pytest.mark.parametrize("rate_hz", [16000, 44100, 48000])
def test_the_rate_does_not_matter(rate_hz: int) -> None:
    tone = sine(997.0, -20.0, 5.0, rate_hz)
    assert integrated_loudness_lufs(tone, rate_hz) == pytest.approx(-23.01, abs=0.1)


def test_quiet_stretches_are_gated_away() -> None:
    # EBU Tech 3341, minimum requirements, signal 3 (from memory): 1 kHz at -36, -23, -36 dBFS for 10, 60,
    # 10 s in both channels of a stereo pair reads -23.0 LUFS within 0.1. One channel alone is 3.01 lower.
    parts = [sine(1000.0, level, seconds) for level, seconds in ((-36, 10), (-23, 60), (-36, 10))]
    assert integrated_loudness_lufs(np.concatenate(parts), RATE_HZ) == pytest.approx(-26.0, abs=0.1)


def test_what_has_no_loudness_has_none() -> None:
    assert integrated_loudness_lufs(np.zeros(RATE_HZ, dtype=np.float32), RATE_HZ) is None
    assert integrated_loudness_lufs(sine(997.0, 0.0, 0.3), RATE_HZ) is None
    assert integrated_loudness_lufs(sine(997.0, -90.0, 2.0), RATE_HZ) is None
    half_silent = np.concatenate([np.zeros(RATE_HZ, dtype=np.float32), sine(997.0, -20.0, 2.0)])
    assert integrated_loudness_lufs(half_silent, RATE_HZ) is not None


def test_matched_clips_are_equally_loud_and_none_overloads() -> None:
    loud, quiet = sine(997.0, 0.0, 2.0), sine(500.0, -14.0, 3.0, 16000)
    levels = integrated_loudness_lufs(loud, RATE_HZ), integrated_loudness_lufs(quiet, 16000)
    gains = matching_gains_db(levels, (loud, quiet))
    assert gains is not None
    after = [
        integrated_loudness_lufs(clip * np.float32(10 ** (gain / 20)), rate_hz)
        for clip, gain, rate_hz in zip((loud, quiet), gains, (RATE_HZ, 16000), strict=True)
    ]
    assert after[0] == pytest.approx(after[1], abs=0.01)  # type: ignore[arg-type]
    assert max(gains) <= 0.0
    both = matching_gains_db((levels[0], levels[0]), (loud, loud))
    assert both == pytest.approx((-1.0, -1.0), abs=1e-3)


def listened(name: str, samples: np.ndarray, over: Over | None = None) -> Listened:
    return Listened(name=name, samples=samples, rate_hz=RATE_HZ, over=over)


def test_what_changed_is_said_in_words(over: Over) -> None:
    after = replace(
        over,
        limiter=replace(
            over.limiter, drive_db=4.0, drive_low_db=1.0, drive_high_db=7.0, clipped_fraction=0.02
        ),
        deviation=replace(over.deviation, peak_khz=1.8),
        noise=replace(over.noise, snr_db=46.0, hum_hz=None, hum_db=None),
    )
    rng = np.random.default_rng(1)
    dull = (0.1 * rng.standard_normal(2 * RATE_HZ)).astype(np.float32)
    bright = np.diff(dull, prepend=np.float32(0.0))
    found = compare(listened("before", dull, over), listened("after", bright, after))
    text = "; ".join(found.changes)
    # The difference of white noise has twice its power: 3 dB.
    assert "3 dB louder to the ear" in text
    assert "brighter" in text
    assert "9 dB less hard into the limiter (+13 to +4 dB)" in text
    assert "uncertainty" not in text
    assert "clips 2 % of the speech instead of 24 %" in text
    assert "peaks reach 1.80 kHz instead of 2.31 kHz" in text
    assert "signal to noise 5 dB better" in text
    assert "the hum at 100 Hz is gone" in text
    back = "; ".join(compare(listened("after", bright, after), listened("before", dull, over)).changes)
    assert "duller" in back
    assert "harder into the limiter" in back
    assert "hums at 100 Hz now" in back


def test_a_hum_that_nobody_hears_is_no_change(over: Over) -> None:
    before = replace(over, noise=replace(over.noise, hum_hz=None, hum_db=None))
    same = sine(997.0, -20.0, 2.0)
    for below_db, changes in ((69.7, "nothing that one would hear"), (38.0, "hums at 100 Hz now")):
        after = replace(over, noise=replace(over.noise, hum_db=below_db))
        assert compare(listened("a", same, before), listened("b", same, after)).changes == (changes,)


def test_the_hiss_around_an_over_is_not_compared(over: Over) -> None:
    # The over of the fixture, half a second of hiss on either side: 20 dB above the speech and alike in both.
    hiss = (0.3 * np.random.default_rng(2).standard_normal(RATE_HZ // 2)).astype(np.float32)
    loud, quiet = (sine(600.0, db, 1.0) + sine(1600.0, db, 1.0) for db in (-20.0, -28.0))
    first, second = (
        listened(name, np.concatenate([hiss, speech, hiss]), over)
        for name, speech in (("a", loud), ("b", quiet))
    )
    found = compare(first, second)
    assert found.changes == ("8 dB quieter to the ear",)
    assert found.gains_db is not None
    assert found.gains_db[1] - found.gains_db[0] == pytest.approx(8.0, abs=0.05)


def test_a_change_within_the_uncertainty_is_called_that(over: Over) -> None:
    after = replace(over, limiter=replace(over.limiter, drive_db=11.0, drive_low_db=7.0, drive_high_db=15.0))
    same = sine(997.0, -20.0, 2.0)
    found = compare(listened("a", same, over), listened("b", same, after))
    assert found.changes == (
        "2 dB less hard into the limiter (+13 to +11 dB), though within the uncertainty",
    )


def test_the_same_clip_twice_has_not_changed(over: Over) -> None:
    same = sine(997.0, -20.0, 2.0)
    assert compare(listened("a", same, over), listened("b", same, over)).changes == (
        "nothing that one would hear",
    )


def test_a_blind_pair_is_equally_loud_and_the_key_tells(tmp_path: Path) -> None:
    first, second = listened("a.flac", sine(997.0, -3.0, 2.0)), listened("b.flac", sine(400.0, -20.0, 2.0))
    orders = set()
    for seed in range(8):
        folder, key_file = write_blind(first, second, tmp_path, draw=random.Random(seed))
        key = json.loads(key_file.read_text())
        loud = {}
        for name in "XY":
            samples, rate_hz = soundfile.read(folder / f"{name}.flac", dtype="float32")
            loud[name] = integrated_loudness_lufs(samples, rate_hz)
            # The key is true: the pitch says which it is.
            crossings = np.count_nonzero(np.diff(np.signbit(samples))) / len(samples) * rate_hz / 2
            assert key[name] == ("a.flac" if crossings > 700 else "b.flac")
        assert loud["X"] == pytest.approx(loud["Y"], abs=0.02)
        orders.add(key["X"])
    assert orders == {"a.flac", "b.flac"}
    with pytest.raises(FileError, match="too short or too quiet"):
        write_blind(first, listened("c", np.zeros(10, dtype=np.float32)), tmp_path)


def test_a_full_disk_is_named_and_no_half_of_a_blind_pair_stays(small_disk: Path) -> None:
    noise = np.random.default_rng(5).normal(0.0, 0.1, 10 * RATE_HZ).astype(np.float32)
    with pytest.raises(FileError) as refused:
        write_blind(listened("a", noise), listened("b", noise), small_disk / "listen")
    assert refused.value.what == f"{small_disk / 'listen'}: cannot be written: No space left on device"
    assert refused.value.remedy == "make room, or choose another folder"
    assert list((small_disk / "listen").iterdir()) == []


@pytest.mark.parametrize("starts_s", [None, 7.0])
def test_what_is_heard_is_the_speech_and_not_what_is_around_it(over: Over, starts_s: float | None) -> None:
    """A clip begins half a second before its over, at a decision of the engine."""
    spoken = replace(over, start_s=7.0, end_s=10.0, speech_start_s=7.5, speech_end_s=9.0)
    begins_s = 6.48 if starts_s is None else starts_s
    times_s = begins_s + np.arange(4 * RATE_HZ, dtype=np.float32) / RATE_HZ
    heard = Listened(name="x", samples=times_s, rate_hz=RATE_HZ, over=spoken, starts_s=starts_s).heard
    assert heard[0] == pytest.approx(7.5, abs=2 / RATE_HZ)
    assert heard[-1] == pytest.approx(9.0, abs=2 / RATE_HZ)
