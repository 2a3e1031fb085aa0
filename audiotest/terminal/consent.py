"""The step before sound leaves the socket: what will happen, the cautions, and a plain yes."""

import sys
import time
from dataclasses import dataclass, field

from rich.console import Console

from audiotest.errors import RequestError
from audiotest.terminal.card import print_row
from audiotest.tones.cautions import before_reception, before_transmission
from audiotest.tones.keying import LET_GO, LONGEST_KEYED_S, Keying
from audiotest.tones.steps import GENERATOR_OFF_DBM, Ask, Step

__all__ = ["LONGEST_KEYED_S", "TerminalTechnician", "ask_leave"]

YES = "yes"
ANSWERS = {"generator_dbm": (-174.0, 30.0), "mic_gain_db": (-80.0, 80.0), "deviation_factor": (0.01, 100.0)}
"""What a setting can be at all: no generator goes below thermal noise in a hertz or above a watt, and no
control turns a deviation to nothing or below it."""
ANY_ANSWER = (-1e6, 1e6)


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
    question = 'Type "yes" to go on, anything else to stop: '
    if (
        _typed(console, question, "type yes, or give --confirmed once the cautions are kept").casefold()
        != YES
    ):
        raise RequestError("nothing was sent", "type yes, or give --confirmed, once the cautions are kept")


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
        if ask.setting == "generator_dbm" and ask.suggested == GENERATOR_OFF_DBM:
            _typed(self.console, f"{ask.words}, then press Enter. ")
            return ask.suggested
        if ask.setting == "squelch":
            _typed(self.console, f"{ask.words}, then press Enter. ")
            return ask.suggested
        wanted = f"{ask.suggested:.4g} {ask.unit}".strip()
        while True:
            typed = _typed(self.console, f"{ask.words}: {wanted} [Enter, or type what it is] ")
            if not typed:
                return ask.suggested
            try:
                value = float(typed.replace(",", ".").replace("−", "-"))
            except ValueError:
                self.console.print(f"{typed!r} is not a number.")
                continue
            low, high = ANSWERS.get(ask.setting, ANY_ANSWER)
            if low <= value <= high:
                return value
            self.console.print(f"{typed} is not from {low:g} to {high:g}.")
