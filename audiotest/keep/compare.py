"""Two overs against each other: what changed, in words, and both equally loud to listen to."""

import io
import json
import random
import shutil
from collections.abc import Iterator
from dataclasses import dataclass
from errno import ENOSPC
from pathlib import Path

import numpy as np
import soundfile as sf
from numpy.typing import NDArray

from audiotest.errors import FileError
from audiotest.keep.clips import between, over_in_clip
from audiotest.keep.durable import new_folder, write_new
from audiotest.keep.loudness import integrated_loudness_lufs, matching_gains_db
from audiotest.measure.lean import power_density
from audiotest.records import Over
from audiotest.units import db_amplitude, power_db

HEARD_DB = 1.0
"""Differences below this are not worth a sentence: few ears notice them (common practice, no source)."""
FAINTEST_HUM_DB = 55.0
"""Nobody hears a hum that is further below the speech than this (common practice, no source)."""
DEVIATION_SHARE = 0.05
LOW_BAND_HZ, HIGH_BAND_HZ = (300.0, 1000.0), (1000.0, 3000.0)
KEY_SCHEMA = "audiotest-blind-1"


@dataclass(frozen=True, slots=True, kw_only=True)
class Listened:
    """One of the two: its sound, shape (n,), full scale 1.0, and what was measured on it.

    ``starts_s`` is when it starts in the over's stream; None for a clip, which starts where clips do.
    """

    name: str
    samples: NDArray[np.float32]
    rate_hz: int
    over: Over | None
    starts_s: float | None = None

    @property
    def heard(self) -> NDArray[np.float32]:
        """The speech of the over, or all of it, shape (n,); the whole clip where nothing was measured."""
        over = self.over
        if over is None:
            return self.samples
        from_s = over.start_s if over.speech_start_s is None else over.speech_start_s
        to_s = over.end_s if over.speech_end_s is None else over.speech_end_s
        if self.starts_s is None:
            return over_in_clip(self.samples, self.rate_hz, over.start_s, from_s, to_s)
        return between(self.samples, self.rate_hz, round(self.starts_s * self.rate_hz), from_s, to_s)


@dataclass(frozen=True, slots=True, kw_only=True)
class Compared:
    """What changed from the first to the second, and the gains that make them equally loud."""

    first_lufs: float | None
    second_lufs: float | None
    gains_db: tuple[float, float] | None
    changes: tuple[str, ...]


def compare(first: Listened, second: Listened) -> Compared:
    """Say what changed from the first clip to the second."""
    loud = [integrated_loudness_lufs(clip.heard, clip.rate_hz) for clip in (first, second)]
    changes = []
    if loud[0] is not None and loud[1] is not None and abs(loud[1] - loud[0]) >= HEARD_DB:
        word = "louder" if loud[1] > loud[0] else "quieter"
        changes.append(f"{abs(loud[1] - loud[0]):.0f} dB {word} to the ear")
    tilt = _tilt_change_db(first, second)
    if tilt is not None and abs(tilt) >= HEARD_DB:
        changes.append(
            f"{'brighter' if tilt > 0 else 'duller'}: {abs(tilt):.0f} dB more "
            f"{'above than below' if tilt > 0 else 'below than above'} 1 kHz than before"
        )
    if first.over is not None and second.over is not None:
        changes += _measured_changes(first.over, second.over)
    if not changes:
        changes.append("nothing that one would hear")
    return Compared(
        first_lufs=loud[0], second_lufs=loud[1],
        gains_db=matching_gains_db((loud[0], loud[1]), (first.samples, second.samples)),
        changes=tuple(changes),
    )  # fmt: skip


def write_blind(
    first: Listened, second: Listened, parent: Path, *, draw: random.Random | None = None
) -> tuple[Path, Path]:
    """Write the two equally loud, under names that do not tell which is which, and the key beside them.

    Returns the folder and the key's file. Listen to ``X.flac`` and ``Y.flac``, decide, then look.

    Raises
    ------
    FileError
        A clip has no loudness, or the folder cannot be written.
    """
    compared = compare(first, second)
    if compared.gains_db is None:
        silent = first if compared.first_lufs is None else second
        raise FileError(f"{silent.name}: too short or too quiet to match in loudness", "take a longer over")
    pair = list(zip((first, second), compared.gains_db, strict=True))
    (draw or random.SystemRandom()).shuffle(pair)
    key = {"schema": KEY_SCHEMA, **{name: clip.name for name, (clip, _) in zip("XY", pair, strict=True)}}
    try:
        folder = new_folder(parent, "blind")
        try:
            for name, (clip, gain_db) in zip("XY", pair, strict=True):
                write_new(folder, name, ".flac", _flac(clip, gain_db))
            text = json.dumps(key, indent=1).encode()
            written = write_new(folder, "key, look afterwards", ".json", text)
        except BaseException:
            # Half of a pair is of no use to anybody.
            shutil.rmtree(folder, ignore_errors=True)
            raise
    except OSError as error:
        remedy = "make room, or choose another folder" if error.errno == ENOSPC else "choose another folder"
        raise FileError(f"{parent}: cannot be written: {error.strerror}", remedy) from error
    return folder, written


def _flac(clip: Listened, gain_db: float) -> bytes:
    """A clip at this gain as a FLAC file, made in memory: libsndfile does not say that a disk is full."""
    codes = np.rint(clip.samples * db_amplitude(gain_db) * 32768.0)
    out = io.BytesIO()
    sf.write(out, np.clip(codes, -32768, 32767).astype(np.int16), clip.rate_hz, format="FLAC")
    return out.getvalue()


def _measured_changes(first: Over, second: Over) -> Iterator[str]:
    before, after = first.limiter, second.limiter
    if before.drive_db is not None and after.drive_db is not None:
        change = after.drive_db - before.drive_db
        if abs(change) >= HEARD_DB:
            word = "harder" if change > 0 else "less hard"
            drives = f"{before.drive_db:+.0f} to {after.drive_db:+.0f} dB"
            text = f"{abs(change):.0f} dB {word} into the limiter ({drives})"
            yield text + (", though within the uncertainty" if _overlap(first, second) else "")
    if before.clipped_fraction is not None and after.clipped_fraction is not None:
        shares = 100 * before.clipped_fraction, 100 * after.clipped_fraction
        if abs(shares[1] - shares[0]) >= 1.0:
            yield f"clips {shares[1]:.0f} % of the speech instead of {shares[0]:.0f} %"
    peaks = first.deviation.peak_khz, second.deviation.peak_khz
    if peaks[0] is not None and peaks[1] is not None and peaks[0] > 0.0:
        ratio = peaks[1] / peaks[0]
        if abs(ratio - 1.0) >= DEVIATION_SHARE:
            yield f"peaks reach {peaks[1]:.2f} kHz instead of {peaks[0]:.2f} kHz"
    for name, old, new in (
        ("signal to noise", first.noise.snr_db, second.noise.snr_db),
        ("quieting", first.noise.quieting_db, second.noise.quieting_db),
    ):
        if old is not None and new is not None and abs(new - old) >= 2 * HEARD_DB:
            yield f"{name} {abs(new - old):.0f} dB {'better' if new > old else 'worse'}"
    hums = _heard_hum_hz(first), _heard_hum_hz(second)
    if hums[0] is not None and hums[1] is None:
        yield f"the hum at {hums[0]:.0f} Hz is gone"
    elif hums[1] is not None and hums[0] is None:
        yield f"hums at {hums[1]:.0f} Hz now"


def _heard_hum_hz(over: Over) -> float | None:
    """Where the hum is, if it is not too far below the speech for any ear."""
    below_db = over.noise.hum_db
    return None if below_db is not None and below_db > FAINTEST_HUM_DB else over.noise.hum_hz


def _overlap(first: Over, second: Over) -> bool:
    bounds = [(over.limiter.drive_low_db, over.limiter.drive_high_db) for over in (first, second)]
    (low_a, high_a), (low_b, high_b) = bounds
    if low_a is None or high_a is None or low_b is None or high_b is None:
        return False
    return low_a <= high_b and low_b <= high_a


def _tilt_change_db(first: Listened, second: Listened) -> float | None:
    tilts = [_tilt_db(clip.heard, clip.rate_hz) for clip in (first, second)]
    return None if tilts[0] is None or tilts[1] is None else tilts[1] - tilts[0]


def _tilt_db(samples: NDArray[np.float32], rate_hz: int) -> float | None:
    """Level in 1-3 kHz over that in 300-1000 Hz, in dB; None when there is nothing to compare."""
    length_n = round(0.04 * rate_hz)
    if len(samples) < 10 * length_n:
        return None
    hz, power = power_density(samples, rate_hz, length_n)
    bands = [float(np.sum(power[(hz >= low) & (hz < high)])) for low, high in (LOW_BAND_HZ, HIGH_BAND_HZ)]
    return power_db(bands[1] / bands[0]) if bands[0] > 1e-18 else None
