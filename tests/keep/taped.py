"""A recording's folder looked into, and known sound to put there."""

import json
import time
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

import numpy as np

from audiotest.keep.parts import find_parts, read_stretch

RATE_HZ = 8000
WHEN = datetime(2026, 3, 1, 14, 5, 9, tzinfo=UTC)


def journal(folder: Path) -> list[dict]:
    return [json.loads(line) for line in (folder / "recording.jsonl").read_text().splitlines()]


def wait_for(until: Callable[[], bool]) -> None:
    for _ in range(1000):
        if until():
            return
        time.sleep(0.02)
    raise AssertionError("it did not come")


def whole(folder: Path) -> np.ndarray:
    return read_stretch(find_parts(folder), 0, 2**62)
