"""Speech behind a limiter and a splatter filter as seen by somebody who is told of both, for `bound.py`.

``python -m tests.benchmarks.accuracy.told VOICES OUT`` cuts stretches of every talker, drives a hard limiter
with them at several drives and writes, in the form of `lessons.py`, what can be seen in two places, the
threshold known and without any noise: at the limiter itself, and behind a splatter filter below 3.6 kHz,
where every receiver's audio ends, with that filter undone; besides that the limiter's input below 3.6 kHz, by
which the overs are sorted. The talkers of the train and tune splits are livened as the lessons' are, the test
split's left as they are.
"""

import argparse
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import scipy.fft
import soundfile as sf
import soxr
from numpy.typing import NDArray

from audiotest.measure.drivefeatures import drive_features
from audiotest.measure.driveviews import drive_views
from audiotest.radio.settings import Transmitter
from audiotest.radio.transmitter import active_frames, analogue_lowpass, at_limiter, select
from tests.benchmarks.accuracy.draw import draw_drive, draw_mouth, draw_splatter
from tests.benchmarks.accuracy.heard import shaped
from tests.benchmarks.accuracy.lessons import BASEBAND_HZ as LIMITER_HZ
from tests.benchmarks.accuracy.lessons import Row, frame_levels, livened, write
from tests.benchmarks.accuracy.mouth import RATE_HZ, at_the_microphone
from tests.benchmarks.accuracy.sets import recordings, talkers_of

SECONDS = 10.0
CUTS = {"train": 800, "tune": 300, "test": 150}
DRIVES = {"train": 3, "tune": 3, "test": 8}
"""For each cut."""
SHARD_N = 50
FINE = 4
"""Times 48 kHz: what the limiter's harmonics fold back would tell the drive."""
SENT_HZ = 16000
LEVELS_DB = (2.0, 1.0, 0.0, -1.0, -2.0, -4.0, -7.0, -10.0, -14.0, -20.0)
TOPS = (0.9999, 0.999, 0.995, 0.98, 0.9)
FLAT_FROM = {"limiter": 0.9999, "splatter": 0.8}
"""Of the threshold, where a top counts as cut: behind the filter tops ripple."""
SHAPE_N = 14
"""Figures of each frame and view that begin a frame's row, heights re the over's own edge first."""
HEIGHTS = 4
LEVELLED = (0, 3)
"""Views of the drive model whose frames' heights are given re the threshold too: as sent, and undone."""
Array = NDArray[np.float64]


def statistics(size: Array) -> list[float]:
    """Shares of |v| above fixed levels re the threshold, its RMS and its mean, all in dB-like scales."""
    shares = [float(np.mean(size >= 0.9999 * 10 ** (d / 20))) for d in LEVELS_DB]
    odds = [float(np.log((s + 1e-4) / (1 - s + 1e-4))) for s in shares]
    at_threshold = odds[LEVELS_DB.index(0.0)]
    return [
        at_threshold,
        *odds,
        at_threshold**2,
        at_threshold**3,
        float(np.log(np.mean(size**2) + 1e-9)),
        float(np.log(np.mean(size) + 1e-9)),
        float(np.log(np.quantile(size, 0.999) + 1e-9)),
    ]


def rebuilt(wave: Array, rate_hz: int, cut_at: float) -> list[float]:
    """How high the cut tops were, by parabolas: in dB, quantiles of the rebuilt wave and of the tops' length.

    A top that leaves the threshold with slope s and comes back after a time d was s·d/4 higher, were it a
    parabola.
    """
    v = wave / cut_at
    state = np.where(v >= 1.0, 1, np.where(v <= -1.0, -1, 0))
    edges = np.flatnonzero(np.diff(state)) + 1
    starts, ends = np.concatenate([[0], edges]), np.concatenate([edges, [len(v)]])
    steps = np.abs(np.diff(v, prepend=v[0], append=v[-1]))
    inside = (state[starts] != 0) & (starts > 1) & (ends < len(v) - 1)
    starts, ends = starts[inside], ends[inside]
    size = np.abs(v)
    lengths = np.zeros(0)
    if len(starts):
        slope = 0.5 * (
            np.maximum(steps[starts - 1], steps[starts]) + np.maximum(steps[ends], steps[ends + 1])
        )
        lengths = (ends - starts).astype(np.float64)
        count = ends - starts
        along = np.arange(np.sum(count)) - np.repeat(np.cumsum(count) - count, count)
        place = (along + 0.5) / np.repeat(count, count)
        height = np.repeat(slope * lengths / 4.0, count)
        size = size.copy()
        size[np.repeat(starts, count) + along] = 1.0 + 4.0 * height * place * (1.0 - place)
    weighted = np.repeat(lengths, lengths.astype(int)) if len(lengths) else np.ones(1)
    longest = np.quantile(weighted, (0.5, 0.9, 0.99))
    tops = 20.0 * np.log10(np.quantile(size, TOPS) * cut_at + 1e-5)
    return [*tops, *(10.0 * np.log10(longest / rate_hz * 1000.0 + 1e-3))]


def seen(limited: Array, rate_hz: int, view: str, active: NDArray[np.bool_]) -> list[float]:
    """Figures of one view of the over as a whole, re the threshold."""
    part = select(limited, active, rate_hz)
    return [*statistics(np.abs(part)), *rebuilt(part, rate_hz, FLAT_FROM[view])]


def sent(limited_fine: NDArray[np.float32], splatter: tuple[Any, int, float]) -> tuple[Array, Array]:
    """What a receiver's audio has room for behind a splatter filter, and the same with that filter undone."""
    times = FINE * LIMITER_HZ // SENT_HZ
    n = 2 * scipy.fft.next_fast_len(-(-len(limited_fine) // times) // 2 + SENT_HZ // 20, real=True)
    spectrum = scipy.fft.rfft(limited_fine, n * times)[: n // 2 + 1] / times
    hz = np.arange(len(spectrum)) * SENT_HZ / n
    behind = scipy.fft.irfft(spectrum * analogue_lowpass(*splatter, hz), n)[: len(limited_fine) // times]
    return (
        shaped(behind, SENT_HZ, 0.0),
        shaped(behind, SENT_HZ, 0.0, lambda f: analogue_lowpass(*splatter, f)),
    )


def heights(wave: Array, active: NDArray[np.bool_]) -> Array:
    """Quantiles, RMS and mean of a wave without a limiter, in dB."""
    size = np.abs(select(wave, active, SENT_HZ))
    return np.asarray(
        20 * np.log10(np.array([*np.quantile(size, TOPS), np.sqrt(np.mean(size**2)), np.mean(size)]) + 1e-9)
    )


def unlimited(fine: NDArray[np.float32], active: NDArray[np.bool_], splatter: Any) -> tuple[Array, Array]:
    """Heights of the limiter's input below 3.6 kHz re the 99.9th percentile of all of it; its features."""
    _, within = sent(fine, splatter)
    views = drive_views(within, SENT_HZ, active, noise_db=None, hiss=None)
    return heights(within, active), drive_features(views).whole.astype(np.float64)


def row_of(
    v: Array, fine: NDArray[np.float32], drive_db: float, active: NDArray[np.bool_], splatter: Any
) -> Row:
    """What is seen at one drive; `v` and `fine` (4 times the rate) have their 99.9th percentile at 1."""
    gain = 10 ** (drive_db / 20)
    behind, undone = sent(np.clip(fine * np.float32(gain), -1.0, 1.0), splatter)
    features = drive_features(drive_views(behind, SENT_HZ, active, noise_db=None, hiss=None, limited=undone))
    frames = [features.frames]
    for k, wave in zip(LEVELLED, (behind, undone), strict=True):
        top = float(np.quantile(np.abs(select(wave, active, SENT_HZ)), 0.999))
        heights_db = features.frames[:, SHAPE_N * k : SHAPE_N * k + HEIGHTS]
        frames.append(heights_db + np.float32(20 * np.log10(top + 1e-5)))
    whole = [
        *seen(np.clip(v * gain, -1.0, 1.0), LIMITER_HZ, "limiter", active),
        *seen(undone, SENT_HZ, "splatter", active),
        *features.whole,
    ]
    clipped = float(np.mean(np.abs(select(v, active, LIMITER_HZ)) * gain > 1.0))
    return {
        "frames": np.column_stack(frames).astype(np.float16),
        "whole": np.array(whole, dtype=np.float32),
        "frame_db": frame_levels(v * gain, active, 0.0),
        # Drive, clipped share, ratios of deviation, CNR, kind, hiss: as in a lesson, all but two idle.
        "targets": np.array([drive_db, clipped, 1.0, 1.0, 90.0, 0.0, 0.0], dtype=np.float32),
    }


def rows_of(
    talkers: list[dict[str, Any]], files: dict[str, Path], split: str, rng: np.random.Generator
) -> tuple[list[Row], str]:
    """One cut at all of its drives, and who speaks."""
    mouth = replace(draw_mouth(talkers, "plain", rng), seconds=SECONDS)
    voice = at_the_microphone(sf.read(files[mouth.talker], dtype="float64")[0], mouth).astype(np.float64)
    if split != "test":
        voice = livened(voice, rng)
    mic = np.asarray(soxr.resample(voice, round(RATE_HZ * mouth.pitch), LIMITER_HZ))
    tx = Transmitter(
        preemphasis_us=float(rng.uniform(400, 800)), mic_highpass_hz=float(rng.uniform(80, 350)),
        ambient_db=float(rng.uniform(-45, -15)),
    )  # fmt: skip
    v, _ = at_limiter(mic, LIMITER_HZ, tx, rng)
    frame_n = LIMITER_HZ // 50
    v = v[: len(v) // frame_n * frame_n]
    active = active_frames(v, LIMITER_HZ)
    v = v / np.quantile(np.abs(select(v, active, LIMITER_HZ)), 0.999)
    n = scipy.fft.next_fast_len(len(v), real=True)
    fine = (scipy.fft.irfft(scipy.fft.rfft(v, n), FINE * n)[: FINE * len(v)] * FINE).astype(np.float32)
    splatter = draw_splatter(split == "test" and rng.random() < 0.5, rng)
    drives = [draw_drive("plain", rng) for _ in range(DRIVES[split])]
    undone, features = unlimited(fine, active, splatter)
    rows = []
    for drive_db in drives:
        row = row_of(v, fine, drive_db, active, splatter)
        seen_too = np.concatenate([row["whole"], undone + drive_db, features])
        rows.append(row | {"whole": seen_too.astype(np.float32)})
    return rows, mouth.talker


def render(corpus: Path, out: Path, split: str, cuts: int) -> None:
    """All shards of one split that are not there yet."""
    talkers, files = talkers_of(corpus, split), recordings(corpus)
    for number in range(-(-cuts // SHARD_N)):
        path = out / f"{split}-{number:04d}.npz"
        if path.exists():
            continue
        rng = np.random.default_rng([1, ("train", "tune", "test").index(split), number])
        rows: list[Row] = []
        names: list[str] = []
        for _ in range(min(SHARD_N, cuts - number * SHARD_N)):
            made, talker = rows_of(talkers, files, split, rng)
            rows += made
            names += [talker] * len(made)
        write(path, rows, names)
        print(path.name, flush=True)


def main() -> None:
    """Render all splits."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("corpus", type=Path, help="folder that `revoice.py` filled")
    parser.add_argument("out", type=Path)
    parser.add_argument("--splits", default="test,tune,train")
    parser.add_argument("--cuts", type=int, help="for each split, in place of the usual number")
    options = parser.parse_args()
    options.out.mkdir(parents=True, exist_ok=True)
    for split in options.splits.split(","):
        render(options.corpus, options.out, split, options.cuts or CUTS[split])


if __name__ == "__main__":
    main()
