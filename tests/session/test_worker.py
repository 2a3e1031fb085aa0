"""The thread that pulls a source: order of events, stop, failure, a second start."""

import threading
import time
from collections.abc import Iterator

import numpy as np
import pytest
from numpy.typing import NDArray

from audiotest.errors import DeviceError
from audiotest.feeds.protocol import Block
from audiotest.feeds.simulated import SimulatedSource
from audiotest.records import LimitSet
from audiotest.session import worker as worker_module
from audiotest.session.engine import Engine
from audiotest.session.worker import Ended, OverHeard, Worker, WorkerEvent

RATE_HZ = 48000
LIMITS = LimitSet(
    id="test", title="test", deviation_khz=2.5, spacing_khz=10.0, audio_high_hz=3000.0, channels="", source=""
)  # fmt: skip


def two_overs() -> NDArray[np.float32]:
    """Open-squelch hiss, twice interrupted by two seconds of a quiet carrier with a tone on it."""
    rng = np.random.default_rng(3)
    audio = 0.2 * rng.normal(size=9 * RATE_HZ)
    for start_s in (1.5, 5.5):
        n = np.arange(round(start_s * RATE_HZ), round((start_s + 2.0) * RATE_HZ))
        audio[n] = 0.15 * np.sin(2 * np.pi * 1000 * n / RATE_HZ) + 0.0005 * rng.normal(size=len(n))
    return np.clip(audio, -0.99, 0.99).astype(np.float32)


def engine() -> Engine:
    return Engine(RATE_HZ, feed=None, limits=LIMITS)


class ScriptedSource:
    """Yields what it is told to, then raises or waits to be closed."""

    name = "scripted"
    sample_rate_hz = RATE_HZ

    def __init__(self, blocks: list[Block], error: Exception | None = None, *, waits: bool = False) -> None:
        self._blocks = blocks
        self._error = error
        self._waits = waits
        self.closed = threading.Event()

    def blocks(self) -> Iterator[Block]:
        yield from self._blocks
        if self._waits:
            self.closed.wait()
        if self._error is not None:
            raise self._error

    def close(self) -> None:
        self.closed.set()


def run_to_end(source: ScriptedSource | SimulatedSource) -> tuple[Worker, list[WorkerEvent]]:
    events: list[WorkerEvent] = []
    worker = Worker(source, engine(), events.append)
    worker.start()
    assert worker.join(20.0)
    return worker, events


def test_worker_gives_the_overs_of_the_engine_in_order_and_then_the_end() -> None:
    audio = two_overs()
    alone = engine()
    expected = alone.push(audio) + alone.finish()
    assert len(expected) == 2
    worker, events = run_to_end(SimulatedSource(audio, RATE_HZ))
    assert [event.over for event in events if isinstance(event, OverHeard)] == expected
    assert events[-1] == Ended(error=None)
    assert not worker.running
    assert worker.reading is not None
    assert worker.reading.time_s == pytest.approx(9.0, abs=0.001)


def test_a_failing_source_keeps_what_was_heard_and_hands_its_error_over() -> None:
    audio = two_overs()[: 3 * RATE_HZ]
    failure = DeviceError("gone", "plug it in")
    source = ScriptedSource([Block(samples=audio)], failure)
    worker, events = run_to_end(source)
    assert [type(event) for event in events] == [OverHeard, Ended]
    assert events[-1] == Ended(error=failure)
    assert worker.error is failure
    assert source.closed.is_set()


def test_lost_samples_are_counted() -> None:
    silence = np.zeros(RATE_HZ, dtype=np.float32)
    source = ScriptedSource(
        [Block(samples=silence), Block(samples=silence, lost_n=960), Block(samples=silence, lost_n=1)]
    )
    worker, _ = run_to_end(source)
    assert worker.reading is not None
    assert worker.reading.lost_n == 961


def test_an_error_in_the_listener_ends_the_run_and_is_kept() -> None:
    def refuse(event: WorkerEvent) -> None:
        raise ValueError("no room")

    source = SimulatedSource(two_overs(), RATE_HZ)
    worker = Worker(source, engine(), refuse)
    worker.start()
    assert worker.join(20.0)
    assert isinstance(worker.error, ValueError)


def test_stop_joins_soon_closes_the_running_over_and_a_second_start_works() -> None:
    audio = two_overs()[RATE_HZ : round(3.4 * RATE_HZ)]
    for _ in range(2):
        events: list[WorkerEvent] = []
        taken = threading.Event()
        source = ScriptedSource([Block(samples=audio)], waits=True)
        worker = Worker(source, engine(), events.append, on_samples=lambda _, taken=taken: taken.set())
        worker.start()
        assert taken.wait(10.0)
        assert worker.running
        started_s = time.monotonic()
        worker.stop()
        worker.stop()
        assert time.monotonic() - started_s < 3.0
        assert not worker.running
        assert source.closed.is_set()
        assert [type(event) for event in events] == [OverHeard, Ended]
    with pytest.raises(RuntimeError, match="runs once"):
        worker.start()


def test_stop_waits_for_a_slow_measurement(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(worker_module, "STOP_PATIENCE_S", 0.05)
    monkeypatch.setattr(worker_module, "STOP_LONGEST_S", 0.05)
    taken = threading.Event()

    def slowly(_: NDArray[np.float32]) -> None:
        taken.set()
        time.sleep(0.5)

    events: list[WorkerEvent] = []
    audio = two_overs()[RATE_HZ : round(3.4 * RATE_HZ)]
    worker = Worker(
        ScriptedSource([Block(samples=audio)], waits=True), engine(), events.append, on_samples=slowly
    )
    worker.start()
    assert taken.wait(10.0)
    worker.stop()
    assert [type(event) for event in events] == [OverHeard, Ended]


def test_stop_before_start_releases_the_source() -> None:
    source = ScriptedSource([])
    worker = Worker(source, engine(), lambda event: None)
    worker.stop()
    assert source.closed.is_set()
    assert worker.join()


def test_readings_follow_while_it_runs() -> None:
    source = SimulatedSource(two_overs(), RATE_HZ, real_time=True)
    worker = Worker(source, engine(), lambda event: None)
    worker.start()
    deadline_s = time.monotonic() + 10.0
    seen: set[float] = set()
    while len(seen) < 5 and time.monotonic() < deadline_s:
        if worker.reading is not None:
            seen.add(worker.reading.time_s)
        time.sleep(0.01)
    worker.stop()
    assert len(seen) >= 5
    assert max(seen) < 9.0
