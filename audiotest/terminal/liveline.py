"""A display of a line or two that readings overwrite, while somebody turns something with both hands."""

from collections.abc import Sequence
from types import TracebackType

from rich.console import Console, Group
from rich.live import Live
from rich.text import Text

BAR_WIDTH = 60
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

    def show(self, lines: Sequence[str]) -> None:
        """Show these lines now; piped, the first of them."""
        if not self.redraws:
            self._console.print(Text(lines[0]))
            return
        if self._live is None:
            self._live = Live(console=self._console, refresh_per_second=PER_S, transient=True)
            self._live.start()
        # Room at the right for the ^C that a terminal echoes.
        self._live.update(Group(*(Text(line[: self._console.width - 3]) for line in lines)), refresh=True)

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


def bar(value: float, low: float, high: float, marks: Sequence[float] = ()) -> str:
    """A bar from ``low`` to ``high`` with its marks, in plain characters.

    >>> bar(12.0, 0.0, 40.0, (20.0,))[:40]
    ' 0 |##################            |     '
    """
    filled = round((min(max(value, low), high) - low) / (high - low) * BAR_WIDTH)
    cells = ["#" if k < filled else " " for k in range(BAR_WIDTH)]
    for mark in marks:
        cells[min(round((mark - low) / (high - low) * BAR_WIDTH), BAR_WIDTH - 1)] = "|"
    return f" {low:g} |{''.join(cells)}| {high:g} dB"
