"""A display of a line or two that readings overwrite, while somebody turns something with both hands."""

from collections.abc import Sequence
from types import TracebackType

from rich.console import Console, Group
from rich.live import Live
from rich.text import Text

BAR_WIDTH, LEAST_BAR = 60, 10
BESIDE_BAR = 12
"""Columns that the numbers of a bar take, and its two ends."""
BESIDE_ECHO = 3
"""Room at the right for the ^C that a terminal echoes."""
PER_S = 10.0


class LiveLine:
    """Shows lines in place of the ones before on a terminal; elsewhere one line below the other.

    Used as a context, so that the terminal is itself again however it ends.
    """

    def __init__(self, console: Console) -> None:
        self._console = console
        self._live: Live | None = None

    @property
    def redraws(self) -> bool:
        """Whether lines are overwritten in place."""
        return self._console.is_terminal

    @property
    def bar_width(self) -> int:
        """Cells of a bar that is seen whole: its end is where one turns to."""
        return min(BAR_WIDTH, max(self._console.width - BESIDE_ECHO - BESIDE_BAR, LEAST_BAR))

    def show(self, lines: Sequence[str]) -> None:
        """Show these lines now; piped, the first of them."""
        if not self.redraws:
            self._console.print(Text(lines[0]))
            return
        if self._live is None:
            self._live = Live(console=self._console, refresh_per_second=PER_S, transient=True)
            self._live.start()
        room = self._console.width - BESIDE_ECHO
        self._live.update(Group(*(Text(line[:room]) for line in lines)), refresh=True)

    def say(self, line: str) -> None:
        """Print a line that stays, above whatever is overwritten."""
        self._console.print(Text(line))

    def done(self) -> None:
        """Take the overwritten lines away; the next `show` begins anew."""
        if self._live is not None:
            self._live.stop()
            self._live = None

    def __enter__(self) -> "LiveLine":
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.done()


def bar(value: float, low: float, high: float, marks: Sequence[float] = (), *, width: int = BAR_WIDTH) -> str:
    """A bar from ``low`` to ``high`` with its marks, ``width`` cells of plain characters.

    >>> bar(12.0, 0.0, 40.0, (20.0,))[:40]
    ' 0 |##################            |     '
    """
    filled = round((min(max(value, low), high) - low) / (high - low) * width)
    cells = ["#" if k < filled else " " for k in range(width)]
    for mark in marks:
        cells[min(round((mark - low) / (high - low) * width), width - 1)] = "|"
    return f" {low:g} |{''.join(cells)}| {high:g} dB"
