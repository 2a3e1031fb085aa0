"""The one small protocol that every source of audio speaks."""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

WILDEST_FS = 1e9
"""What is beyond this, or no number, is no sample of sound; no source. The square of what is left is still a
number of 32 bits."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Block:
    """A stretch of one channel, in order.

    ``samples`` is float32, shape (n,), full scale 1.0; ``lost_n`` counts the samples known to be missing
    just before it (0 when none).
    """

    samples: NDArray[np.float32]
    lost_n: int = 0


class Source(Protocol):
    """An opened source: a name, a rate, blocks until it ends or is closed."""

    name: str
    sample_rate_hz: int

    def blocks(self) -> Iterator[Block]:
        """Yield blocks in order; raise an `AudiotestError` if the source fails."""

    def close(self) -> None:
        """End the blocks and release; safe to call twice and from another thread."""
