"""Draws training overs from a folder of talkers and writes their features: one talker, one FLAC file."""

import argparse
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

import numpy as np
import soundfile as sf

from audiotest.measure.activity import find_activity
from audiotest.measure.drivefeatures import drive_features
from tests.benchmarks.accuracy.quickpath import OUT_HZ, draw_over

FAMILIES = ("bessel", "butterworth", "chebyshev")
MOST_FRAMES = 800
_voices: dict[str, np.ndarray] = {}


def _speech(path: Path, rng: np.random.Generator) -> np.ndarray:
    if path.name not in _voices:
        _voices[path.name] = sf.read(path, dtype="float32")[0]
    voice = _voices[path.name]
    wanted = int(rng.uniform(4.0, 22.0) * 16000)
    if len(voice) <= wanted:
        return voice
    start = int(rng.integers(0, len(voice) - wanted))
    return voice[start : start + wanted]


def one_row(job: tuple[str, int]) -> tuple[np.ndarray, ...] | None:
    """Features and targets of one drawn over; None when too little of it is active."""
    path, seed = job
    rng = np.random.default_rng(seed)
    over = draw_over(_speech(Path(path), rng), 16000, rng, FAMILIES)
    noise_rms = float(np.std(over.noise))
    part = find_activity(over.audio, OUT_HZ, noise=over.noise)
    active = np.asarray(part.select(over.audio))
    if len(active) < 1.5 * OUT_HZ:
        return None
    noise_db = 20 * np.log10(noise_rms / np.sqrt(np.mean(active**2)) + 1e-6)
    known = rng.random() < 0.85
    features = drive_features(active, OUT_HZ, float(noise_db) if known else None)
    measured = float(np.quantile(np.abs(active), 0.999))
    targets = [over.drive_db, over.clipped_fraction, over.p999 / measured, over.peak / measured, over.cnr_db]
    frame_db = over.frame_db[: len(part.active)][part.active[: len(over.frame_db)]]
    n = min(len(frame_db), len(features.frames), MOST_FRAMES)
    return (
        np.array(targets, dtype=np.float32),
        features.whole.astype(np.float32),
        features.frames[:n].astype(np.float16),
        frame_db[:n].astype(np.float16),
    )


def main() -> None:
    """Write `OUT.npz` with rows, talkers and columns."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("voices", type=Path)
    parser.add_argument("out", type=Path)
    parser.add_argument("--overs", type=int, default=8000)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--workers", type=int, default=1)
    options = parser.parse_args()
    paths = sorted(options.voices.glob("*.flac"))
    natural = [p for p in paths if p.name.startswith("nat_")]
    made = [p for p in paths if not p.name.startswith("nat_")]
    rng = np.random.default_rng(options.seed)
    jobs = []
    for k in range(options.overs):
        group = natural if rng.random() < 0.5 else made
        jobs.append((str(group[int(rng.integers(len(group)))]), options.seed * 1_000_003 + k))
    rows, talkers = [], []
    with ProcessPoolExecutor(options.workers) as pool:
        for (path, _), row in zip(jobs, pool.map(one_row, jobs, chunksize=8), strict=True):
            if row is not None:
                rows.append(row)
                talkers.append(Path(path).stem)
    targets, whole, frames, frame_db = zip(*rows, strict=True)
    np.savez(
        options.out,
        targets=np.array(targets),
        whole=np.array(whole),
        frames=np.concatenate(frames),
        frame_db=np.concatenate(frame_db),
        counts=np.array([len(f) for f in frames]),
        talkers=np.array(talkers),
    )


if __name__ == "__main__":
    main()
