"""How well the drive could be told by somebody who sees the limiter's output itself: a bound for any method.

``python -m tests.benchmarks.accuracy.bound CORPUS`` cuts stretches of every talker, drives a hard limiter
with them, and fits the drive to amplitude statistics of the limited wave, threshold known, without noise:
once at the limiter itself, once behind a splatter filter that is known too. Fitted on the talkers of the
train and tune splits, judged on the test split's. What is left at the limiter is the talker's own: how far
his peaks stand over what he says most of the time; behind the filter it is what is taken away as well.
"""

import argparse
import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import soundfile as sf
import soxr
from numpy.typing import NDArray

from audiotest.radio.settings import Transmitter
from audiotest.radio.transmitter import (
    active_frames,
    analogue_lowpass,
    at_limiter,
    filtered,
    padded_bins,
    select,
)
from tests.benchmarks.accuracy.draw import draw_mouth
from tests.benchmarks.accuracy.mouth import RATE_HZ, at_the_microphone
from tests.benchmarks.accuracy.sets import recordings, talkers_of

DRIVES_DB = np.arange(3.0, 25.0, 3.0)
LEVELS_DB = (2.0, 1.0, 0.0, -1.0, -2.0, -4.0, -7.0, -10.0, -14.0, -20.0)
CUTS = {"train": 240, "tune": 60, "test": 150}
LIMITER_HZ = 48000
SPLATTER = ("butterworth", 5, 3000.0)
VIEWS = ("limiter", "splatter")
Array = NDArray[np.float64]
Inputs = dict[str, list[list[float]]]


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
        float(np.log(np.mean(size**2))),
        float(np.log(np.mean(size))),
        float(np.log(np.quantile(size, 0.999))),
    ]


def rows(corpus: Path, split: str, rng: np.random.Generator, seconds: float) -> tuple[Inputs, list[float]]:
    """Statistics by view, and true drives, of random cuts."""
    talkers, files = talkers_of(corpus, split), recordings(corpus)
    inputs: Inputs = {view: [] for view in VIEWS}
    drives: list[float] = []
    for _ in range(CUTS[split]):
        mouth = replace(draw_mouth(talkers, "plain", rng), seconds=seconds)
        voice = at_the_microphone(sf.read(files[mouth.talker], dtype="float64")[0], mouth).astype(np.float64)
        mic = np.asarray(soxr.resample(voice, RATE_HZ, LIMITER_HZ))
        tx = Transmitter(
            preemphasis_us=float(rng.uniform(400, 800)), mic_highpass_hz=float(rng.uniform(80, 350)),
            ambient_db=float(rng.uniform(-45, -15)),
        )  # fmt: skip
        v, _ = at_limiter(mic, LIMITER_HZ, tx, rng)
        active = active_frames(v, LIMITER_HZ)
        v = v / np.quantile(np.abs(select(v, active, LIMITER_HZ)), 0.999)
        low_pass = analogue_lowpass(*SPLATTER, padded_bins(len(v), LIMITER_HZ))
        for drive_db in DRIVES_DB:
            limited = np.clip(v * 10 ** (drive_db / 20), -1.0, 1.0)
            seen = {"limiter": limited, "splatter": filtered(limited, LIMITER_HZ, low_pass)}
            for view, wave in seen.items():
                inputs[view].append(statistics(np.abs(select(wave, active, LIMITER_HZ))))
            drives.append(float(drive_db))
    return inputs, drives


def errors(x: Array, y: Array, test: Array, truth: Array) -> Array:
    """Errors on `test`, shape (m,), of the fit to `x`, shape (n, features), and drives `y`."""
    mean, deviation = x.mean(axis=0), x.std(axis=0) + 1e-6

    def design(inputs: Array) -> Array:
        z = (inputs - mean) / deviation
        return np.column_stack([np.ones(len(z)), z, z**2, z[:, :1] * z[:, 1:]])

    a = design(x)
    weights = np.linalg.solve(a.T @ a + 1e-2 * np.eye(a.shape[1]), a.T @ y)
    return np.asarray(design(test) @ weights - truth)


def main() -> None:
    """Print the error that is left."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("corpus", type=Path)
    parser.add_argument("--seconds", type=float, default=10.0)
    parser.add_argument("--out", type=Path, help="JSON for the report, such as SET/bound.json")
    options = parser.parse_args()
    rng = np.random.default_rng(1)
    fitted = [rows(options.corpus, split, rng, options.seconds) for split in ("train", "tune")]
    drives = np.concatenate([np.array(part[1]) for part in fitted])
    test, true = rows(options.corpus, "test", rng, options.seconds)
    truth = np.array(true)
    found: dict[str, float] = {"seconds": options.seconds, "cuts": CUTS["test"]}
    for view in VIEWS:
        seen = np.concatenate([np.array(part[0][view]) for part in fitted])
        error = errors(seen, drives, np.array(test[view]), truth)
        prefix = "" if view == "limiter" else f"{view}_"
        found[f"{prefix}all_db"] = float(np.sqrt(np.mean(error**2)))
        print(f"{view}: {found[f'{prefix}all_db']:.2f} dB RMS")
        for drive_db in DRIVES_DB:
            e = error[truth == drive_db]
            print(f"  drive {drive_db:.0f} dB: {np.sqrt(np.mean(e**2)):.2f} dB RMS, bias {e.mean():+.2f}")
            found[f"{prefix}at_{drive_db:.0f}_db"] = float(np.sqrt(np.mean(e**2)))
    if options.out is not None:
        options.out.write_text(json.dumps(found))


if __name__ == "__main__":
    main()
