"""``audiotest limits``: the limit sets with their sources."""

import argparse

from rich.table import Table
from rich.text import Text

from audiotest.standards.limits import LIMIT_SETS
from audiotest.terminal.card import make_console


def run(arguments: argparse.Namespace) -> int:
    """Print every limit set: deviation, spacing, channels and the source under each."""
    console = make_console()
    for limits in LIMIT_SETS:
        heading = Text(f"{limits.id:14}", style="bold")
        heading.append(f"±{limits.deviation_khz:g} kHz", style="bold")
        heading.append(f"  {limits.title}", style="not bold")
        console.print(heading)
        table = Table.grid(padding=(0, 1))
        table.add_column(width=13)
        table.add_column()
        table.add_row("", Text(f"{limits.spacing_khz:g} kHz spacing, audio to {limits.audio_high_hz:g} Hz"))
        table.add_row("", Text(limits.channels))
        table.add_row("", Text(f"source: {limits.source}", style="dim"))
        console.print(table)
    console.print("Reference values: the local code and the licence decide.")
    return 0
