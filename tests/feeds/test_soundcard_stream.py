"""The samples of a made-up PortAudio: what is lost, how an input fails, and how it is closed."""

import gc
import threading
import time

import numpy as np
import pytest

from audiotest.errors import DeviceError
from audiotest.feeds import soundcard
from audiotest.feeds.soundcard import open_input
from tests.feeds.fakecard import FakeCard, FakePortAudioError, ramp

pytestmark = pytest.mark.usefixtures("fake_card")


def test_the_callback_is_asked_for_whole_blocks_and_room_behind_it() -> None:
    """A callback of a few samples costs as much as one of a block, and Python is not always to be had."""
    open_input(1, 48000).close()
    FakeCard.devices[1]["default_high_input_latency"] = 0.18
    open_input(1, 44100).close()
    asked = [(stream.options["blocksize"], stream.options["latency"]) for stream in FakeCard.streams]
    assert asked == [(960, soundcard.BUFFER_S), (882, 0.18)]


def test_blocks_carry_the_chosen_channel_and_the_losses_at_their_place() -> None:
    source = open_input(1, 48000, 2)
    blocks = source.blocks()
    stream_frames = np.stack([np.zeros(960), np.arange(960)], axis=1).astype(np.float32)
    threading.Timer(0.02, lambda: FakeCard.streams[-1].deliver(stream_frames)).start()
    first = next(blocks)
    assert (first.lost_n, len(first.samples), first.samples.dtype) == (0, 960, np.float32)
    np.testing.assert_array_equal(first.samples, np.arange(960))
    FakeCard.streams[-1].deliver(stream_frames[:500])
    FakeCard.streams[-1].deliver(stream_frames, overflow=True)
    got = [next(blocks), next(blocks)]
    assert [(len(block.samples), block.lost_n) for block in got] == [(500, 0), (960, 1)]
    assert source.lost_n == 1
    source.close()
    assert list(blocks) == []


def test_a_reader_that_is_too_slow_counts_what_did_not_fit(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(soundcard, "RING_S", 0.1)
    source = open_input(2, 48000)
    blocks = source.blocks()
    threading.Timer(0.02, lambda: FakeCard.streams[-1].deliver(ramp(0, 960))).start()
    next(blocks)
    for k in range(1, 8):
        FakeCard.streams[-1].deliver(ramp(960 * k, 960))
    taken = [next(blocks) for _ in range(5)]
    FakeCard.streams[-1].deliver(ramp(960 * 8, 960))
    late = next(blocks)
    assert [block.lost_n for block in taken] == [0] * 5
    assert late.lost_n == 2 * 960
    assert late.samples[0] == 8 * 960
    source.close()


def test_an_input_that_stops_delivering_gives_the_rest_and_then_an_error() -> None:
    source = open_input(2, 48000)
    blocks = source.blocks()
    threading.Timer(0.02, lambda: FakeCard.streams[-1].deliver(ramp(0, 1000))).start()
    assert len(next(blocks).samples) == 960
    assert len(next(blocks).samples) == 40
    with pytest.raises(DeviceError, match="stopped delivering: check the plug"):
        next(blocks)
    assert FakeCard.streams[-1].closed


def test_a_program_that_stood_still_does_not_blame_the_input(monkeypatch: pytest.MonkeyPatch) -> None:
    # Far more than a busy machine takes for this, far less than the hour of sleep.
    monkeypatch.setattr(soundcard, "NO_DATA_S", 20.0)
    source = open_input(2, 48000)
    blocks = source.blocks()
    threading.Timer(0.02, lambda: FakeCard.streams[-1].deliver(ramp(0, 960))).start()
    next(blocks)
    now, slept_s = time.monotonic, [0.0]
    monkeypatch.setattr(soundcard.time, "monotonic", lambda: now() + slept_s[0])

    def sleep_and_deliver() -> None:
        slept_s[0] = 3600.0
        time.sleep(0.03)
        FakeCard.streams[-1].deliver(ramp(960, 960))

    threading.Timer(0.02, sleep_and_deliver).start()
    assert next(blocks).samples[0] == 960
    source.close()


def test_an_input_that_never_comes_back_from_its_start_is_given_up(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(soundcard, "START_PATIENCE_S", 0.1)
    source = open_input(2, 48000)
    monkeypatch.setattr(soundcard, "CLOSE_PATIENCE_S", 0.1)
    stream = FakeCard.streams[-1]
    monkeypatch.setattr(stream, "start", lambda: FakeCard.release.wait(10.0))
    with pytest.raises(DeviceError, match="does not start: no answer"):
        next(source.blocks())
    # PortAudio 19.6 ends the whole program when it is told to stop what it still tries to start.
    assert not stream.closed


@pytest.mark.parametrize(("code", "tries"), [(-9987, 3), (-9985, 1)])
def test_a_start_that_came_too_late_is_tried_again(
    monkeypatch: pytest.MonkeyPatch, code: int, tries: int
) -> None:
    """On a busy machine PortAudio gives its thread up after a second; what refuses for good is asked once."""
    source = open_input(2, 48000)
    stream = FakeCard.streams[-1]
    errors = [FakePortAudioError("Error starting stream: Wait timed out", code) for _ in range(2)]
    started: list[int] = []

    def start() -> None:
        started.append(1)
        if errors:
            stream.options["finished_callback"]()
            raise errors.pop()
        stream.deliver(ramp(0, 960))

    monkeypatch.setattr(stream, "start", start)
    if tries == 1:
        with pytest.raises(DeviceError, match="does not start: Error starting stream"):
            next(source.blocks())
    else:
        assert len(next(source.blocks()).samples) == 960
    assert len(started) == tries
    source.close()


def test_the_collector_does_not_look_through_the_libraries_in_the_callback() -> None:
    gc.unfreeze()
    counts = []
    for _ in range(2):
        source = open_input(2, 48000)
        threading.Timer(0.02, lambda: FakeCard.streams[-1].deliver(ramp(0, 960))).start()
        next(source.blocks())
        source.close()
        counts.append(gc.get_freeze_count())
    gc.unfreeze()
    assert counts[0] > 10000
    # What came after the first start is collected as ever.
    assert counts[1] <= counts[0]


def test_what_is_no_sample_of_sound_counts_as_lost() -> None:
    source = open_input(2, 48000)
    blocks = source.blocks()
    frames = ramp(0, 960) / 960.0
    frames[:3, 0] = (np.nan, np.inf, -3e38)
    threading.Timer(0.02, lambda: FakeCard.streams[-1].deliver(frames)).start()
    block = next(blocks)
    assert (block.lost_n, source.lost_n) == (3, 3)
    np.testing.assert_array_equal(block.samples[:4], [0.0, 0.0, 0.0, np.float32(3 / 960)])
    source.close()


def test_an_input_that_finishes_by_itself_is_noticed_at_once(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(soundcard, "FIRST_DATA_S", 60.0)
    source = open_input(2, 48000)
    threading.Timer(0.05, lambda: FakeCard.streams[-1].options["finished_callback"]()).start()
    with pytest.raises(DeviceError, match="stopped delivering"):
        next(source.blocks())


def test_an_error_in_the_callback_reaches_the_reader() -> None:
    source = open_input(2, 48000)
    threading.Timer(0.02, lambda: FakeCard.streams[-1].deliver(np.zeros((10, 3, 2)))).start()
    with pytest.raises(DeviceError, match="the input failed") as caught:
        next(source.blocks())
    assert isinstance(caught.value.__cause__, ValueError)


def test_close_ends_a_wait_from_another_thread_and_never_hangs(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(soundcard, "FIRST_DATA_S", 60.0)
    source = open_input(2, 48000)
    threading.Timer(0.05, source.close).start()
    assert list(source.blocks()) == []
    FakeCard.hangs = True
    stuck = open_input(2, 48000)
    started_s = time.monotonic()
    stuck.close()
    stuck.close()
    assert time.monotonic() - started_s < 2.0


def test_a_second_start_listens_again() -> None:
    for _ in range(2):
        source = open_input(2, 48000)
        threading.Timer(0.02, lambda: FakeCard.streams[-1].deliver(ramp(0, 960))).start()
        assert len(next(source.blocks()).samples) == 960
        source.close()
    assert len(FakeCard.streams) == 2
    assert all(stream.closed for stream in FakeCard.streams)
