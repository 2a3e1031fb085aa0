"""A source being listened to: the engine in its thread, and beside it what the meters and pictures need."""

import queue
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from audiotest.errors import AudiotestError
from audiotest.feeds.protocol import Source
from audiotest.measure.filters import bandpass
from audiotest.records import Feed, LimitSet, LiveReading
from audiotest.session.engine import Engine
from audiotest.session.worker import Worker, WorkerEvent
from audiotest.units import amplitude_db
from audiotest.window.ballistics import VolumeIndicator
from audiotest.window.tape import AudioTape

HISS_BAND_HZ = (300.0, 3400.0)
HISS_MOVED_DB = 1.5
HISS_ABSENT_DB = 15.0
HISS_SPREAD = 0.25


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
    """

    def __init__(
        self, source: Source, *, feed: Feed | None, limits: LimitSet, pause_ends_over_s: float | None
    ) -> None:
        self.source = source
        self.feed = feed
        self.rate_hz = source.sample_rate_hz
        self.events: queue.SimpleQueue[WorkerEvent] = queue.SimpleQueue()
        self.tape = AudioTape(self.rate_hz)
        self._needle = VolumeIndicator(self.rate_hz)
        self._guard = HissGuard(None if feed is None else feed.hiss_dbfs)
        self._levels: MeterLevels | None = None
        self._engine = Engine(self.rate_hz, feed=feed, limits=limits, pause_ends_over_s=pause_ends_over_s)
        self._worker = Worker(source, self._engine, self.events.put, on_samples=self._take)

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

    def hiss_word(self) -> str:
        """What open-squelch hiss says about the learned scale, in a few words."""
        reading = self.reading
        if self.feed is None:
            return "hiss guard: no scale to guard"
        if reading is None or reading.state != "waiting":
            return "hiss guard: waits for hiss"
        self._guard.look(self.tape.last(self.rate_hz // 2), self.rate_hz)
        return self._guard.word

    def _take(self, samples: NDArray[np.float32]) -> None:
        """Run in the worker's thread, once a block."""
        self.tape.append(samples)
        self._needle.push(samples)
        self._levels = MeterLevels(
            time_s=self.tape.end_n / self.rate_hz,
            level_dbfs=self._needle.level_dbfs,
            peak_dbfs=amplitude_db(float(np.max(np.abs(samples)))) if len(samples) else None,
        )


class HissGuard:
    """Notices a volume control that was moved since the scale was learned, by the level of open hiss.

    A scale that was learned from a tone comes without a level of hiss: then the first hiss of the sitting
    is what later hiss is held against, and the words say so.

    Parameters
    ----------
    learned_dbfs : float or None
        Level of hiss in 300-3400 Hz when the scale was learned.
    """

    def __init__(self, learned_dbfs: float | None) -> None:
        self._learned_dbfs = learned_dbfs
        self._first_dbfs: float | None = None
        self.word = "hiss guard: waits for hiss"

    def look(self, samples: NDArray[np.floating], rate_hz: int) -> None:
        """Judge samples, shape (n,), that were heard without a carrier; `word` says what came of it."""
        level, steady = hiss_level(samples, rate_hz)
        reference = self._first_dbfs if self._learned_dbfs is None else self._learned_dbfs
        if level is None or (reference is not None and level < reference - HISS_ABSENT_DB):
            self.word = "hiss guard: squelch closed"
        elif not steady:
            self.word = "hiss guard: waits for hiss"
        elif self._learned_dbfs is None and (reference is None or level > reference + HISS_ABSENT_DB):
            # Much louder than the first: that was the sound card's own noise behind a closed squelch.
            self._first_dbfs = level
            self.word = "hiss guard: holds (from here on)"
        elif reference is not None:
            since = "" if self._learned_dbfs is not None else " since the first hiss"
            moved = level - reference
            if abs(moved) <= HISS_MOVED_DB:
                self.word = f"hiss guard: scale holds ({moved:+.1f} dB{since})"
            else:
                self.word = f"hiss guard: level moved {moved:+.1f} dB{since}, learn the scale again"


def hiss_level(samples: NDArray[np.floating], rate_hz: int) -> tuple[float | None, bool]:
    """Level of samples, shape (n,), in 300-3400 Hz in dBFS, and whether it is as steady as hiss is."""
    if len(samples) < 0.4 * rate_hz:
        return None, False
    band = bandpass(np.asarray(samples, dtype=np.float64), rate_hz, *HISS_BAND_HZ)
    pieces = np.sqrt(np.mean(band[: len(band) // 8 * 8].reshape(8, -1) ** 2, axis=1))
    level = amplitude_db(float(np.sqrt(np.mean(pieces**2))))
    return level, float(np.std(pieces)) <= HISS_SPREAD * float(np.mean(pieces))
