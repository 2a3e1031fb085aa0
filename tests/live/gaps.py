"""Where a recording does not go on as what was played: found sample for sample."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

BLOCK_N = 960
SEARCH_N = 30 * 48000


def place(given: NDArray[np.int16], wanted: NDArray[np.float32], low_n: int, high_n: int) -> int | None:
    """Where in `given`, from `low_n` to `high_n`, a block was taken from, exactly; None if nowhere."""
    low_n = max(low_n, 0)
    part = given[low_n : high_n + len(wanted)]
    found = np.arange(len(part) - len(wanted) + 1)
    for k, code in enumerate(wanted):
        found = found[part[found + k] == code]
        if len(found) == 0:
            return None
    return low_n + int(found[0])


@dataclass
class Gap:
    """Samples that are missing before a position of what was caught; fewer than none came from nowhere."""

    at_n: int
    missing_n: int


def gaps(given: NDArray[np.int16], caught: NDArray[np.float32]) -> list[Gap]:
    """Every place at which what was caught does not go on as what was given."""
    offset = place(given, caught[:BLOCK_N], 0, len(given))
    assert offset is not None, "the beginning is not found"
    assert np.any(caught[:BLOCK_N]), "the beginning is silence"
    found: list[Gap] = []
    for at in range(0, len(caught) - BLOCK_N, BLOCK_N):
        block = caught[at : at + BLOCK_N]
        expected_n = offset + at
        if expected_n + BLOCK_N > len(given):
            break
        if np.array_equal(given[expected_n : expected_n + BLOCK_N], block):
            continue
        if not np.any(block):
            # Silence is everywhere alike.
            continue
        now_n = place(given, block, expected_n - SEARCH_N, expected_n + SEARCH_N)
        if now_n is None:
            # The change is within this block: the next whole one tells.
            continue
        found.append(Gap(at, now_n - expected_n))
        offset = now_n - at
    return found


def unreported(lost: list[Gap], marks: list[tuple[int, int]]) -> list[Gap]:
    """The gaps that no mark, (position, samples), stands at; they are found to the block they end in."""
    return [gap for gap in lost if not any(abs(at_n - gap.at_n) <= 2 * BLOCK_N for at_n, _ in marks)]
