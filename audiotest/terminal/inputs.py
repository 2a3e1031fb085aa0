"""``audiotest inputs``: the sound-card inputs."""

import argparse

from rich.table import Table
from rich.text import Text

from audiotest.feeds.soundcard import list_inputs
from audiotest.terminal.card import make_console
from audiotest.terminal.shown import shown


def run(arguments: argparse.Namespace) -> int:
    """Print number, name, channels and usual rate of every input."""
    console = make_console()
    inputs = list_inputs()
    if not inputs:
        console.print("No input found. Plug in the sound card, or check that it is not switched off.")
        return 0
    table = Table(box=None, pad_edge=False)
    table.add_column("no.", justify="right", no_wrap=True)
    table.add_column("name", overflow="fold")
    table.add_column("channels", justify="right", no_wrap=True)
    table.add_column("usual rate", justify="right", no_wrap=True)
    table.add_column("through", no_wrap=True)
    for device in inputs:
        table.add_row(
            str(device.index),
            Text(shown(device.name)),
            str(device.channels),
            f"{device.default_rate_hz / 1000:g} kHz",
            Text(shown(device.host_api)),
        )
    console.print(table)
    return 0
