"""What the drive model errs by on talkers it learnt from, in overs it never met: what is not the talker's.

``python -m tests.benchmarks.accuracy.familiar FRESH --out SET/familiar.json`` takes lessons of the train and
tune splits that `lessons.py` rendered by a seed of their own, with which nothing was trained. What the model
errs by there, no more talkers to learn from would take away: the noise, the unknown receiver, filter and
limiter, and how little speech there is.
"""

import argparse
import json
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from audiotest.measure.drivefeatures import DriveFeatures
from audiotest.measure.drivemodel import model_figures
from tests.benchmarks.accuracy import score
from tests.benchmarks.accuracy.report import CLEARLY_HEARD_DB
from tests.benchmarks.accuracy.train import TOLD, Data

LEARNT_COLUMN = -1
"""Of an over's figures: whether the path was known."""
LONG_S = 5.0
"""Of active speech, about what 7 s of talking hold."""
FRAMES_PER_S = 50


def drives(data: Data, told_db: NDArray[np.float32] | None = None) -> NDArray[np.float64]:
    """What the model says of the drive, shape (n,), in dB; told of the ceiling, if that is known."""
    said = []
    for k, (frames, whole) in enumerate(zip(data.frames, data.whole, strict=True)):
        features = DriveFeatures(frames.astype(np.float32), whole.astype(np.float32))
        said.append(model_figures(features, None if told_db is None else float(told_db[k])).drive_db)
    return np.array(said)


def errors(data: Data, said: NDArray[np.float64], some: NDArray[np.bool_]) -> dict[str, float | int]:
    """RMS and median error over some plain overs of the drives aimed at."""
    true = data.targets[:, 0]
    chosen = some & (data.kinds == 0) & (true >= score.BETWEEN_DB[0]) & (true < score.BETWEEN_DB[1])
    error = (said - true)[chosen]
    return {
        "n": int(np.sum(chosen)), "rms_db": float(np.sqrt(np.mean(error**2))),
        "median_db": float(np.median(np.abs(error))),
    }  # fmt: skip


def judged(paths: list[Path]) -> dict[str, Any]:
    """The drive's error as heard, with the path known, and with the ceiling known as well."""
    data = Data(paths)
    told_db = np.concatenate([np.load(path)["targets"][:, TOLD] for path in paths])
    known = data.whole[:, LEARNT_COLUMN] > 0.5
    seconds = np.array([len(frames) for frames in data.frames]) / FRAMES_PER_S
    clear = (data.targets[:, 4] >= CLEARLY_HEARD_DB) & (seconds >= LONG_S)
    plain, by_ceiling = drives(data), drives(data, np.nan_to_num(told_db))
    rows = {
        "heard": (plain, ~known), "path": (plain, known),
        "ceiling": (by_ceiling, known & np.isfinite(told_db)),
    }  # fmt: skip
    return {"talkers": len(set(data.talkers))} | {
        name: {"all": errors(data, said, some), "clear": errors(data, said, some & clear)}
        for name, (said, some) in rows.items()
    }


def main() -> None:
    """Judge, print, write."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("lessons", type=Path)
    parser.add_argument("--out", type=Path, required=True)
    options = parser.parse_args()
    found = judged(sorted(options.lessons.glob("lesson-*.npz")))
    print(json.dumps(found, indent=1))
    options.out.write_text(json.dumps(found, indent=1) + "\n")


if __name__ == "__main__":
    main()
