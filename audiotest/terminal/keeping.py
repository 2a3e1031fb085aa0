"""What the terminal says of a recording that goes along, for ``live --record`` and ``record``."""

from collections.abc import Callable
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from audiotest.errors import FileError
from audiotest.feeds.protocol import Source
from audiotest.keep.along import Along
from audiotest.records import Feed, LimitSet
from audiotest.session.worker import WorkerEvent
from audiotest.terminal.figures import recorded_text
from audiotest.terminal.screen import Screen


class Keeping:
    """Keeps a worker's samples and overs on disk, and says on the screen how that goes.

    Parameters
    ----------
    parent : Path
        Where the recording gets a folder of its own.
    source : Source
        What is listened to.
    feed, limits
        What the overs are measured and judged with.
    must : bool
        Whether a disk that is full or fails ends the run. If not, it is said once and the listening goes on.

    Raises
    ------
    FileError
        The folder cannot be made or has no room.
    """

    def __init__(
        self, parent: Path, source: Source, *, feed: Feed | None, limits: LimitSet, must: bool
    ) -> None:
        self._along = Along(parent, source, feed=feed, limits=limits)
        self._must = must
        self._heard_n = 0
        self._said = False

    @property
    def folder(self) -> Path:
        """The recording's own folder."""
        return self._along.folder

    def hearing(self, on: Callable[[WorkerEvent], None]) -> Callable[[WorkerEvent], None]:
        """Pass a worker's events on, each over to the recording first."""

        def hear(event: WorkerEvent) -> None:
            self._along.hear(event)
            on(event)

        return hear

    def push(self, samples: NDArray[np.float32]) -> None:
        """Take the next samples in the worker's thread; what is raised ends its run."""
        self._along.push(samples, self._heard_n)
        self._heard_n += len(samples)
        if self._must:
            self._refuse_trouble()

    def look(self, screen: Screen) -> None:
        """Say once, while the listening goes on, that the recording has stopped by itself."""
        trouble = self._along.state.trouble
        if trouble is not None and not self._said and not self._must:
            self._said = True
            screen.say(f"{trouble}. Listening goes on.", "bold")

    def close(self, screen: Screen) -> None:
        """Finish the files and say what is there; one that must be kept and is not raises `FileError`."""
        self._along.close()
        if self._must:
            self._refuse_trouble()
        self.look(screen)
        screen.say(recorded_text(self._along.state, self._along.input_lost_n))

    def _refuse_trouble(self) -> None:
        state = self._along.state
        if state.trouble is not None:
            remedy = "name another folder" if state.gone else "make room or name another folder"
            raise FileError(state.trouble, remedy)
