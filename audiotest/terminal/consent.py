"""The step before sound leaves the socket: what will happen, the cautions, and a plain yes."""

import sys
import time
from dataclasses import dataclass, field

from rich.console import Console

from audiotest.errors import RequestError
from audiotest.terminal.card import print_row
from audiotest.tones.answers import read_answer
from audiotest.tones.cautions import before_reception, before_transmission
from audiotest.tones.keying import LET_GO, LONGEST_KEYED_S, Keying
from audiotest.tones.steps import GENERATOR_OFF_DBM, Ask, Step

__all__ = ["LONGEST_KEYED_S", "TerminalTechnician", "ask_leave"]

YES = "yes"


def ask_leave(
    console: Console, what: str, *, transmits: bool, confirmed: bool, longest_s: float | None
) -> None:
    """Say what will be sent and the cautions; go on only after a typed "yes" or `confirmed`.

    Raises
    ------
    RequestError
        Anything else was typed, or nobody is there to type.
    """
    console.print(what)
    for caution in before_transmission(longest_s) if transmits else before_reception():
        print_row(console, "caution", caution)
    if confirmed:
        return
    remedy = "type yes, or give --confirmed, once the cautions are kept"
    if _typed(console, 'Type "yes" to go on, anything else to stop: ', remedy).casefold() != YES:
        raise RequestError("nothing was sent", remedy)


def _typed(
    console: Console, question: str, remedy: str = "run it in a terminal, or try it with --rehearse"
) -> str:
    """One line from the keyboard."""
    console.print(question, end="")
    line = sys.stdin.readline()
    if not line:
        console.print()
        raise RequestError("nobody answers on the keyboard", remedy)
    return line.strip()


def setting_words(ask: Ask) -> str:
    """The value that is suggested; empty where there is something to do and no number to set."""
    if ask.setting == "squelch" or ask.suggested == GENERATOR_OFF_DBM:
        return ""
    return f"{ask.suggested:.4g} {ask.unit}".strip()


@dataclass(slots=True)
class TerminalTechnician:
    """Shows the steps, asks for settings, and has the set keyed and let go."""

    console: Console
    keying: Keying = field(default_factory=Keying)

    def __call__(self, step: Step) -> tuple[float, ...]:
        """Go through a step's questions; returns the settings as they are."""
        self._key(step)
        answers = tuple(self._answer(ask) for ask in step.asks)
        if step.wait:
            _typed(self.console, f"{step.prompt} Then press Enter. ")
        elif not step.live:
            # What is said while somebody turns is overwritten in place, by whoever shows the readings.
            self.console.print(step.prompt)
        if step.speak:
            _typed(self.console, "Press Enter, then key up and talk. ")
        return answers

    def let_go(self) -> None:
        """At the end: say that the set is not to stay keyed."""
        if self.keying.since_s is not None:
            self.console.print(LET_GO)
            self.keying.since_s = None

    def _key(self, step: Step) -> None:
        unkey = self.keying.unkey_words(step, time.monotonic())
        if unkey is not None:
            _typed(self.console, f"{unkey}, then press Enter. ")
            self.keying.since_s = None
        key = self.keying.key_words(step)
        if key is not None:
            _typed(self.console, f"{key}, then press Enter. ")
            self.keying.since_s = time.monotonic()

    def _answer(self, ask: Ask) -> float:
        wanted = setting_words(ask)
        if not wanted:
            _typed(self.console, f"{ask.words}, then press Enter. ")
            return ask.suggested
        while True:
            typed = _typed(self.console, f"{ask.words}: {wanted} [Enter, or type what it is] ")
            if not typed:
                return ask.suggested
            try:
                return read_answer(typed, ask.setting)
            except RequestError as error:
                self.console.print(f"{error}.")
