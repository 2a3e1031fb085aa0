"""``audiotest check``: recorded clips through the engine, as cards or as one document."""

import argparse
import os
import sys
from collections.abc import Sequence
from dataclasses import dataclass
from functools import partial
from typing import Any

from audiotest.advise.rules import judge, turns_deviation
from audiotest.advise.wording import input_notes
from audiotest.errors import AudiotestError
from audiotest.feeds.file import open_recording
from audiotest.feeds.scale import load_feed
from audiotest.records import Advice, Feed, InputReading, LimitSet, Over
from audiotest.session.engine import Engine
from audiotest.standards.limits import get_limits
from audiotest.terminal.cores import on_all_cores
from audiotest.terminal.document import document, failed_entry, file_entry, is_finite
from audiotest.terminal.shown import complain
from audiotest.terminal.starting import reason_outside


@dataclass(frozen=True, slots=True, kw_only=True)
class Checked:
    """One measured recording."""

    file: str
    sample_rate_hz: int
    duration_s: float
    reading: InputReading
    judged: tuple[tuple[Over, Advice], ...]
    notes: tuple[str, ...]


def run(arguments: argparse.Namespace) -> int:
    """Measure every file; a bad one is reported and does not stop the others."""
    limits = get_limits(arguments.limits)
    feed = None if arguments.feed is None else load_feed(arguments.feed)
    if arguments.fresh or any(os.path.isdir(file) for file in arguments.files):
        # Imported here, since it stands on this module.
        from audiotest.terminal.folder import expand, run_folder

        return run_folder(
            expand(arguments.files), arguments.channel, feed, limits, as_json=arguments.json,
            fresh=arguments.fresh,
        )  # fmt: skip
    if arguments.json:
        return _run_document(arguments.files, arguments.channel, feed, limits)
    return _run_cards(arguments.files, arguments.channel, feed, limits)


def check_file(file: str, channel: int | None, feed: Feed | None, limits: LimitSet) -> Checked:
    """Measure one recording from end to end; raises `AudiotestError` when it cannot be used."""
    source = open_recording(file, channel)
    try:
        engine = Engine(
            source.sample_rate_hz, feed=feed, limits=limits, moves_ceiling=turns_deviation(feed, limits)
        )
        overs: list[Over] = []
        for block in source.blocks():
            engine.mark_lost(block.lost_n)
            overs += engine.push(block.samples)
        overs += engine.finish()
    finally:
        source.close()
    reading = engine.input_reading()
    notes = [*source.notes, *engine.notes, *input_notes(reading)]
    if not overs and reading.verdict != "silent":
        notes.append("no over found: nothing in it looks like a carrier going up and down")
    return Checked(
        file=file,
        sample_rate_hz=source.sample_rate_hz,
        duration_s=engine.duration_s,
        reading=reading,
        judged=tuple((over, judge(over, feed, limits)) for over in overs),
        notes=tuple(notes),
    )


def _attempt(file: str, channel: int | None, feed: Feed | None, limits: LimitSet) -> Checked | str:
    """One file measured, or one line that says why not."""
    try:
        return check_file(file, channel, feed, limits)
    except AudiotestError as error:
        return str(error)
    except (OSError, MemoryError) as error:
        return reason_outside(error) or f"{file}: {error or type(error).__name__}"
    except Exception as error:
        # One recording that trips the program must not cost the results of all the others.
        return f"{file}: unexpected {type(error).__name__}: {error}: a fault of the program"


def _run_document(files: Sequence[str], channel: int | None, feed: Feed | None, limits: LimitSet) -> int:
    entries: list[dict[str, Any]] = []
    measure = partial(_attempt, channel=channel, feed=feed, limits=limits)
    for file, one in zip(files, on_all_cores(measure, files), strict=True):
        found: Checked | str = one
        if isinstance(found, Checked):
            entry = file_entry(
                file, found.sample_rate_hz, found.duration_s, found.reading, found.judged, found.notes
            )
            if not is_finite(entry):
                found = f"{file}: a figure came out that is not a number: a fault of the program"
        if isinstance(found, str):
            complain(found)
            entry = failed_entry(file, found)
        entries.append(entry)
    sys.stdout.write(document(limits, feed, entries))
    return 2 if any(entry["error"] is not None for entry in entries) else 0


def _run_cards(files: Sequence[str], channel: int | None, feed: Feed | None, limits: LimitSet) -> int:
    from audiotest.terminal.card import make_console, print_file, print_notes, print_over

    console = make_console()
    failed = 0
    measure = partial(_attempt, channel=channel, feed=feed, limits=limits)
    for file, found in zip(files, on_all_cores(measure, files), strict=True):
        if isinstance(found, str):
            complain(found)
            failed += 1
            continue
        print_file(console, file, found.sample_rate_hz, found.duration_s, found.reading)
        print_notes(console, found.notes)
        for number, (over, advice) in enumerate(found.judged, start=1):
            print_over(console, number, over, advice, limits)
    if len(files) > 1:
        console.print(f"{len(files) - failed} of {len(files)} files measured.")
    return 2 if failed else 0
