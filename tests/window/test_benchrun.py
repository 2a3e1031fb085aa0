"""A procedure in its thread: questions and answers, the stop, the end in trouble. No Qt in here."""

import threading
import time
from collections.abc import Callable
from typing import Any

import numpy as np

from audiotest.errors import DeviceError
from audiotest.feeds.protocol import Block
from audiotest.standards.limits import get_limits
from audiotest.tones.catalogue import PROCEDURES, Given
from audiotest.tones.guided import Guided
from audiotest.tones.level import OutputScale
from audiotest.tones.live import LiveBench
from audiotest.tones.rehearsal import MONITOR_FEED, Rehearsal
from audiotest.tones.signals import sine
from audiotest.tones.steps import Ask, Notebook, Step
from audiotest.window.benchrun import BenchRun, RehearsalBench

PATIENCE_S = 180.0


def made(name: str) -> Guided:
    return PROCEDURES[name].make(Given(feed=MONITOR_FEED, limits=get_limits("uk-27fm")))


def rehearsed(guided: Guided, *, automatic: bool = True, rehearsal: Rehearsal | None = None) -> BenchRun:
    return BenchRun(
        guided, lambda technician: RehearsalBench(rehearsal or Rehearsal(), technician), automatic=automatic
    )


def wait_for(true: Callable[[], Any]) -> None:
    until = time.monotonic() + PATIENCE_S
    while not true():
        assert time.monotonic() < until, "did not happen"
        time.sleep(0.005)


def test_a_rehearsal_runs_to_its_end_by_itself() -> None:
    run = rehearsed(made("frequency"))
    assert not run.moment.over
    run.start()
    assert run.wait(PATIENCE_S)
    end = run.moment
    assert end.over
    assert end.trouble is None
    assert end.report.complete
    assert end.steps_done == 2
    assert end.elapsed_s > 0.0
    assert run.moment.elapsed_s == end.elapsed_s


def test_what_is_typed_is_what_the_simulated_radio_stands_at() -> None:
    rehearsal, seen = Rehearsal(), []

    def script(notebook: Notebook) -> Any:
        heard = yield Step(
            prompt="Level.",
            asks=(
                Ask(setting="squelch", words="open the squelch", suggested=0.0),
                Ask(setting="generator_dbm", words="set the level", suggested=-100.0, unit="dBm"),
            ),
            listen_s=0.1,
        )
        seen.append(heard.answers)

    run = rehearsed(Guided(script, Notebook(procedure="p", title="P")), automatic=False, rehearsal=rehearsal)
    run.start()
    wait_for(lambda: run.moment.question)
    squelch = run.moment.question
    assert squelch is not None
    assert squelch.words == "Open the squelch."
    assert squelch.ask is None
    run.answer()
    wait_for(lambda: run.moment.question not in (None, squelch))
    level = run.moment.question
    assert level is not None
    assert level.ask is not None
    assert (level.ask.suggested, level.ask.unit) == (-100.0, "dBm")
    run.answer(-97.5)
    run.answer(-1.0)  # pressed twice: the second press answers nothing
    assert run.wait(PATIENCE_S)
    assert seen == [(0.0, -97.5)]
    assert rehearsal.level_dbm == -97.5


def test_a_stop_at_a_question_keeps_what_was_measured() -> None:
    run = rehearsed(made("rx-response"), automatic=False)
    run.start()
    while run.moment.steps_done < 3:
        run.answer()
        time.sleep(0.005)
    run.stop()
    assert run.wait(PATIENCE_S)
    report = run.moment.report
    assert not report.complete
    assert run.moment.trouble is None
    assert len(report.curves[0].points) >= 3
    assert any("stopped early" in note for note in report.notes)


class Wire:
    """An output that comes back at the input."""

    name, sample_rate_hz, rate_hz = "wire", 48000, 48000

    def __init__(self) -> None:
        self.queue = np.zeros(0, dtype=np.float32)
        self.lock, self.closed = threading.Lock(), threading.Event()

    def play(self, samples: Any) -> None:
        with self.lock:
            self.queue = samples

    def stop(self) -> None:
        self.play(np.zeros(0, dtype=np.float32))

    def close(self) -> None:
        self.closed.set()

    def blocks(self) -> Any:
        while not self.closed.is_set():
            with self.lock:
                part, self.queue = self.queue[:960], self.queue[960:]
            samples = np.zeros(960, dtype=np.float32)
            samples[: len(part)] = part
            yield Block(samples=samples, lost_n=0)
            time.sleep(0.02)


def test_a_stop_in_the_middle_of_a_tone_silences_at_once_and_closes() -> None:
    wire = Wire()

    def script(notebook: Notebook) -> Any:
        notebook.plot("before", 1.0, 2.0)
        yield Step(prompt="tone", signal=sine(1000.0, 30.0), level_mv=5.0, listen_s=20.0, keyed=True)

    run = BenchRun(
        Guided(script, Notebook(procedure="p", title="P")),
        lambda technician: LiveBench(
            wire, technician, player=wire, scale=OutputScale(name="w", full_scale_mv=100.0, ceiling_mv=50.0)
        ),
    )
    run.start()
    wait_for(lambda: run.moment.question)
    assert run.moment.question is not None
    assert run.moment.question.words == "Key the set."
    assert len(wire.queue) == 0
    run.answer()
    wait_for(lambda: len(wire.queue) > 0)
    assert run.moment.doing == "sending"
    assert run.moment.keyed
    run.stop()
    assert len(wire.queue) == 0
    assert run.wait(PATIENCE_S)
    assert len(wire.queue) == 0
    assert wire.closed.is_set()
    assert run.moment.prompt == "Let the set go: unkey it now."
    assert len(run.moment.report.curves) == 1


def test_a_device_that_cannot_be_opened_is_said() -> None:
    def refuse(technician: Any) -> Any:
        raise DeviceError("no input", "plug one in")

    run = BenchRun(made("squelch"), refuse)
    run.start()
    assert run.wait(PATIENCE_S)
    assert "no input" in (run.moment.trouble or "")
    assert not run.moment.report.complete


def test_a_fault_of_the_program_is_said_and_nothing_is_lost() -> None:
    closed = []

    class Broken:
        def perform(self, step: Step) -> Any:
            raise ZeroDivisionError("oh")

        def silence(self) -> None:
            pass

        halt = silence

        def close(self) -> None:
            closed.append(True)

    run = BenchRun(made("squelch"), lambda technician: Broken())
    run.start()
    assert run.wait(PATIENCE_S)
    assert "ZeroDivisionError" in (run.moment.trouble or "")
    assert closed == [True]


def test_what_the_radio_cannot_measure_ends_in_trouble() -> None:
    def deaf(step: Step) -> None:
        raise DeviceError("the cable is out", "plug it in")

    run = rehearsed(made("squelch"), rehearsal=Rehearsal(on_step=deaf))
    run.start()
    assert run.wait(PATIENCE_S)
    assert "the cable is out" in (run.moment.trouble or "")
    assert not run.moment.report.complete
