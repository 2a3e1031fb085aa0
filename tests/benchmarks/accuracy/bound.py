"""How well drive and advice could be told by somebody who knows more: a bound for any method.

``python -m tests.benchmarks.accuracy.bound TOLD --out SET/bound.json`` takes what `told.py` rendered: a hard
limiter without any noise, seen at the limiter itself, the threshold known, and behind a splatter filter that
is known and undone, the threshold known or not. Several methods tell the drive from it: a polynomial of
amplitude statistics; gradient boosted trees on all inputs of the drive model, the levels re the threshold and
the tops rebuilt by parabolas; the drive model's own network; trees and network averaged. They are fitted to
the talkers of the train and tune splits and judged on the test split's. What is left at the limiter is the
talker's own: how far his peaks stand over what he says most of the time; behind the filter it is what is
taken away as well.

The advice is what the tool's own table says of the mic gain when it is told the drive as well as that, with
an interval as wide as the same method, fitted to the train split's talkers, errs on the tune split's; the
network states its own.
"""

import argparse
import json
from collections.abc import Callable
from copy import copy
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray
from sklearn.ensemble import HistGradientBoostingRegressor

from audiotest.advise.rules import judge_mic_gain
from audiotest.measure.drivefeatures import DriveFeatures
from audiotest.measure.drivemodel import model_figures
from audiotest.records import Limiter
from tests.benchmarks.accuracy import score
from tests.benchmarks.accuracy.score import Prediction, Record
from tests.benchmarks.accuracy.told import HEIGHTS, LEVELLED, LEVELS_DB, SECONDS, TOPS
from tests.benchmarks.accuracy.train import LOWEST_DB, WHOLE_N, Data, fit, predict

STATISTICS_N = len(LEVELS_DB) + 6
VIEW_N = STATISTICS_N + len(TOPS) + 3
PARTS = {
    "limiter": slice(0, VIEW_N),
    "splatter": slice(VIEW_N, 2 * VIEW_N + WHOLE_N),
    "relative": slice(2 * VIEW_N, 2 * VIEW_N + WHOLE_N),
    "unlimited": slice(2 * VIEW_N + WHOLE_N, None),
}
"""What `told.py` writes of an over as a whole; the last tells what the filter took of the peaks."""
BEHIND = ("splatter", "relative")
"""What is seen behind the filter: the threshold known, or not."""
TOP = {"limiter": STATISTICS_N + 1, "unlimited": 1}
"""Where there is a 99.9th percentile of a wave without a limiter."""
TREES = {
    "max_iter": 500, "learning_rate": 0.05, "min_samples_leaf": 15, "max_features": 0.3, "random_state": 0,
}  # fmt: skip
WIDTH = 96
RATE = 2e-3
NEAREST = 0.12
"""Of the tune split's overs: those read nearest to a drive say how far such a reading errs."""
FAINT_RATIO = 0.8
"""Peak over limit of every over here: that of the clear cases that want a raise."""
WANTED = ("raise", "keep", "lower")
Array = NDArray[np.float64]
Method = Callable[[Data], Array]


def at_view(data: Data, view: str) -> Array:
    """Figures of the whole over in one view."""
    return np.asarray(data.whole[:, PARTS[view]], dtype=np.float64)


def drives(data: Data) -> Array:
    """What the methods learn: the drive, alike for all that lies well below the limiter."""
    return np.maximum(data.targets[:, 0], LOWEST_DB).astype(np.float64)


def polynomial(data: Data, view: str) -> Method:
    """A ridge fit of the amplitude statistics, with their squares and products with the share clipped."""
    x = at_view(data, view)[:, :STATISTICS_N]
    mean, deviation = x.mean(axis=0), x.std(axis=0) + 1e-6

    def design(inputs: Array) -> Array:
        z = np.clip((inputs - mean) / deviation, -4.0, 4.0)
        return np.column_stack([np.ones(len(z)), z, z**2, z[:, :1] * z[:, 1:]])

    a = design(x)
    weights = np.linalg.solve(a.T @ a + 1e-1 * np.eye(a.shape[1]), a.T @ drives(data))
    return lambda test: np.asarray(design(at_view(test, view)[:, :STATISTICS_N]) @ weights)


def frames_of(data: Data, view: str) -> list[NDArray[np.float16]]:
    """What is seen of every frame; without the threshold only what does not depend on the level."""
    if view == "splatter":
        return data.frames
    return [frames[:, : -len(LEVELLED) * HEIGHTS] for frames in data.frames]


def rich(data: Data, view: str) -> Array:
    """All there is of a view in one row: behind the filter the means of all and of the loudest frames too."""
    if view not in BEHIND:
        return at_view(data, view)
    pooled = []
    for frames in frames_of(data, view):
        some = frames.astype(np.float64)
        loudest = np.argsort(some[:, 0])[-max(3, len(some) // 10) :]
        pooled.append(np.concatenate([some.mean(axis=0), some[loudest].mean(axis=0)]))
    return np.column_stack([at_view(data, view), np.array(pooled)])


def top_db(data: Data, view: str) -> Array:
    """The 99.9th percentile without a limiter re the threshold, true or rebuilt; 0 where there is none."""
    return at_view(data, view)[:, TOP[view]] if view in TOP else np.zeros(len(data.whole))


def trees(data: Data, view: str) -> Method:
    """Gradient boosted trees on all that is seen; at the limiter for what the rebuilt tops err by."""
    wanted = drives(data) if view not in TOP else data.targets[:, 0]
    model = HistGradientBoostingRegressor(**TREES).fit(rich(data, view), wanted - top_db(data, view))
    return lambda test: np.asarray(model.predict(rich(test, view)) + top_db(test, view))


def of_view(data: Data, view: str) -> Data:
    """The same overs as the network may see them: nothing of the limiter's own output."""
    own = copy(data)
    own.whole, own.frames = data.whole[:, PARTS[view]], frames_of(data, view)
    return own


def network(data: Data, view: str, minutes: float) -> Method:
    """The drive model's own network, trained on a view; it says its interval itself."""
    own = of_view(data, view)
    scale = own.scale()
    net = fit(own, scale, seed=0, minutes=minutes, width=WIDTH, rate=RATE)
    return lambda test: 10.0 * predict([net], of_view(test, view), scale)[:, :3].astype(np.float64)


def shipped(data: Data) -> Array:
    """What the drive model as shipped says of the view without the threshold, shape (n, 3)."""
    own = of_view(data, "relative")
    rows = []
    for frames, whole in zip(own.frames, own.whole, strict=True):
        figures = model_figures(DriveFeatures(frames.astype(np.float32), whole.astype(np.float32)))
        rows.append((figures.low_db, figures.drive_db, figures.high_db))
    return np.array(rows)


def with_interval(said: Array, tune_said: Array, tune_true: Array) -> Array:
    """Readings, shape (n, 3), between 5th and 95th percentile of how such ones erred on the tune split."""
    order = np.argsort(tune_said)
    ranked, error = tune_said[order], (tune_true - tune_said)[order]
    half = max(20, round(NEAREST * len(order) / 2))
    rows = []
    for value in said:
        middle = int(np.clip(np.searchsorted(ranked, value), half, len(ranked) - half))
        low, high = np.quantile(error[middle - half : middle + half], (0.05, 0.95))
        rows.append((value + min(low, 0.0), value, value + max(high, 0.0)))
    return np.array(rows)


def as_predictions(said: Array) -> list[Prediction]:
    """Readings, shape (n, 3), as the scores want them."""
    keys = ("low_db", "drive_db", "high_db")
    return [dict(zip(keys, map(float, row), strict=True)) for row in said]


def advised(said: Prediction) -> str:
    """What the tool's table says of the mic gain."""
    limiter = Limiter(
        drive_db=said["drive_db"], drive_low_db=said["low_db"], drive_high_db=said["high_db"],
        clipped_fraction=None, reached=None,
    )  # fmt: skip
    return judge_mic_gain(limiter).turn


def judged(test: Data, predictions: list[Prediction]) -> dict[str, Any]:
    """Errors of the drive by what it is, best and worst talker, and the advice in clear cases."""
    in_band_db = top_db(test, "unlimited") - test.targets[:, 0]
    records: list[Record] = [
        {"id": k, "truth": {"drive_db": float(drive), "peak_khz": FAINT_RATIO}, "limit_khz": 1.0}
        for k, drive in enumerate(test.targets[:, 0])
    ]
    told: dict[Any, Prediction] = {
        k: said | {"mic_gain": advised(said)} for k, said in enumerate(predictions)
    }

    def between(lo: float, hi: float, talker: str | None = None) -> list[Record]:
        return [
            r for r in records
            if lo <= r["truth"]["drive_db"] < hi and talker in (None, test.talkers[r["id"]])
        ]  # fmt: skip

    within = between(*score.BETWEEN_DB)
    talkers = [
        float(score.drive_row(between(*score.BETWEEN_DB, talker), told)["rms_db"] or 0.0)
        for talker in sorted(set(test.talkers))
    ]
    return {
        "all": score.drive_row(within, told),
        "bins": [score.drive_row(between(lo, hi), told)["rms_db"] for lo, hi in score.BINS_DB],
        "in_band": [
            score.drive_row([r for r in within if lo <= in_band_db[r["id"]] < hi], told)["rms_db"]
            for lo, hi in score.IN_BAND_DB
        ],
        "best_talker_db": min(talkers), "worst_talker_db": max(talkers),
        "advice": {wanted: score.advice_row(records, told, "mic_gain", wanted) for wanted in WANTED}
        | {"all": score.advice_row(records, told, "mic_gain")},
    }  # fmt: skip


def main() -> None:
    """Fit, judge, print, write."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("told", type=Path, help="folder that `told.py` filled")
    parser.add_argument("--minutes", type=float, default=15.0, help="for each of two networks")
    parser.add_argument("--out", type=Path, help="JSON for the page, such as SET/bound.json")
    parser.add_argument(
        "--only-shipped", action="store_true", help="judge the drive model again, keep the rest of OUT"
    )
    options = parser.parse_args()
    if options.only_shipped and options.out is None:
        parser.error("--only-shipped keeps the rest of --out, which is missing")
    paths = {split: sorted(options.told.glob(f"{split}-*.npz")) for split in ("train", "tune", "test")}
    if options.only_shipped:
        test = Data(paths["test"])
        kept = json.loads(options.out.read_text())
        kept["methods"]["relative_shipped"] = judged(test, as_predictions(shipped(test)))
        options.out.write_text(json.dumps(kept))
        return
    train, tune, test = (Data(paths[split]) for split in ("train", "tune", "test"))
    both = Data(paths["train"] + paths["tune"])
    found: dict[str, Any] = {
        "seconds": SECONDS, "overs": len(test.targets), "talkers": len(set(test.talkers)), "methods": {}
    }  # fmt: skip

    def enter(view: str, name: str, said: Array) -> Array:
        found["methods"][f"{view}_{name}"] = judged(test, as_predictions(said))
        print(view, name, json.dumps(found["methods"][f"{view}_{name}"]), flush=True)
        if options.out is not None:
            options.out.write_text(json.dumps(found))
        return said

    for view in ("limiter", "splatter"):
        said, tuned = polynomial(both, view)(test), polynomial(train, view)(tune)
        enter(view, "polynomial", with_interval(said, tuned, drives(tune)))
    by_trees = {}
    for view in ("limiter", *BEHIND):
        said, tuned = trees(both, view)(test), trees(train, view)(tune)
        by_trees[view] = enter(view, "trees", with_interval(said, tuned, drives(tune)))
    enter("relative", "shipped", shipped(test))
    for view in BEHIND:
        by_network = enter(view, "network", network(both, view, options.minutes)(test))
        enter(view, "mean", 0.5 * (by_trees[view] + by_network))


if __name__ == "__main__":
    main()
