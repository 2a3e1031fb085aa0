"""Measures a rendered set with the tool's own engine and advice, and has the accuracy page made of it.

``python -m tests.benchmarks.accuracy.run SET --seen no`` (from the top of the repository) writes what was
measured of every over into ``docs/accuracy-overs.json``, then page and plots as ``page.py`` does, and, beside
the set, ``predictions-test.json`` with more of what the tool said than the page shows. What further scripts
left beside the set (``page.FURTHER``) is taken along.
"""

import argparse
import json
import time
from concurrent.futures import ProcessPoolExecutor
from dataclasses import replace
from functools import partial
from pathlib import Path

from audiotest.records import PathResponse
from tests.benchmarks.accuracy import overs, page, telltales
from tests.benchmarks.accuracy.crest import baseline, baseline_predictions
from tests.benchmarks.accuracy.listening import measured, model_sha256
from tests.benchmarks.accuracy.paths import read_paths
from tests.benchmarks.accuracy.score import Prediction
from tests.benchmarks.accuracy.sets import read_shard


def _shard_predictions(path: Path, learnt: dict[str, PathResponse] | None) -> dict[str, Prediction]:
    return {
        record["id"]: measured(record, audio, learnt.get(record["id"]) if learnt else None)
        for record, audio in read_shard(path)
        if learnt is None or record["id"] in learnt
    }


def predict(
    folder: Path, split: str, workers: int, learnt: dict[str, PathResponse] | None = None
) -> dict[str, Prediction]:
    """Predictions of the tool for every over of a split; with `learnt` for those whose path was learnt."""
    shards = sorted(folder.glob(f"{split}-*.npz"))
    predictions: dict[str, Prediction] = {}
    with ProcessPoolExecutor(workers) as pool:
        for part in pool.map(partial(_shard_predictions, learnt=learnt), shards):
            predictions |= part
    return predictions


def measured_set(folder: Path, split: str, seen: str, workers: int) -> overs.Measured:
    """All of a split: the tool's predictions, without and with the path learnt, and the baseline's."""
    model = model_sha256()
    tool = predict(folder, split, workers)
    (folder / f"predictions-{split}.json").write_text(json.dumps(tool))
    with_path: dict[str, Prediction] = {}
    if (folder / f"paths-{split}.json").exists():
        paths = {name: replace(path, ceiling_fs=None) for name, path in read_paths(folder, split).items()}
        with_path = predict(folder, split, workers, paths)
    outband = folder / "outband.json"
    in_band_db = json.loads(outband.read_text()) if outband.exists() else {}
    records, crest = baseline_predictions(folder, split, baseline(folder))
    return overs.Measured(
        model_sha256=model,
        seen=seen,
        records=[record | {"in_band_db": in_band_db.get(record["id"])} for record in records],
        tool=tool,
        crest=crest,
        path=with_path,
        telltales=telltales.all_said(),
        further={
            name: json.loads(file.read_text())
            for name in page.FURTHER
            if (file := folder / f"{name}.json").exists()
        },
    )


def main() -> None:
    """Measure, keep, write."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("set", type=Path)
    parser.add_argument("--docs", type=Path, default=page.DOCS)
    parser.add_argument("--split", default="test")
    parser.add_argument(
        "--seen", choices=sorted(page.SEEN), required=True, help="was the model trained on them?"
    )
    parser.add_argument("--workers", type=int, default=1)
    options = parser.parse_args()
    began = time.perf_counter()
    found = measured_set(options.set, options.split, options.seen, options.workers)
    print(f"{len(found.records)} overs measured in {time.perf_counter() - began:.0f} s")
    options.docs.mkdir(exist_ok=True)
    overs.write(found, options.docs / page.OVERS)
    page.write(options.docs)


if __name__ == "__main__":
    main()
