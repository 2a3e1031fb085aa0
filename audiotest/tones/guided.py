"""Runs a procedure step by step; whatever happens, the output ends silent and what was measured stays."""

from collections.abc import Callable, Generator
from dataclasses import replace
from typing import Protocol, TypeVar

from audiotest.errors import AudiotestError, MeasureError
from audiotest.tones.steps import Heard, Notebook, Report, Step


class Halted(Exception):
    """Somebody said stop while a step was being carried out; `carry_out` keeps what was measured."""


Script = Generator[Step, Heard, None]
"""A procedure: yields what it wants done, is sent what was heard."""
Got = TypeVar("Got")
TRIES = 3


def measured(step: Step, read: Callable[[Heard], Got]) -> Generator[Step, Heard, Got]:
    """Do a step and read it; what cannot be measured is done again, three times in all."""
    trial = step
    for left in range(TRIES - 1, -1, -1):
        heard = yield trial
        try:
            return read(heard)
        except MeasureError as error:
            if not left:
                raise
            trial = replace(step, prompt=f"Again, {error}. {step.prompt}")
    raise AssertionError("unreachable")


class Guided:
    """A procedure under way: ``step`` is what to do now, None once it is over."""

    def __init__(self, script: Callable[[Notebook], Script], notebook: Notebook) -> None:
        self.notebook = notebook
        self.complete = False
        self.stopped_by: BaseException | None = None
        self._script = script(notebook)
        self.step: Step | None = None
        self._advance(lambda: next(self._script))

    def answer(self, heard: Heard) -> None:
        """Hand in what the current step brought; raises what the procedure cannot get over."""
        if self.step is None:
            raise RuntimeError("the procedure is over")
        if heard.remark and heard.remark not in self.notebook.notes:
            self.notebook.notes.append(heard.remark)
        self._advance(lambda: self._script.send(heard))

    def interrupt(self, reason: str, by: BaseException | None = None) -> None:
        """End it here. What was measured stays in the report, which says that it is not complete."""
        self.stopped_by = by
        self._script.close()
        self.step = None
        if self.notebook.open_ended and not isinstance(by, AudiotestError):
            self.complete = True
        elif not self.complete:
            self.notebook.notes.append(f"stopped early: {reason}; what was measured until then stands")

    def report(self) -> Report:
        """What has been found so far."""
        return self.notebook.report(complete=self.complete)

    def _advance(self, move: Callable[[], Step]) -> None:
        try:
            self.step = move()
        except StopIteration:
            self.step, self.complete = None, True
        except AudiotestError:
            self.step = None
            raise


class Bench(Protocol):
    """Something that carries out steps: sound card and technician, or the simulated radio."""

    def perform(self, step: Step) -> Heard:
        """Ask, play, listen."""

    def silence(self) -> None:
        """Stop every sound now; safe to call at any time and twice."""


def carry_out(guided: Guided, bench: Bench, show: Callable[[Guided], None] = lambda guided: None) -> Report:
    """Run a procedure to its end on a bench.

    Parameters
    ----------
    guided : Guided
        Freshly made.
    bench : Bench
        Silenced at the end, after an error and when the user interrupts.
    show : callable
        Called after every step.

    Returns
    -------
    Report
        ``complete`` is False after an interruption or an error, whose reason stands in its notes. Only
        errors that are no fault of the measurement are passed on, after the silence.
    """
    try:
        while guided.step is not None:
            guided.answer(bench.perform(guided.step))
            show(guided)
    except (KeyboardInterrupt, Halted) as stop:
        guided.interrupt("interrupted", stop)
    except AudiotestError as error:
        guided.interrupt(str(error), error)
    finally:
        bench.silence()
    return guided.report()
