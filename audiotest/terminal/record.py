"""``audiotest record``: a sound-card input kept on disk without a gap, every over cut out and measured."""

import argparse
import queue
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from audiotest.errors import FileError
from audiotest.feeds.scale import load_feed
from audiotest.feeds.soundcard import open_input
from audiotest.keep.recorder import Recorder
from audiotest.session.engine import Engine
from audiotest.session.worker import OverHeard, Worker, WorkerEvent
from audiotest.standards.limits import get_limits
from audiotest.terminal.check import judge
from audiotest.terminal.figures import clock
from audiotest.terminal.live import PAUSE_ENDS_OVER_S, follow
from audiotest.terminal.screen import Screen


def run(arguments: argparse.Namespace) -> int:
    """Record and measure until Ctrl-C; a disk that is full or fails ends it with what there is kept."""
    limits = get_limits(arguments.limits)
    feed = None if arguments.feed is None else load_feed(arguments.feed)
    source = open_input(arguments.device, None, arguments.channel)
    try:
        recorder = Recorder(Path(arguments.folder), source.sample_rate_hz, feed=feed, limits_id=limits.id)
    except BaseException:
        source.close()
        raise
    engine = Engine(source.sample_rate_hz, feed=feed, limits=limits, pause_ends_over_s=PAUSE_ENDS_OVER_S)
    events: queue.SimpleQueue[WorkerEvent] = queue.SimpleQueue()

    def hear(event: WorkerEvent) -> None:
        if isinstance(event, OverHeard):
            recorder.cut(event.over, judge(event.over, feed, limits))
        events.put(event)

    def keep(samples: NDArray[np.float32]) -> None:
        recorder.push(samples)
        trouble = recorder.state.trouble
        if trouble is not None:
            # What is raised here ends the run, and is what the user reads.
            raise FileError(trouble, "make room or name another folder")

    screen = Screen(limits, feed)
    screen.say(f"Recording {source.name} to {recorder.folder}. Ctrl-C ends.", "bold")
    recorder.start()
    try:
        status = follow(Worker(source, engine, hear, on_samples=keep), events, screen)
    finally:
        recorder.close()
    state = recorder.state
    if state.trouble is not None:
        raise FileError(state.trouble, "make room or name another folder")
    lost = f", {state.lost_n} samples lost to a slow disk" if state.lost_n else ""
    screen.say(f"{clock(state.written_s)} recorded, {state.overs} overs cut out{lost}: {state.folder}")
    return status
