"""A simulated set on the bench whose two controls can be turned while it talks."""

import os
import threading
import time
from collections import deque
from collections.abc import Callable, Iterator
from concurrent.futures import Executor, Future, ProcessPoolExecutor, ThreadPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from dataclasses import dataclass, replace
from multiprocessing import get_context
from typing import TYPE_CHECKING, TypeVar

import numpy as np
from numpy.typing import NDArray

from audiotest.feeds.protocol import Block
from audiotest.radio.monitor import CARD, LISTENER, SCALE_KHZ_PER_FS
from audiotest.radio.settings import Timing, Transmitter
from audiotest.radio.voices import load_voice
from audiotest.records import Feed

if TYPE_CHECKING:
    from audiotest.radio.link import OverTruth, Simulation

VOICE = "english_reading"
SPEECH_S = 6.0
TIMING = Timing(before_s=0.3, bare_carrier_s=0.4, after_s=0.2, end_s=0.3)
PAUSE_S = 1.6
HISS_S = 4.0
BLOCK_S = 0.02

Result = TypeVar("Result")

MIC_GAIN_RANGE_DB = (0.0, 32.0)
CEILING_RANGE_KHZ = (0.8, 4.0)

PRACTICE_FEED = Feed(
    name="simulated receiver", method="tone", scale_khz_per_fs=SCALE_KHZ_PER_FS, scale_uncertainty_db=0.2,
    deemphasis_us=LISTENER.deemphasis_us, tone_hz=1000.0, deviation_khz=1.5, if_bandwidth_khz=None,
    hiss_dbfs=None, learned="simulated",
)  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class Adjustment:
    """Where the two controls of the simulated set stand."""

    mic_gain_db: float = 26.0
    ceiling_khz: float = 1.95


AS_FOUND = Adjustment()
"""Harsh although its deviation reads right: the mic gain is far up, the deviation control backed off."""


def render_over(adjustment: Adjustment, number: int) -> "Simulation":
    """Simulate one over of the practice set; each number speaks another part of the text."""
    # Imported here: its filters take long to load, and who listens to a real set does without.
    from audiotest.radio.link import simulate

    voice, rate_hz = load_voice(VOICE)
    length_n = round(SPEECH_S * rate_hz)
    start_n = (number * length_n) % max(len(voice) - length_n, 1)
    transmitter = Transmitter(
        drive_db=None, mic_gain_db=adjustment.mic_gain_db, ceiling_khz=adjustment.ceiling_khz,
        splatter=("butterworth", 3, 2900.0), ambient_db=-38.0,
    )  # fmt: skip
    speech = voice[start_n : start_n + length_n]
    return simulate(speech, rate_hz, transmitter, LISTENER, CARD, TIMING, seed=1000 + number)


def render_hiss() -> NDArray[np.float32]:
    """Simulate what the receiver delivers without a carrier."""
    from audiotest.radio.link import simulate

    timing = replace(TIMING, before_s=HISS_S, end_s=0.0)
    silence = np.full(800, 1e-3, dtype=np.float32)
    heard = simulate(
        silence, 16000, Transmitter(drive_db=None, mic_gain_db=0.0, limiter="none"), LISTENER, CARD, timing,
        seed=5,
    )  # fmt: skip
    return heard.audio[: round((HISS_S - 0.1) * heard.sample_rate_hz)]


def _be_polite() -> None:
    """Let whoever listens go first."""
    if hasattr(os, "nice"):
        os.nice(5)


def start_renderer() -> Executor:
    """A process of its own for the simulation: the window must never wait for it.

    Where none can be had (its locks need a shared memory that may be written to) a thread must do.
    """
    try:
        return ProcessPoolExecutor(max_workers=1, mp_context=get_context("spawn"), initializer=_be_polite)
    except (ImportError, OSError):
        return ThreadPoolExecutor(max_workers=1, thread_name_prefix="audiotest-practice")


class PracticeRadio:
    """A source that talks over and over, with the adjustment of the moment.

    Parameters
    ----------
    executor : Executor
        Where overs are simulated.
    adjustment : Adjustment
        Where the controls stand at first.
    pace : float
        How much faster than real time it plays; for tests.
    render : callable
        What simulates an over.
    """

    name = "simulated radio"
    sample_rate_hz = CARD.sample_rate_hz

    def __init__(
        self,
        executor: Executor,
        adjustment: Adjustment = AS_FOUND,
        *,
        pace: float = 1.0,
        render: "Callable[[Adjustment, int], Simulation]" = render_over,
    ) -> None:
        self.notes: tuple[str, ...] = ()
        self.adjustment = adjustment
        self.automatic = True
        self.truths: deque[tuple[Adjustment, OverTruth]] = deque(maxlen=50)
        self._executor = executor
        self._render = render
        self._pace = pace
        self._asked = threading.Event()
        self._closed = threading.Event()
        self._count = 0

    def talk(self) -> None:
        """Key the set for one over as soon as it can be."""
        self._asked.set()

    def blocks(self) -> Iterator[Block]:
        """Yield hiss, an over, hiss, an over, in real time, until closed."""
        # Made here: a process of its own takes a second or two to start, and the set would be mute meanwhile.
        hiss = render_hiss()
        clock = _Clock(self._pace, self.sample_rate_hz, self._closed)
        coming: Future[Simulation] | None = None
        made_for = self.adjustment
        at_n, idle_s = 0, 0.0
        block_n = round(BLOCK_S * self.sample_rate_hz)
        while not self._closed.is_set():
            if coming is None:
                made_for = self.adjustment
                coming = self._submit(self._render, made_for, self._count)
            due = self._asked.is_set() or (self.automatic and idle_s >= PAUSE_S)
            if due and coming.done() and made_for == self.adjustment:
                self._asked.clear()
                self._count += 1
                simulation, coming = coming.result(), None
                yield from self._play(simulation, clock, block_n)
                self.truths.append((made_for, simulation.truth[0]))
                idle_s = 0.0
                continue
            if coming.done() and made_for != self.adjustment:
                coming = None
            block = np.take(hiss, np.arange(at_n, at_n + block_n), mode="wrap")
            at_n = (at_n + block_n) % len(hiss)
            idle_s += BLOCK_S
            clock.wait(block_n)
            yield Block(samples=block)

    def close(self) -> None:
        """End the blocks, also from another thread; safe to call twice."""
        self._closed.set()

    def _play(self, simulation: "Simulation", clock: "_Clock", block_n: int) -> Iterator[Block]:
        for start in range(0, len(simulation.audio), block_n):
            samples = simulation.audio[start : start + block_n]
            clock.wait(len(samples))
            if self._closed.is_set():
                return
            yield Block(samples=samples)

    def _submit(self, work: Callable[..., Result], *arguments: object) -> "Future[Result]":
        try:
            return self._executor.submit(work, *arguments)
        except (BrokenProcessPool, RuntimeError, OSError):
            # The process is gone: better the window stutters now and then than that the set falls silent.
            here: Future[Result] = Future()
            here.set_result(work(*arguments))
            return here


class _Clock:
    """Waits so that samples come when a sound card would deliver them."""

    def __init__(self, pace: float, rate_hz: int, closed: threading.Event) -> None:
        self._pace, self._rate_hz, self._closed = pace, rate_hz, closed
        self._started_s = time.monotonic()
        self._sent_n = 0

    def wait(self, count_n: int) -> None:
        self._sent_n += count_n
        due_s = self._started_s + self._sent_n / (self._rate_hz * self._pace)
        ahead_s = due_s - time.monotonic()
        if ahead_s < -0.5:
            # After a hold-up (measuring an over, a suspended machine) go on from now, do not rush.
            self._started_s = time.monotonic() - self._sent_n / (self._rate_hz * self._pace)
        self._closed.wait(max(ahead_s, 0.0))
