"""The running display in a terminal: one live line, and above it a card per over."""

import sys
from collections import deque

from rich.console import Console
from rich.text import Text

from audiotest.advise.rules import judge
from audiotest.records import Advice, Feed, LimitSet, LiveReading, Over
from audiotest.session.guard import MOVED_DB, HissDrift
from audiotest.session.lastturn import follow_turn
from audiotest.terminal.card import make_console, print_over
from audiotest.terminal.figures import clock, live_text
from audiotest.terminal.shown import shown

LATEST_OVERS = 8
"""The trend looks no further back."""
PIPED_EVERY_S = 2.0
"""Piped, the live line cannot be overwritten: a line of its own this often is enough."""


class Screen:
    """Prints readings and overs as they come.

    Parameters
    ----------
    limits : LimitSet
        What deviation is held against.
    feed : Feed or None
        The learned scale the overs were measured with.
    """

    def __init__(self, limits: LimitSet, feed: Feed | None) -> None:
        self.console: Console = make_console()
        self.overs = 0
        self._limits = limits
        self._feed = feed
        self._latest: deque[Over] = deque(maxlen=LATEST_OVERS)
        self._advised: Advice | None = None
        self._line_shown = False
        self._next_s = 0.0
        self._shift_said_db: float | None = None

    @property
    def redraws(self) -> bool:
        """Whether the live line is overwritten in place."""
        return self.console.is_terminal

    def show(self, reading: LiveReading) -> None:
        """Show the live line: overwritten on a terminal, now and then a line when piped."""
        text = live_text(reading, self._limits)
        if self.redraws:
            # Room for the ^C that the terminal echoes, or it would begin a line of its own.
            width = self.console.width - 3
            sys.stdout.write("\r" + text[:width].ljust(width))
            sys.stdout.flush()
            self._line_shown = True
        elif reading.time_s >= self._next_s:
            self._next_s = reading.time_s + PIPED_EVERY_S
            self._print(Text(f"{clock(reading.time_s)}  {text}"))

    def over(self, over: Over) -> None:
        """Print the card of an over that has ended."""
        self.overs += 1
        self.clear()
        followed = follow_turn([*self._latest, over], self._advised)
        advice = judge(followed.over, self._feed, self._limits)
        print_over(self.console, self.overs, followed.over, advice, self._limits)
        self._latest.append(followed.over)
        self._advised = advice if over.kind == "voice" else self._advised
        change = followed.trend.sentence
        if change:
            self._print(Text(change[0].upper() + change[1:] + ".", style="bold"))
        sys.stdout.flush()

    def hiss(self, drift: HissDrift) -> None:
        """Say, once for each time, that the hiss is not as loud any more as when the scale was learned."""
        if drift.state == "holds":
            self._shift_said_db = None
        if drift.state != "moved" or drift.shift_db is None:
            return
        if self._shift_said_db is None or abs(drift.shift_db - self._shift_said_db) >= MOVED_DB:
            self._shift_said_db = drift.shift_db
            self.say(f"{drift.sentence[0].upper()}{drift.sentence[1:]}.", "bold")

    def say(self, text: str, style: str = "") -> None:
        """Print a line above the live line."""
        self.clear()
        self._print(Text(shown(text), style=style))

    def clear(self) -> None:
        """Take the live line away."""
        if self._line_shown:
            sys.stdout.write("\r" + " " * (self.console.width - 1) + "\r")
            sys.stdout.flush()
            self._line_shown = False

    def _print(self, text: Text) -> None:
        self.console.print(text)
        sys.stdout.flush()
