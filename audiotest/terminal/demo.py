"""``audiotest demo``: a simulated set, an invented technician, and the engine that live uses."""

import argparse
import math
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor

from audiotest.feeds.simulated import SimulatedSource
from audiotest.radio.link import OverTruth, Simulation
from audiotest.radio.monitor import LISTENER, SCALE_KHZ_PER_FS
from audiotest.radio.scenario import Step, demo_simulation, demo_steps
from audiotest.records import Feed, LimitSet
from audiotest.session.engine import Engine
from audiotest.standards.limits import get_limits
from audiotest.terminal.live import REFRESH_S, window_missing
from audiotest.terminal.parser import DEFAULT_LIMITS
from audiotest.terminal.screen import Screen

DEMO_FEED = Feed(
    name="simulated receiver", method="tone", scale_khz_per_fs=SCALE_KHZ_PER_FS, scale_uncertainty_db=0.2,
    deemphasis_us=LISTENER.deemphasis_us, tone_hz=1000.0, deviation_khz=1.5, if_bandwidth_khz=None,
    hiss_dbfs=None, learned="simulated",
)  # fmt: skip
NEXT = "Next, your own set: audiotest inputs, then audiotest live --text --device N"
"""The last line: the same job in earnest."""


def run(arguments: argparse.Namespace) -> int:
    """Play the story: in the window, or in the terminal in real time, or as fast as it goes when piped."""
    if not arguments.text:
        return _run_window(arguments.seconds)
    limits = get_limits(DEFAULT_LIMITS)
    screen = Screen(limits, DEMO_FEED)
    screen.say("Simulated radio: nothing is attached and nothing is sent. Ctrl-C ends.", "bold")
    screen.say("")
    try:
        _tell(arguments.seconds, limits, screen)
    finally:
        screen.clear()
    return 0


def _tell(seconds: float | None, limits: LimitSet, screen: Screen) -> None:
    """Play the story, or its first `seconds`, through one engine."""
    engine: Engine | None = None
    left_s = math.inf if seconds is None else seconds
    for step, simulation in _simulations(demo_steps()):
        rate_hz = simulation.sample_rate_hz
        engine = engine or Engine(rate_hz, feed=DEMO_FEED, limits=limits)
        screen.say(f"Technician: {step.action}", "italic")
        heard = simulation.audio if math.isinf(left_s) else simulation.audio[: round(left_s * rate_hz)]
        _play(engine, SimulatedSource(heard, rate_hz, real_time=screen.redraws), screen)
        left_s -= len(heard) / rate_hz
        if left_s <= 0.0:
            break
        _show_truth(simulation.truth[0], screen)
    if engine is not None:
        for over in engine.finish():
            screen.over(over)
    screen.say(NEXT, "bold")


def _simulations(steps: tuple[Step, ...]) -> Iterator[tuple[Step, Simulation]]:
    """Each step with its audio; the next is worked out while this one plays."""
    with ThreadPoolExecutor(max_workers=1) as worker:
        coming = worker.submit(demo_simulation, steps[0])
        for k, step in enumerate(steps):
            simulation = coming.result()
            if k + 1 < len(steps):
                coming = worker.submit(demo_simulation, steps[k + 1])
            yield step, simulation


def _play(engine: Engine, source: SimulatedSource, screen: Screen) -> None:
    next_s = engine.duration_s
    for block in source.blocks():
        for over in engine.push(block.samples):
            screen.over(over)
        if engine.duration_s >= next_s:
            next_s += REFRESH_S
            screen.show(engine.reading())


def _show_truth(truth: OverTruth, screen: Screen) -> None:
    screen.say(
        f"What the simulated set really did: drive {truth.drive_db:+.1f} dB, "
        f"clipped {100 * truth.clipped_fraction:.0f} %, peak {truth.peak_khz:.2f} kHz.",
        "dim",
    )
    screen.say("")


def _run_window(seconds: float | None) -> int:
    try:
        from audiotest.window.app import run as run_window
    except ImportError as error:
        raise window_missing("demo", error) from error
    return int(run_window(demo=True, seconds=seconds))
