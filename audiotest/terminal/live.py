"""``audiotest live``: a sound-card input through the engine, in the window or in the terminal."""

import argparse
import queue
import signal
import time
from contextlib import ExitStack
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from audiotest.advise.rules import turns_deviation
from audiotest.errors import RequestError
from audiotest.extras import how_to_install
from audiotest.feeds.scale import load_feed
from audiotest.feeds.soundcard import open_input
from audiotest.records import Feed, LimitSet
from audiotest.session.engine import Engine
from audiotest.session.guard import HissWatch
from audiotest.session.worker import OverHeard, Worker, WorkerEvent
from audiotest.standards.limits import get_limits
from audiotest.terminal.screen import Screen

if TYPE_CHECKING:
    from audiotest.terminal.keeping import Keeping

REFRESH_S = 0.1
PAUSE_ENDS_OVER_S = 2.0
"""On a feed without carrier edges somebody waits for the verdict: a pause this long ends the over."""
DONE = 0
INTERRUPTED = 130


def run(arguments: argparse.Namespace) -> int:
    """Listen until Ctrl-C; the running over is then finished and its card printed."""
    limits = get_limits(arguments.limits)
    feed = None if arguments.feed is None else load_feed(arguments.feed)
    if arguments.text:
        return listen(arguments, feed, limits, arguments.record)
    return _run_window(arguments, feed, limits)


def listen(
    arguments: argparse.Namespace,
    feed: Feed | None,
    limits: LimitSet,
    keep_in: str | None,
    *,
    must_keep: bool = False,
) -> int:
    """Show an input's readings and overs in the terminal, and keep everything in a folder where one is named.

    A recording that stops by itself ends the run if it ``must_keep``; otherwise it is said.
    """
    source = open_input(arguments.device, None, arguments.channel)
    rate_hz = source.sample_rate_hz
    engine = Engine(
        rate_hz, feed=feed, limits=limits, pause_ends_over_s=PAUSE_ENDS_OVER_S,
        moves_ceiling=turns_deviation(feed, limits),
    )  # fmt: skip
    events: queue.SimpleQueue[WorkerEvent] = queue.SimpleQueue()
    watch = watch_hiss(engine, rate_hz, feed)
    screen = Screen(limits, feed)
    with ExitStack() as ending:
        keeping = None
        if keep_in is not None:
            try:
                # Imported here, since who does not record does without.
                from audiotest.terminal.keeping import Keeping

                keeping = Keeping(Path(keep_in), source, feed=feed, limits=limits, must=must_keep)
            except BaseException:
                source.close()
                raise
            ending.callback(keeping.close, screen)
        takers = [beside.push for beside in (keeping, watch) if beside is not None]

        def take(samples: NDArray[np.float32]) -> None:
            for taker in takers:
                taker(samples)
            if watch is not None and watch.drift.state == "moved":
                engine.forget_ceiling()

        hear = events.put if keeping is None else keeping.hearing(events.put)
        worker = Worker(source, engine, hear, on_samples=take)
        screen.say(f"Listening to {source.name}, {rate_hz / 1000:g} kHz. Ctrl-C ends.", "bold")
        if keeping is not None:
            screen.say(f"Recording to {keeping.folder}.")
        return follow(worker, events, screen, watch, keeping)


def watch_hiss(engine: Engine, rate_hz: int, feed: Feed | None) -> HissWatch | None:
    """A watch over the hiss of a feed with a learned scale, fed in the worker's thread, or None."""
    if feed is None:
        return None
    return HissWatch(rate_hz, feed.hiss_dbfs, lambda: not engine.in_over)


def follow(
    worker: Worker,
    events: "queue.SimpleQueue[WorkerEvent]",
    screen: Screen,
    watch: HissWatch | None = None,
    keeping: "Keeping | None" = None,
) -> int:
    """Show a worker's readings and overs until its source ends (0) or Ctrl-C (130)."""
    status = DONE
    before = signal.signal(signal.SIGTERM, _interrupt)
    worker.start()
    try:
        while worker.running:
            _print_overs(events, screen)
            if worker.reading is not None:
                screen.show(worker.reading)
            if watch is not None:
                screen.hiss(watch.drift)
            if keeping is not None:
                keeping.look(screen)
            time.sleep(REFRESH_S)
    except KeyboardInterrupt:
        status = INTERRUPTED
    finally:
        worker.stop()
        signal.signal(signal.SIGTERM, before)
        screen.clear()
    _print_overs(events, screen)
    if watch is not None:
        screen.hiss(watch.drift)
    if worker.error is not None:
        raise worker.error
    return status


def _interrupt(*_: object) -> None:
    """A request to end finishes the running over, as Ctrl-C does."""
    raise KeyboardInterrupt


def _print_overs(events: "queue.SimpleQueue[WorkerEvent]", screen: Screen) -> None:
    while not events.empty():
        event = events.get()
        if isinstance(event, OverHeard):
            screen.over(event.over)


def window_missing(command: str, error: ImportError) -> RequestError:
    """Name the two ways on when the window's libraries are not installed."""
    return RequestError(
        f"{command}: the window needs {error.name or 'Qt'}, which is not installed",
        f"add --text, or {how_to_install('window')}",
    )


def _run_window(arguments: argparse.Namespace, feed: Feed | None, limits: LimitSet) -> int:
    try:
        from audiotest.window.app import run as run_window
    except ImportError as error:
        raise window_missing("live", error) from error
    record_in = None if arguments.record is None else Path(arguments.record)
    return int(
        run_window(
            device=arguments.device, channel=arguments.channel, feed=feed, limits=limits, record_in=record_in
        )
    )
