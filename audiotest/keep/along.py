"""A recording that goes along while an input is listened to, for the terminal and for the window."""

import threading
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from audiotest.advise.rules import judge
from audiotest.feeds.protocol import Source
from audiotest.keep.recorder import Recorder, RecorderState
from audiotest.measure.beat import quantum_n
from audiotest.records import Feed, LimitSet
from audiotest.session.worker import OverHeard, WorkerEvent


class Along:
    """Keeps a worker's samples on disk, and each over with its readings and advice; tells nobody anything.

    `hear` and `push` are the worker's; everything else may be called from any thread.

    Parameters
    ----------
    parent : Path
        Where the recording gets a folder of its own.
    source : Source
        What is listened to.
    feed, limits
        What the overs are measured and judged with.

    Raises
    ------
    FileError
        The folder cannot be made or has no room.
    """

    def __init__(self, parent: Path, source: Source, *, feed: Feed | None, limits: LimitSet) -> None:
        self._source, self._rate_hz = source, source.sample_rate_hz
        self._feed, self._limits = feed, limits
        self._lost_before_n = 0
        self.input_lost_n = 0
        """What the input is known to have lost since the recording began, in samples."""
        self._lock = threading.Lock()
        self._begun = self._closed = False
        self._pushed_n = 0
        self._last_n: int | None = None
        self.ended = False
        """Whether it has gone on for as long as `end_after` said: nothing more is taken, close it."""
        self._recorder = Recorder(parent, self._rate_hz, feed=feed, limits_id=limits.id)

    @property
    def folder(self) -> Path:
        """The recording's own folder."""
        return self._recorder.folder

    @property
    def state(self) -> RecorderState:
        """How it stands."""
        return self._recorder.state

    def hear(self, event: WorkerEvent) -> None:
        """Keep an over that the worker has heard."""
        with self._lock:
            if isinstance(event, OverHeard) and self._begun and not self._closed:
                self._recorder.cut(event.over, judge(event.over, self._feed, self._limits))

    def push(self, samples: NDArray[np.float32], at_n: int) -> None:
        """Take the next samples, shape (n,), the first of which has the place ``at_n`` in the overs' stream.

        The recording begins with the next of the engine's decisions, up to 80 ms later: measured again it
        then tells of its overs what was told while they were heard.
        """
        with self._lock:
            if self._closed or self.ended:
                return
            if not self._begun:
                ahead_n = -at_n % quantum_n(self._rate_hz)
                if ahead_n >= len(samples):
                    return
                samples = samples[ahead_n:]
                self._begun = True
                self._lost_before_n = self._lost_n()
                self._recorder.start(at_n + ahead_n)
            lost_n = self._lost_n() - self._lost_before_n
            if lost_n > self.input_lost_n:
                self._recorder.missing(lost_n - self.input_lost_n)
                self.input_lost_n = lost_n
            self._recorder.push(samples)
            self._pushed_n += len(samples)
            self.ended = self._last_n is not None and self._pushed_n >= self._last_n

    def end_after(self, seconds: float) -> None:
        """Go on for so long and no longer: an over that has just ended is still being measured."""
        with self._lock:
            self._last_n = self._pushed_n + round(seconds * self._rate_hz)

    def go_on(self) -> bool:
        """Take back what `end_after` said; False when it is too late."""
        with self._lock:
            self._last_n = None
            return not (self.ended or self._closed)

    def close(self) -> None:
        """Finish the files. Safe to call twice; raises `AudiotestError` when the disk does not answer."""
        with self._lock:
            if self._closed:
                return
            self._closed = True
            if not self._begun:
                # Nothing has come: the journal says that as well.
                self._recorder.start()
        self._recorder.close()

    def _lost_n(self) -> int:
        return int(getattr(self._source, "lost_n", 0))
