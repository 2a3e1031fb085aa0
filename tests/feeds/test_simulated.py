"""Simulated audio as a source."""

import threading
import time

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from audiotest.errors import RequestError
from audiotest.feeds.simulated import SimulatedSource


@given(length_n=st.integers(0, 5000), block_n=st.integers(1, 2000))
def test_blocks_are_the_audio_in_order(length_n: int, block_n: int) -> None:
    audio = np.arange(length_n, dtype=np.float32)
    blocks = list(SimulatedSource(audio, 8000, block_s=block_n / 8000).blocks())
    assert all(len(block.samples) == block_n for block in blocks[:-1])
    assert all(block.lost_n == 0 for block in blocks)
    joined = np.concatenate([np.zeros(0, dtype=np.float32), *(block.samples for block in blocks)])
    np.testing.assert_array_equal(joined, audio)


def test_real_time_is_never_ahead_of_the_clock() -> None:
    source = SimulatedSource(np.zeros(4800), 48000, real_time=True)
    started_s = time.monotonic()
    taken_n = 0
    for block in source.blocks():
        taken_n += len(block.samples)
        assert time.monotonic() - started_s >= taken_n / 48000 - 1e-3
    assert taken_n == 4800


def test_close_from_another_thread_ends_a_wait() -> None:
    source = SimulatedSource(np.zeros(48000 * 60), 48000, real_time=True, block_s=30.0)
    threading.Timer(0.1, source.close).start()
    started_s = time.monotonic()
    assert list(source.blocks()) == []
    assert time.monotonic() - started_s < 5.0


def test_a_block_without_a_sample_is_refused() -> None:
    with pytest.raises(RequestError, match="holds no sample"):
        SimulatedSource(np.zeros(10), 8000, block_s=1e-5)
