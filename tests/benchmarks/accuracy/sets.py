"""Reads what `make_set.py` rendered."""

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray


def talkers_of(corpus: Path, *splits: str) -> list[dict[str, Any]]:
    """The talkers that `voices.py` filled a folder with, of some splits or of all, in its order."""
    index: list[dict[str, Any]] = json.loads((corpus / "index.json").read_text())
    return [talker for talker in index if not splits or talker["split"] in splits]


def recordings(corpus: Path) -> dict[str, Path]:
    """The recording of every talker, by id."""
    return {talker["id"]: corpus / talker["file"] for talker in talkers_of(corpus)}


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
