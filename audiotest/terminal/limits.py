"""``audiotest limits``: the limit sets with their sources."""

import argparse

from rich.text import Text

from audiotest.standards.limits import LIMIT_SETS
from audiotest.terminal.card import make_console, print_row


def run(arguments: argparse.Namespace) -> int:
    """Print every limit set: deviation, spacing, channels and the source under each."""
    console = make_console()
    for limits in LIMIT_SETS:
        heading = Text(f"{limits.id:14}", style="bold")
        heading.append(f"±{limits.deviation_khz:g} kHz", style="bold")
        heading.append(f"  {limits.title}", style="not bold")
        console.print(heading)
        spacing = f"{limits.spacing_khz:g} kHz spacing, audio to {limits.audio_high_hz:g} Hz"
        for text in (spacing, limits.channels, f"source: {limits.source}"):
            print_row(console, "", text)
    console.print("Reference values: the local code and the licence decide.")
    return 0
