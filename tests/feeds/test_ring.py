"""The ring: nothing is lost unseen, whatever the sizes."""

import threading

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from audiotest.feeds.ring import GAPS_KEPT, SampleRing


@given(
    capacity_n=st.integers(1, 40),
    steps=st.lists(
        st.one_of(
            st.tuples(st.just("write"), st.integers(0, 50)),
            st.tuples(st.just("read"), st.integers(1, 50)),
            st.tuples(st.just("lose"), st.integers(1, 9)),
        ),
        max_size=60,
    ),
)
def test_every_sample_is_read_in_order_or_counted_at_its_place(
    capacity_n: int, steps: list[tuple[str, int]]
) -> None:
    ring = SampleRing(capacity_n, 2)
    sent = 0  # position in the stream the sound card saw, lost samples included
    expected = 0  # the position the next sample read must carry

    def read(longest_n: int) -> None:
        nonlocal expected
        frames, lost_n = ring.read(longest_n)
        assert len(frames) <= longest_n
        if len(frames) == 0:
            assert lost_n == 0
        expected += lost_n
        np.testing.assert_array_equal(frames[:, 0], np.arange(expected, expected + len(frames)))
        np.testing.assert_array_equal(frames[:, 1], -frames[:, 0])
        expected += len(frames)

    for what, n in steps:
        if what == "write":
            ramp = np.arange(sent, sent + n, dtype=np.float32)
            ring.write(np.stack([ramp, -ramp], axis=1))
            sent += n
        elif what == "lose":
            ring.lose(n)
            sent += n
        else:
            read(n)
    while ring.ready_n:
        read(capacity_n)
    ring.write(np.array([[sent, -sent]], dtype=np.float32))
    read(1)
    assert expected == sent + 1


def test_more_gaps_than_marks_are_still_counted() -> None:
    ring = SampleRing(10_000, 1)
    frame = np.zeros((1, 1), dtype=np.float32)
    for _ in range(GAPS_KEPT + 50):
        ring.lose(1)
        ring.write(frame)
    counted = 0
    while ring.ready_n:
        counted += ring.read(100)[1]
    ring.write(frame)
    counted += ring.read(1)[1]
    assert counted == GAPS_KEPT + 50


def test_a_writer_and_a_reader_in_two_threads_agree() -> None:
    ring = SampleRing(1000, 1)
    total_n = 200_000

    def write() -> None:
        sent = 0
        rng = np.random.default_rng(5)
        while sent < total_n:
            n = min(int(rng.integers(1, 400)), total_n - sent)
            ring.write(np.arange(sent, sent + n, dtype=np.float32)[:, np.newaxis])
            sent += n

    writer = threading.Thread(target=write)
    writer.start()
    expected = 0
    while writer.is_alive() or ring.ready_n:
        frames, lost_n = ring.read(256)
        expected += lost_n
        np.testing.assert_array_equal(frames[:, 0], np.arange(expected, expected + len(frames)))
        expected += len(frames)
    writer.join()
    assert 0 < expected <= total_n
