"""The readable card: what to do first, then the figures, then why."""

import textwrap
from collections.abc import Sequence

from rich import box
from rich.console import Console, Group
from rich.panel import Panel
from rich.table import Table
from rich.text import Text

from audiotest.advise.wording import NOTED_DC_PERCENT, doubt_lines, reason_lines
from audiotest.records import Advice, InputReading, LimitSet, Over, Turn
from audiotest.terminal.figures import clock, deviation_amount, figure, figure_rows, mic_amount, turn_words
from audiotest.terminal.shown import shown

WIDTH = 80
LABEL_WIDTH = 12
STYLES: dict[Turn, str] = {
    "raise": "bold black on yellow",
    "lower": "bold black on yellow",
    "keep": "bold black on green",
    "unknown": "bold white on blue",
}
VERDICT_WORDS = {"good": "good", "overloaded": "OVERLOADED", "too_quiet": "too quiet", "silent": "silent"}


class _Console(Console):
    """A console that leaves a reader who goes away to the caller, instead of ending the process."""

    def on_broken_pipe(self) -> None:
        raise BrokenPipeError


def make_console() -> Console:
    """Make the console for cards: 80 columns or less, no colour codes unless it is a terminal."""
    console = _Console(highlight=False, soft_wrap=False, emoji=False, markup=False)
    if not console.is_terminal or console.width > WIDTH:
        console.width = WIDTH
    return console


def print_file(
    console: Console, file: str, sample_rate_hz: int, duration_s: float, reading: InputReading
) -> None:
    """Print the heading of one file: length, rate and what the sound card delivered."""
    text = f"{clock(duration_s)}, {sample_rate_hz / 1000:g} kHz; input {VERDICT_WORDS[reading.verdict]}"
    if reading.peak_dbfs is not None:
        text += f", peak {figure(reading.peak_dbfs, 'dBFS')}"
    if reading.dc_percent_fs is not None and abs(reading.dc_percent_fs) >= NOTED_DC_PERCENT:
        text += f", DC {reading.dc_percent_fs:.0f} %"
    if reading.overload_runs:
        text += f", {reading.overload_runs} times at full scale"
    console.print(Text(shown(file), style="bold"))
    console.print(Text(text))


def print_notes(console: Console, notes: Sequence[str]) -> None:
    """Print remarks about a whole recording."""
    for note in notes:
        print_row(console, "note", note)


def print_over(console: Console, number: int, over: Over, advice: Advice, limits: LimitSet) -> None:
    """Print the card of one over."""
    ascii_only = console.options.ascii_only
    instructed = advice.mic_gain != "unknown" or advice.deviation != "unknown"
    reasons = reason_lines(over, limits, advice.sentence) if instructed else ()
    controls = Text()
    _add_control(controls, "mic gain", advice.mic_gain, mic_amount(advice), ascii_only)
    controls.append("   ")
    _add_control(controls, "deviation", advice.deviation, deviation_amount(advice), ascii_only)
    if instructed:
        controls.append(f"   {100 * advice.confidence:.0f} % sure")
    dash = "-" if ascii_only else "–"
    heading = f" over {number}  {clock(over.start_s)} {dash} {clock(over.end_s)}  {over.kind} "
    panel = Panel(
        Group(Text(advice.sentence, style="bold"), Text(), controls, *_because(reasons)),
        title=Text(heading), title_align="left", box=box.HEAVY, padding=(0, 1),
    )  # fmt: skip
    console.print(panel)
    said = " ".join([advice.sentence, *reasons])
    rows = list(figure_rows(over, limits, said))
    for label, text in rows:
        print_row(console, label, text)
    said = " ".join([said, *(text for _, text in rows)])
    for line in [*doubt_lines(over), *over.notes]:
        # A doubt is "meaning; cure", a note "what: reason": not again what stands above already.
        if line.split("; ")[0] not in said and line.split(": ", 1)[-1] not in said:
            print_row(console, "note", line)
    console.print()


def _because(reasons: Sequence[str]) -> list[Table]:
    """The evidence under the controls, each line with a hanging indent."""
    if not reasons:
        return []
    table = Table.grid(padding=(0, 1))
    for k, reason in enumerate(reasons):
        table.add_row("because" if k == 0 else "", reason)
    return [table]


def _add_control(text: Text, name: str, turn: Turn, amount: str, ascii_only: bool) -> None:
    text.append(f"{name} ")
    text.append(f" {turn_words(turn, amount, ascii_only=ascii_only)} ", style=STYLES[turn])


def print_row(console: Console, label: str, text: str) -> None:
    """Print a label and its text, wrapped beside it; nothing trails, so that a piped card stays clean."""
    first, *rest = textwrap.wrap(text, console.width - LABEL_WIDTH - 2) or [""]
    row = Text(f" {label:<{LABEL_WIDTH}}", style="bold")
    row.append(first, style="not bold")
    console.print(row)
    for line in rest:
        console.print(Text(" " * (LABEL_WIDTH + 1) + line))
