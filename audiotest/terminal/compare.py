"""``audiotest compare``: what changed from one recorded over to another."""

import argparse
import json
import sys
from dataclasses import asdict
from pathlib import Path

import numpy as np
from rich.text import Text

from audiotest.feeds.scale import load_feed
from audiotest.keep.compare import Compared, Listened, compare, write_blind
from audiotest.keep.parts import FULL_SCALE
from audiotest.records import Feed, LimitSet
from audiotest.standards.limits import get_limits
from audiotest.terminal.card import make_console, print_row
from audiotest.terminal.overclip import cut_over
from audiotest.terminal.shown import shown

SCHEMA = "audiotest-compare-1"


def run(arguments: argparse.Namespace) -> int:
    """Measure the longest over of each file and say what changed."""
    limits = get_limits(arguments.limits)
    feed = None if arguments.feed is None else load_feed(arguments.feed)
    first, second = (
        _listen(file, arguments.channel, feed, limits) for file in (arguments.first, arguments.second)
    )
    found = compare(first, second)
    blind: Path | None = None
    if arguments.blind is not None:
        blind, _ = write_blind(first, second, Path(arguments.blind))
    if arguments.json:
        entry = {
            "schema": SCHEMA, "first": arguments.first, "second": arguments.second, **asdict(found),
            "blind": None if blind is None else str(blind),
        }  # fmt: skip
        sys.stdout.write(json.dumps(entry, indent=2, allow_nan=False) + "\n")
    else:
        _print(found, arguments, blind)
    return 0


def _listen(file: str, channel: int | None, feed: Feed | None, limits: LimitSet) -> Listened:
    clip = cut_over(file, channel, feed, limits)
    samples = ((clip.codes >> 8) / FULL_SCALE).astype(np.float32)
    return Listened(name=file, samples=samples, rate_hz=clip.rate_hz, over=clip.over)


def _print(found: Compared, arguments: argparse.Namespace, blind: Path | None) -> None:
    console = make_console()
    console.print(Text(shown(f"from {arguments.first} to {arguments.second}"), style="bold"))
    for change in found.changes:
        print_row(console, "", change)
    if found.first_lufs is not None and found.second_lufs is not None:
        print_row(console, "loudness", f"{found.first_lufs:.1f} and {found.second_lufs:.1f} LUFS")
    if found.gains_db is not None:
        first, second = found.gains_db
        print_row(
            console, "to match", f"play the first at {first:+.1f} dB and the second at {second:+.1f} dB"
        )
    if blind is not None:
        print_row(console, "blind", f"X.flac and Y.flac in {shown(str(blind))}; the key lies beside them")
        console.print("Start headphones low.")
