"""A source being listened to: the engine in its thread, and beside it what the meters and pictures need."""

import queue
from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from audiotest.advise.rules import turns_deviation
from audiotest.errors import AudiotestError
from audiotest.feeds.protocol import Source
from audiotest.records import Feed, LimitSet, LiveReading
from audiotest.session.engine import Engine
from audiotest.session.guard import HissDrift, HissWatch
from audiotest.session.worker import Worker, WorkerEvent
from audiotest.units import amplitude_db
from audiotest.window.ballistics import VolumeIndicator
from audiotest.window.tape import AudioTape

if TYPE_CHECKING:
    from audiotest.keep.along import Along


@dataclass(frozen=True, slots=True, kw_only=True)
class MeterLevels:
    """The needles at one moment of the stream."""

    time_s: float
    level_dbfs: float | None
    peak_dbfs: float | None


class Listening:
    """One run of one source; everything public may be called from the window's thread.

    Parameters
    ----------
    source : Source
        Read in the worker's thread and closed by it.
    feed : Feed or None
        The learned scale.
    limits : LimitSet
        What deviation is held against.
    pause_ends_over_s : float or None
        As for `Engine`.
    wake : callable
        Called in the worker's thread when there is an event to take.
    """

    def __init__(
        self,
        source: Source,
        *,
        feed: Feed | None,
        limits: LimitSet,
        pause_ends_over_s: float | None,
        wake: Callable[[], None] = lambda: None,
    ) -> None:
        self.source = source
        self.feed, self.limits = feed, limits
        self.along: Along | None = None
        """Put here, it is given every sample and over from now on; closed, it takes no more."""
        self.rate_hz = source.sample_rate_hz
        self.events: queue.SimpleQueue[WorkerEvent] = queue.SimpleQueue()
        self.tape = AudioTape(self.rate_hz)
        self._needle = VolumeIndicator(self.rate_hz)
        self._levels: MeterLevels | None = None
        self._engine = Engine(
            self.rate_hz, feed=feed, limits=limits, pause_ends_over_s=pause_ends_over_s,
            moves_ceiling=turns_deviation(feed, limits),
        )  # fmt: skip
        learned_dbfs = None if feed is None else feed.hiss_dbfs
        self._watch = HissWatch(self.rate_hz, learned_dbfs, lambda: not self._engine.in_over)
        self._wake = wake
        self._worker = Worker(source, self._engine, self._tell, on_samples=self._take)

    def start(self) -> None:
        """Begin to listen."""
        self._worker.start()

    def stop(self) -> str | None:
        """End the run and wait for its thread; a word when the input does not let go."""
        try:
            self._worker.stop()
        except AudiotestError as error:
            return str(error)
        return None

    @property
    def running(self) -> bool:
        """True while the source delivers."""
        return self._worker.running

    @property
    def reading(self) -> LiveReading | None:
        """The latest reading of the engine."""
        return self._worker.reading

    @property
    def levels(self) -> MeterLevels | None:
        """Where the needles stand after the last block."""
        return self._levels

    @property
    def hiss_drift(self) -> HissDrift:
        """What open-squelch hiss says about the learned scale."""
        return self._watch.drift

    @property
    def feed_now(self) -> Feed | None:
        """The feed as the drive is told by it: without a ceiling that has moved."""
        return (
            self.feed.without_ceiling() if self.feed is not None and self._engine.ceiling_moved else self.feed
        )

    def _tell(self, event: WorkerEvent) -> None:
        """Run in the worker's thread."""
        if self.along is not None:
            self.along.hear(event)
        self.events.put(event)
        self._wake()

    def _take(self, samples: NDArray[np.float32]) -> None:
        """Run in the worker's thread, once a block."""
        if self.along is not None:
            self.along.push(samples, self.tape.end_n)
        self.tape.append(samples)
        self._needle.push(samples)
        self._watch.push(samples)
        if self._watch.drift.state == "moved":
            self._engine.forget_ceiling()
        self._levels = MeterLevels(
            time_s=self.tape.end_n / self.rate_hz,
            level_dbfs=self._needle.level_dbfs,
            peak_dbfs=amplitude_db(float(np.max(np.abs(samples)))) if len(samples) else None,
        )
