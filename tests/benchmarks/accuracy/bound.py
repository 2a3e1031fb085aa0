"""How well the drive could be told by somebody who sees the limiter's output itself: a bound for any method.

``python -m tests.benchmarks.accuracy.bound CORPUS`` cuts stretches of every talker, drives a hard limiter
with them, and fits the drive to amplitude statistics of the limited wave at the limiter, threshold known,
without filter or noise. Fitted on the talkers of the train and tune splits, judged on the test split's.
What is left is the talker's own: how far his peaks stand over what he says most of the time.
"""

import argparse
import json
from pathlib import Path

import numpy as np
import soundfile as sf
from numpy.typing import NDArray

from audiotest.radio.settings import Transmitter
from audiotest.radio.transmitter import active_frames, at_limiter, select
from tests.benchmarks.accuracy.draw import draw_mouth
from tests.benchmarks.accuracy.mouth import RATE_HZ, at_the_microphone

DRIVES_DB = np.arange(3.0, 25.0, 3.0)
LEVELS_DB = (-2.0, -4.0, -7.0, -10.0, -14.0, -20.0)
CUTS = {"train": 240, "tune": 60, "test": 150}


def statistics(size: NDArray[np.float64]) -> list[float]:
    """Shares of the limited |v| above fixed levels and its RMS, all in dB-like scales."""
    limited = np.minimum(size, 1.0)
    shares = [float(np.mean(size >= 1.0))] + [float(np.mean(limited > 10 ** (d / 20))) for d in LEVELS_DB]
    odds = [float(np.log((s + 1e-4) / (1 - s + 1e-4))) for s in shares]
    return [
        *odds,
        odds[0] ** 2,
        odds[0] ** 3,
        float(np.log(np.mean(limited**2))),
        float(np.log(np.mean(limited))),
    ]


def rows(
    corpus: Path, split: str, rng: np.random.Generator, seconds: float
) -> tuple[list[list[float]], list[float]]:
    """Statistics and true drives of random cuts."""
    index = json.loads((corpus / "index.json").read_text())
    talkers = [t for t in index if t["split"] == split]
    files = {t["id"]: corpus / t["file"] for t in talkers}
    inputs: list[list[float]] = []
    drives: list[float] = []
    for _ in range(CUTS[split]):
        mouth = draw_mouth(talkers, "plain", rng)
        mouth = type(mouth)(
            **{n: getattr(mouth, n) for n in mouth.__dataclass_fields__} | {"seconds": seconds}
        )
        mic = at_the_microphone(sf.read(files[mouth.talker], dtype="float64")[0], mouth).astype(np.float64)
        tx = Transmitter(
            preemphasis_us=float(rng.uniform(400, 800)), mic_highpass_hz=float(rng.uniform(80, 350)),
            ambient_db=float(rng.uniform(-45, -15)),
        )  # fmt: skip
        v, _ = at_limiter(mic, RATE_HZ, tx, rng)
        size = np.abs(select(v, active_frames(v, RATE_HZ), RATE_HZ))
        size /= np.quantile(size, 0.999)
        for drive_db in DRIVES_DB:
            inputs.append(statistics(size * 10 ** (drive_db / 20)))
            drives.append(float(drive_db))
    return inputs, drives


def main() -> None:
    """Print the error that is left."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("corpus", type=Path)
    parser.add_argument("--seconds", type=float, default=10.0)
    parser.add_argument("--out", type=Path, help="JSON for the report, such as SET/bound.json")
    options = parser.parse_args()
    rng = np.random.default_rng(1)
    parts = [rows(options.corpus, split, rng, options.seconds) for split in ("train", "tune")]
    x = np.concatenate([np.array(p[0]) for p in parts])
    y = np.concatenate([np.array(p[1]) for p in parts])
    mean, deviation = x.mean(axis=0), x.std(axis=0)

    def design(inputs: NDArray[np.float64]) -> NDArray[np.float64]:
        z = (inputs - mean) / deviation
        return np.column_stack([np.ones(len(z)), z, z**2, z[:, :1] * z[:, 1:]])

    a = design(x)
    weights = np.linalg.solve(a.T @ a + 1e-2 * np.eye(a.shape[1]), a.T @ y)
    test, truth = rows(options.corpus, "test", rng, options.seconds)
    error = design(np.array(test)) @ weights - np.array(truth)
    print(f"all: {np.sqrt(np.mean(error**2)):.2f} dB RMS")
    found = {"seconds": options.seconds, "cuts": CUTS["test"], "all_db": float(np.sqrt(np.mean(error**2)))}
    for drive_db in DRIVES_DB:
        e = error[np.array(truth) == drive_db]
        print(f"drive {drive_db:.0f} dB: {np.sqrt(np.mean(e**2)):.2f} dB RMS, bias {e.mean():+.2f}")
        found[f"at_{drive_db:.0f}_db"] = float(np.sqrt(np.mean(e**2)))
    if options.out is not None:
        options.out.write_text(json.dumps(found))


if __name__ == "__main__":
    main()
