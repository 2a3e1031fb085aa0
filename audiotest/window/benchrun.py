"""A procedure under way in a thread of its own: what it asks, what it has measured, and how to stop it.

Knows nothing of Qt. The window looks at `BenchRun.moment` from a timer, and every call returns at once.
"""

import threading
import time
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Literal, Protocol

from audiotest.errors import AudiotestError
from audiotest.tones.guided import Guided, Halted, carry_out
from audiotest.tones.keying import LET_GO, Keying
from audiotest.tones.live import Technician
from audiotest.tones.rehearsal import Rehearsal
from audiotest.tones.steps import GENERATOR_OFF_DBM, Ask, Heard, Point, Report, Step

Doing = Literal["opening", "asking", "sending", "listening", "over"]
JOIN_S = 5.0
SHOWN_S = 0.25
"""A rehearsal that answers by itself leaves every question on the screen for at least so long."""


class HaltableBench(Protocol):
    """A bench that another thread may halt; `LiveBench`, `IqBench` and `RehearsalBench` are some."""

    def perform(self, step: Step) -> Heard:
        """Ask, play, listen."""

    def silence(self) -> None:
        """Stop every sound now."""

    def halt(self) -> None:
        """Stop every sound now, let none follow, and end the step."""

    def close(self) -> None:
        """Silence, and let go of what is open."""


OpenBench = Callable[[Technician], HaltableBench]


@dataclass(frozen=True, slots=True, kw_only=True)
class Question:
    """What the technician has to do or to type; ``ask`` is None where a key is enough."""

    words: str
    ask: Ask | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Moment:
    """All that the window shows of a run, as it stands."""

    doing: Doing
    prompt: str
    question: Question | None
    keyed: bool
    steps_done: int
    elapsed_s: float
    report: Report
    latest: Point | None
    trouble: str | None

    @property
    def over(self) -> bool:
        """Whether the run has ended, one way or another."""
        return self.doing == "over"


class BenchRun:
    """Runs a procedure; what was measured stays, however it ends.

    Parameters
    ----------
    guided : Guided
        Freshly made.
    open_bench : callable
        Takes the technician and returns the bench; called in the thread, since devices open slowly.
    automatic : bool
        Answer every question as suggested, after a moment: a rehearsal that needs no hand.
    now : callable
        A clock in seconds.
    """

    def __init__(
        self,
        guided: Guided,
        open_bench: OpenBench,
        *,
        automatic: bool = False,
        now: Callable[[], float] = time.monotonic,
    ) -> None:
        self._guided = guided
        self._open = open_bench
        self._automatic = automatic
        self._now = now
        self._keying = Keying()
        self._bell = threading.Condition()
        self._bench: HaltableBench | None = None
        self._answer: float | None = None
        self._answered = False
        self._stopped = False
        self._started_s = now()
        self._moment = Moment(
            doing="opening", prompt="Opening …", question=None, keyed=False, steps_done=0, elapsed_s=0.0,
            report=guided.report(), latest=None, trouble=None,
        )  # fmt: skip
        self._thread = threading.Thread(target=self._run, name="audiotest-bench", daemon=True)

    def start(self) -> None:
        """Begin."""
        self._started_s = self._now()
        self._thread.start()

    @property
    def moment(self) -> Moment:
        """How it stands just now."""
        now = self._moment
        return now if now.over else replace(now, elapsed_s=self._now() - self._started_s)

    def answer(self, value: float | None = None) -> None:
        """The question has been done; with a value, that is what was set. Without a question, nothing."""
        with self._bell:
            if self._moment.question is None or self._answered:
                return
            self._answer, self._answered = value, True
            self._bell.notify_all()

    def stop(self) -> None:
        """Silence the output now, let no tone follow, and end; what was measured is kept."""
        with self._bell:
            self._stopped = True
            bench = self._bench
            self._bell.notify_all()
        if bench is not None:
            bench.halt()

    def wait(self, timeout_s: float = JOIN_S) -> bool:
        """Wait for the end; whether it came."""
        self._thread.join(timeout_s)
        return not self._thread.is_alive()

    # -- in the thread ----------------------------------------------------------------------------

    def _run(self) -> None:
        trouble: str | None = None
        try:
            bench = self._open(self._technician)
            with self._bell:
                self._bench = bench
                stopped = self._stopped
            if stopped:
                bench.halt()
            try:
                carry_out(self._guided, bench, self._took)
            finally:
                bench.close()
        except AudiotestError as error:
            self._guided.interrupt(str(error), error)
            trouble = str(error)
        except Exception as error:
            # The window has to say it; a thread that dies silently would leave it waiting.
            self._guided.interrupt(f"unexpected {type(error).__name__}", error)
            trouble = f"unexpected {type(error).__name__}: {error}: a fault of the program"
        if trouble is None and isinstance(self._guided.stopped_by, AudiotestError):
            trouble = str(self._guided.stopped_by)
        prompt = LET_GO if self._keying.since_s is not None else ""
        self._note(
            doing="over", prompt=prompt, question=None, keyed=False, report=self._guided.report(),
            latest=self._guided.notebook.latest, trouble=trouble, elapsed_s=self._now() - self._started_s,
        )  # fmt: skip

    def _note(self, **changes: object) -> None:
        self._moment = replace(self._moment, **changes)  # type: ignore[arg-type]

    def _took(self, guided: Guided) -> None:
        self._note(
            report=guided.report(), latest=guided.notebook.latest, steps_done=self._moment.steps_done + 1
        )

    def _technician(self, step: Step) -> tuple[float, ...]:
        """Have a step's questions answered; see `audiotest.tones.live.Technician`."""
        unkey = self._keying.unkey_words(step, self._now())
        if unkey is not None:
            self._ask(Question(words=f"{unkey}."), step)
            self._keying.since_s = None
        key = self._keying.key_words(step)
        if key is not None:
            self._ask(Question(words=f"{key}."), step)
            self._keying.since_s = self._now()
        answers = tuple(self._setting(ask, step) for ask in step.asks)
        if step.wait:
            self._ask(Question(words=step.prompt), step)
        if step.speak:
            self._ask(Question(words="Press, then key up and talk."), step)
        if self._stopped:
            raise Halted
        self._note(
            doing="listening" if step.signal is None else "sending", prompt=step.prompt, question=None,
            keyed=step.keyed,
        )  # fmt: skip
        return answers

    def _setting(self, ask: Ask, step: Step) -> float:
        if ask.setting == "squelch" or ask.suggested == GENERATOR_OFF_DBM:
            self._ask(Question(words=f"{_sentence(ask.words)}."), step)
            return ask.suggested
        answer = self._ask(Question(words=f"{_sentence(ask.words)}:", ask=ask), step)
        return ask.suggested if answer is None else answer

    def _ask(self, question: Question, step: Step) -> float | None:
        with self._bell:
            self._answer, self._answered = None, False
            self._note(
                doing="asking", prompt=step.prompt, question=question, keyed=self._keying.since_s is not None
            )
            self._bell.wait_for(lambda: self._answered or self._stopped, SHOWN_S if self._automatic else None)
            self._note(question=None)
            if self._stopped:
                raise Halted
            return self._answer


def _sentence(words: str) -> str:
    return words[:1].upper() + words[1:]


class RehearsalBench:
    """The simulated radio with a technician before it: what is typed is set on the simulated radio."""

    def __init__(self, rehearsal: Rehearsal, technician: Technician) -> None:
        self._rehearsal = rehearsal
        self._technician = technician
        self._halted = False

    def perform(self, step: Step) -> Heard:
        """Ask, then let the simulated radio do what was answered."""
        answers = self._technician(step)
        asks = tuple(replace(ask, suggested=value) for ask, value in zip(step.asks, answers, strict=True))
        heard = self._rehearsal.perform(replace(step, asks=asks))
        if self._halted:
            raise Halted
        return heard

    def silence(self) -> None:
        """Nothing sounds in a rehearsal."""
        self._rehearsal.silence()

    def halt(self) -> None:
        """End the step."""
        self._halted = True

    def close(self) -> None:
        """Nothing is open."""
