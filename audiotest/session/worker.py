"""The one thread that pulls a source through the engine, for the live window, the terminal and the demo."""

import threading
import time
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from audiotest.errors import AudiotestError
from audiotest.feeds.protocol import Source
from audiotest.records import LiveReading, Over
from audiotest.session.engine import Engine

READING_EVERY_S = 1.0 / 30.0
STOP_PATIENCE_S = 0.5
STOP_LONGEST_S = 5.0
MEASURE_LONGEST_S = 60.0
"""On a busy machine the last over takes its time; it is not thrown away for that."""


@dataclass(frozen=True, slots=True, kw_only=True)
class OverHeard:
    """An over that has just ended and been measured."""

    over: Over


@dataclass(frozen=True, slots=True, kw_only=True)
class Ended:
    """The last event of a run; `error` is None when the source ended or was stopped."""

    error: Exception | None


WorkerEvent = OverHeard | Ended


class Worker:
    """Runs ``source.blocks()`` through ``engine`` in a thread of its own.

    Parameters
    ----------
    source : Source
        Read in the thread and closed by it. A source is good for one run: for another start, open the
        input again and make a new worker.
    engine : Engine
        Touched by the thread alone while it runs; read it after `stop` or after `Ended`.
    on_event : callable
        Called in the thread with an `OverHeard` for each over and one `Ended` at last, whatever happened.
        Hand the event over and return: audio waits meanwhile. What it raises ends the run as its error.
    on_samples : callable or None
        Called in the thread with each block, shape (n,), after the engine has taken it.
    """

    def __init__(
        self,
        source: Source,
        engine: Engine,
        on_event: Callable[[WorkerEvent], None],
        *,
        on_samples: Callable[[NDArray[np.float32]], None] | None = None,
    ) -> None:
        self._source = source
        self._engine = engine
        self._on_event = on_event
        self._on_samples = on_samples
        self._stop = threading.Event()
        self._thread: threading.Thread | None = None
        self._reading: LiveReading | None = None
        self._read_at_s = 0.0
        self._error: Exception | None = None
        self._waiting = False

    def start(self) -> None:
        """Start the thread; a second call raises `RuntimeError`."""
        if self._thread is not None:
            raise RuntimeError("a worker runs once: open the source again and make a new one")
        self._thread = threading.Thread(target=self._run, name="audiotest-worker", daemon=True)
        self._thread.start()

    def stop(self) -> None:
        """End the run: the thread closes a running over and the source, then is joined. Safe to call twice.

        A source that is waiting for a device is closed from here, which ends its wait. Not to be called
        from `on_event`: the thread cannot wait for itself. Raises `AudiotestError` when the source does not
        stop.
        """
        self._stop.set()
        if self._thread is None:
            self._source.close()
            return
        self._thread.join(STOP_PATIENCE_S)
        if self._thread.is_alive():
            self._source.close()
            self._thread.join(STOP_LONGEST_S)
            if self._thread.is_alive() and not self._waiting:
                self._thread.join(MEASURE_LONGEST_S)
        if self._thread.is_alive():
            raise AudiotestError(f"{self._source.name}: did not stop when asked to", "unplug the input")

    def join(self, timeout_s: float | None = None) -> bool:
        """Wait until the source has ended by itself; False if it still runs after `timeout_s`."""
        if self._thread is None:
            return True
        self._thread.join(timeout_s)
        return not self._thread.is_alive()

    @property
    def running(self) -> bool:
        """True between `start` and the end of the thread."""
        return self._thread is not None and self._thread.is_alive()

    @property
    def reading(self) -> LiveReading | None:
        """The latest reading, at most a thirtieth of a second behind the audio; None before the first."""
        return self._reading

    @property
    def error(self) -> Exception | None:
        """What ended the run, None when nothing went wrong or it still runs."""
        return self._error

    def _run(self) -> None:
        error: Exception | None = None
        try:
            try:
                self._pull()
            except Exception as caught:
                error = caught
            self._waiting = False
            # What was heard before a failure is measured all the same.
            self._tell(self._engine.finish())
            self._reading = self._engine.reading()
        except Exception as caught:
            error = _first(error, caught)
        try:
            self._source.close()
        except Exception as caught:
            error = _first(error, caught)
        self._error = error
        try:
            self._on_event(Ended(error=error))
        except Exception as caught:
            self._error = _first(error, caught)

    def _pull(self) -> None:
        self._waiting = True
        for block in self._source.blocks():
            self._waiting = False
            if block.lost_n:
                self._engine.mark_lost(block.lost_n)
            self._tell(self._engine.push(block.samples))
            if self._on_samples is not None:
                self._on_samples(block.samples)
            now_s = time.monotonic()
            if now_s - self._read_at_s >= READING_EVERY_S:
                self._read_at_s = now_s
                self._reading = self._engine.reading()
            if self._stop.is_set():
                return
            self._waiting = True

    def _tell(self, overs: list[Over]) -> None:
        for over in overs:
            self._on_event(OverHeard(over=over))


def _first(first: Exception | None, then: Exception) -> Exception:
    """Keep the error that came first; what followed from it is noted on it."""
    if first is None:
        return then
    first.add_note(f"and then {type(then).__name__}: {then}")
    return first
