"""A recording that goes along while an input is listened to, for ``live --record`` and ``record``."""

from collections.abc import Callable
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from audiotest.errors import FileError
from audiotest.keep.recorder import Recorder
from audiotest.records import Feed, LimitSet
from audiotest.session.worker import OverHeard, WorkerEvent
from audiotest.terminal.check import judge
from audiotest.terminal.figures import clock
from audiotest.terminal.screen import Screen


class Keeping:
    """Keeps a worker's samples and overs on disk, and says on the screen how that goes.

    Parameters
    ----------
    parent : Path
        Where the recording gets a folder of its own.
    rate_hz : int
        Sample rate.
    feed, limits
        What the overs are measured and judged with.
    lost_n : callable
        How many samples the input is known to have lost so far.
    must : bool
        Whether a disk that is full or fails ends the run. If not, it is said once and the listening goes on.

    Raises
    ------
    FileError
        The folder cannot be made or has no room.
    """

    def __init__(
        self,
        parent: Path,
        rate_hz: int,
        *,
        feed: Feed | None,
        limits: LimitSet,
        lost_n: Callable[[], int],
        must: bool,
    ) -> None:
        self._feed, self._limits, self._must = feed, limits, must
        self._lost_n, self._lost_told_n = lost_n, 0
        self._said = False
        self.recorder = Recorder(parent, rate_hz, feed=feed, limits_id=limits.id)
        self.recorder.start()

    def hearing(self, on: Callable[[WorkerEvent], None]) -> Callable[[WorkerEvent], None]:
        """Pass a worker's events on, each over to the recorder first."""

        def hear(event: WorkerEvent) -> None:
            if isinstance(event, OverHeard):
                self.recorder.cut(event.over, judge(event.over, self._feed, self._limits))
            on(event)

        return hear

    def push(self, samples: NDArray[np.float32]) -> None:
        """Take the next samples in the worker's thread; what is raised ends its run."""
        lost_n = self._lost_n()
        if lost_n > self._lost_told_n:
            self.recorder.missing(lost_n - self._lost_told_n)
            self._lost_told_n = lost_n
        self.recorder.push(samples)
        if self._must:
            self._refuse_trouble()

    def look(self, screen: Screen) -> None:
        """Say once, while the listening goes on, that the recording has stopped by itself."""
        trouble = self.recorder.state.trouble
        if trouble is not None and not self._said and not self._must:
            self._said = True
            screen.say(f"{trouble}. Listening goes on.", "bold")

    def close(self, screen: Screen) -> None:
        """Finish the files and say what is there; one that must be kept and is not raises `FileError`."""
        self.recorder.close()
        if self._must:
            self._refuse_trouble()
        self.look(screen)
        state = self.recorder.state
        lost = f", {state.lost_n} samples lost to a slow disk" if state.lost_n else ""
        lost += f", {self._lost_told_n} or more lost by the input" if self._lost_told_n else ""
        overs = f"{state.overs} over{'' if state.overs == 1 else 's'}"
        screen.say(f"{clock(state.written_s)} recorded, {overs} cut out{lost}: {state.folder}")

    def _refuse_trouble(self) -> None:
        trouble = self.recorder.state.trouble
        if trouble is not None:
            raise FileError(trouble, "make room or name another folder")
