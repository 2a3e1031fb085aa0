"""Choosing the live channel of a running stereo input."""

import numpy as np
import pytest
from numpy.typing import NDArray

from audiotest.feeds.channels import ChannelChooser

RATE_HZ = 48000


def feed(chooser: ChannelChooser, first: float, second: float, seconds: float = 1.0) -> int:
    rng = np.random.default_rng(2)
    column = 0
    for _ in range(round(seconds / 0.02)):
        frames: NDArray[np.float32] = (rng.normal(size=(960, 2)) * [first, second]).astype(np.float32)
        column = chooser.choose(frames + np.float32(0.3))
    return column


@pytest.mark.parametrize(
    ("first", "second", "column"),
    [(0.1, 1e-5, 0), (1e-5, 0.1, 1), (0.1, 0.1, 0), (0.1, 0.2, 0), (0.01, 0.2, 1), (0.0, 0.1, 1)],
)
def test_the_channel_with_the_signal_is_taken(first: float, second: float, column: int) -> None:
    chooser = ChannelChooser(RATE_HZ)
    assert feed(chooser, first, second) == column
    assert chooser.notes[0].startswith(f"channel {column + 1} of 2")


def test_silence_decides_nothing_and_a_decision_stays() -> None:
    chooser = ChannelChooser(RATE_HZ)
    assert feed(chooser, 1e-5, 1e-4) == 0
    assert chooser.notes == ()
    assert feed(chooser, 1e-5, 0.1) == 1
    assert feed(chooser, 0.5, 1e-5) == 1
