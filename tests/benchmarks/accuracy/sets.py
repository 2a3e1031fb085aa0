"""Reads what `make_set.py` rendered."""

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray


def read_shard(path: Path) -> Iterator[tuple[dict[str, Any], NDArray[np.float32]]]:
    """Record and samples (float32, full scale 1.0) of every over of a shard, in order."""
    records = json.loads(path.with_suffix(".json").read_text())
    with np.load(path) as shard:
        audio = shard["audio"]
    for record in records:
        part = audio[record["first_n"] : record["first_n"] + record["count_n"]]
        yield record, part.astype(np.float32) / np.float32(32768.0)


def read_set(folder: Path, split: str) -> Iterator[tuple[dict[str, Any], NDArray[np.float32]]]:
    """Record and samples of every over of a split, in order."""
    for path in sorted(folder.glob(f"{split}-*.npz")):
        yield from read_shard(path)
