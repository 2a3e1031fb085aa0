"""A folder of recordings for ``audiotest check``: progress, a table, and no file measured twice.

What has been measured is remembered line by line in a file of this user's cache, so that a run that was
stopped, even by force, goes on where it was. A recording that has been changed is measured again.
"""

import hashlib
import json
import os
import stat
import sys
from collections.abc import Iterator, Sequence
from contextlib import closing, suppress
from dataclasses import asdict
from functools import partial
from pathlib import Path
from typing import Any

from platformdirs import user_cache_path
from rich.console import Console
from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeRemainingColumn
from rich.table import Table
from rich.text import Text

from audiotest import __version__
from audiotest.errors import AudiotestError, FileError
from audiotest.records import Feed, LimitSet
from audiotest.terminal.card import WIDTH, make_console
from audiotest.terminal.check import check_file
from audiotest.terminal.cores import on_all_cores
from audiotest.terminal.document import SCHEMA, document, failed_entry, file_entry, is_finite
from audiotest.terminal.figures import ARROWS, ARROWS_ASCII, clock
from audiotest.terminal.shown import complain, shown

ENDINGS = (
    ".wav", ".flac", ".ogg", ".oga", ".opus", ".mp3", ".aif", ".aiff", ".aifc", ".w64", ".rf64", ".au",
    ".snd", ".caf",
)  # fmt: skip
MEMORY_SCHEMA = "audiotest-folder-2"
FOLDER_WIDTH = 120
END_BYTES = 65536
"""So much of either end of a recording is looked at to know it again."""


def expand(names: Sequence[str]) -> list[str]:
    """The recordings that are meant: files as named, and for a folder all in it and below, in order.

    A folder with no recording in it, or one that cannot be read, stands for itself: `refuse_folder` says why
    nothing comes of it, and the others are measured all the same.
    """
    found: list[str] = []
    for name in names:
        if not os.path.isdir(name):
            found.append(name)
            continue
        found += list(_recordings(name)) or [name]
    return list(dict.fromkeys(found))


def _recordings(folder: str) -> Iterator[str]:
    """All in a folder and below, and the folders there that cannot be read."""
    closed: list[str] = []
    # Links to folders are not followed: they may lead round in a circle.
    for here, folders, files in os.walk(folder, onerror=lambda error: closed.append(error.filename)):
        yield from _drain(closed)
        folders[:] = sorted(name for name in folders if not name.startswith("."))
        for file in sorted(files):
            if not file.startswith(".") and os.path.splitext(file)[1].lower() in ENDINGS:
                yield os.path.join(here, file)
    yield from _drain(closed)


def _drain(names: list[str]) -> list[str]:
    taken = names[:]
    names.clear()
    return taken


def refuse_folder(name: str) -> None:
    """Raise `FileError` for what `expand` left as a folder; nothing for anything else."""
    if not os.path.isdir(name):
        return
    try:
        os.listdir(name)
    except OSError as error:
        raise FileError(
            f"{name}: cannot be read: {error.strerror}", "give yourself the right to read it"
        ) from error
    raise FileError(f"{name}: there is no recording in it", "name a folder with WAV, FLAC or others")


class Memory:
    """What earlier runs with the same feed, limits and channel have measured.

    Parameters
    ----------
    path : Path
        Its file, a line for each recording; made when it is not there.
    """

    def __init__(self, path: Path) -> None:
        self.path = path
        self._known: dict[str, dict[str, Any]] = {}
        with suppress(OSError):
            for line in path.read_bytes().splitlines():
                # A line that a kill has cut short is as if it had never been written.
                with suppress(ValueError, KeyError, TypeError):
                    entry = json.loads(line)
                    self._known[entry["print"]] = entry["entry"]

    def recall(self, file: str) -> dict[str, Any] | None:
        """What was measured on a file, None when it is new or has been changed."""
        mark = _fingerprint(file)
        entry = None if mark is None else self._known.get(mark)
        return None if entry is None else entry | {"file": file}

    def keep(self, file: str, entry: dict[str, Any]) -> None:
        """Remember what was measured; a cache that cannot be written costs only the next run's time."""
        mark = _fingerprint(file)
        if mark is None:
            return
        with suppress(OSError):
            self.path.parent.mkdir(parents=True, exist_ok=True)
            line = json.dumps({"print": mark, "entry": entry}, allow_nan=False) + "\n"
            with open(self.path, "a+b") as out:
                # After a line that was cut short a new one has to begin.
                out.seek(0, os.SEEK_END)
                if out.tell() and not _ends_line(out):
                    out.write(b"\n")
                out.write(line.encode())

    def forget(self) -> None:
        """Start from nothing."""
        self._known.clear()
        with suppress(OSError):
            self.path.unlink()


def _ends_line(file: Any) -> bool:
    file.seek(-1, os.SEEK_END)
    return bool(file.read(1) == b"\n")


def memory_path(feed: Feed | None, limits: LimitSet, channel: int | None) -> Path:
    """File of what was measured under these conditions, by this version."""
    # The whole of it, and not the figures that are shown: another path reads otherwise.
    scale = None if feed is None else asdict(feed)
    conditions = json.dumps([MEMORY_SCHEMA, SCHEMA, __version__, limits.id, channel, scale], default=str)
    name = hashlib.sha256(conditions.encode()).hexdigest()[:24]
    return user_cache_path("audiotest", appauthor=False) / "check" / f"{name}.jsonl"


def _fingerprint(file: str) -> str | None:
    """What tells a recording from another and from itself before a change: place, size, time, both ends.

    Copying tools set size and time as one likes; what stands at the beginning and at the end they do not.
    """
    try:
        status = os.stat(file)
        if not stat.S_ISREG(status.st_mode):
            # Of a pipe the beginning can be read only once, and that is for the measuring.
            return None
        with open(file, "rb") as opened:
            mark = hashlib.sha256(opened.read(END_BYTES))
            opened.seek(max(status.st_size - END_BYTES, 0))
            mark.update(opened.read(END_BYTES))
    except OSError:
        return None
    text = f"{os.path.realpath(file)}\0{status.st_size}\0{status.st_mtime_ns}"
    mark.update(text.encode("utf-8", "surrogateescape"))
    return mark.hexdigest()


def run_folder(
    files: Sequence[str],
    channel: int | None,
    feed: Feed | None,
    limits: LimitSet,
    *,
    as_json: bool,
    fresh: bool = False,
) -> int:
    """Measure the recordings, those not known yet, and print the table or the document."""
    memory = Memory(memory_path(feed, limits, channel))
    if fresh:
        memory.forget()
    known = {file: entry for file in files if (entry := memory.recall(file)) is not None}
    measured = on_all_cores(
        partial(measure_entry, channel=channel, feed=feed, limits=limits),
        [file for file in files if file not in known],
    )
    entries: list[dict[str, Any]] = []
    try:
        with closing(measured), _progress() as progress:
            task = progress.add_task("measuring", total=len(files), file="")
            for file in files:
                progress.update(task, file=shown(os.path.basename(file))[:30])
                entry = known.get(file)
                if entry is None:
                    entry = next(measured)
                    if entry["error"] is None:
                        memory.keep(file, entry)
                    else:
                        complain(entry["error"])
                entries.append(entry)
                progress.advance(task)
    except KeyboardInterrupt:
        complain(
            f"stopped after {len(entries)} of {len(files)} recordings: the same command goes on from there"
        )
        raise
    if as_json:
        sys.stdout.write(document(limits, feed, entries))
    else:
        print_table(make_folder_console(), entries, limits, len(known))
    return 2 if any(entry["error"] is not None for entry in entries) else 0


def measure_entry(file: str, channel: int | None, feed: Feed | None, limits: LimitSet) -> dict[str, Any]:
    """One recording as an entry of the document, or the entry that says why not."""
    try:
        refuse_folder(file)
        found = check_file(file, channel, feed, limits)
    except AudiotestError as error:
        return failed_entry(file, str(error))
    except (OSError, MemoryError) as error:
        return failed_entry(file, f"{file}: {error or type(error).__name__}")
    except Exception as error:
        # One recording that trips the program must not cost the results of all the others.
        return failed_entry(
            file, f"{file}: unexpected {type(error).__name__}: {error}: a fault of the program"
        )
    entry = file_entry(file, found.sample_rate_hz, found.duration_s, found.reading, found.judged, found.notes)
    if not is_finite(entry):
        return failed_entry(file, f"{file}: a figure came out that is not a number: a fault of the program")
    return entry


def make_folder_console() -> Console:
    """A console for the table: as wide as the terminal up to 120 columns, 80 when piped."""
    console = make_console()
    if console.is_terminal:
        console.width = min(Console().width, FOLDER_WIDTH)
    return console


def print_table(console: Console, entries: Sequence[dict[str, Any]], limits: LimitSet, recalled: int) -> None:
    """Print a line for each recording: its longest over, and what to turn."""
    table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0), width=min(console.width, FOLDER_WIDTH))
    table.add_column("recording", overflow="fold", ratio=1)
    for name in ("length", "overs", "drive", "peak"):
        table.add_column(name, justify="right", no_wrap=True)
    for name in ("mic gain", "deviation"):
        table.add_column(name, no_wrap=True)
    arrows = ARROWS_ASCII if console.options.ascii_only else ARROWS
    names = _short_names([entry["file"] for entry in entries])
    for name, entry in zip(names, entries, strict=True):
        if entry["error"] is not None:
            table.add_row(Text(shown(name)), Text("not measured", style="bold"))
            continue
        over = _longest(entry["overs"])
        cells = [clock(entry["duration_s"]), str(len(entry["overs"]))]
        if over is not None:
            advice = over["advice"]
            cells += [
                _figure(over["limiter"]["drive_db"], "+.1f"),
                _figure(over["deviation"]["peak_khz"], ".2f"),
            ]
            cells += [f"{arrows[advice[key]]} {advice[key]}" for key in ("mic_gain", "deviation")]
        table.add_row(Text(shown(name)), *cells)
    if console.is_terminal:
        console.print(table)
    else:
        # Nothing trails in what is piped.
        with console.capture() as captured:
            console.print(table)
        for line in captured.get().rstrip().splitlines():
            console.print(Text(line.rstrip()))
    failed = sum(entry["error"] is not None for entry in entries)
    before = f", {recalled} of them in an earlier run" if recalled else ""
    console.print(Text(f"{len(entries) - failed} of {len(entries)} recordings measured{before}."))
    if recalled:
        console.print("Add --fresh to measure all of them again.")
    console.print("Drive in dB and peak in kHz are those of the longest over.")
    console.print(Text(f"Limit ±{limits.deviation_khz:g} kHz, {limits.title}."))


def _short_names(files: Sequence[str]) -> list[str]:
    """The files without the folder that they have in common."""
    whole = [os.path.abspath(file) for file in files]
    try:
        prefix = os.path.commonpath([os.path.dirname(file) for file in whole])
    except ValueError:
        # On different drives they have none.
        return whole
    return [os.path.relpath(file, prefix) for file in whole]


def _longest(overs: Sequence[dict[str, Any]]) -> dict[str, Any] | None:
    return max(
        overs, key=lambda over: (over["kind"] == "voice", over["end_s"] - over["start_s"]), default=None
    )


def _figure(value: float | None, form: str) -> str:
    return "?" if value is None else f"{value:{form}}"


def _progress() -> Progress:
    # On standard error, so that the document on standard output stays alone; silent when piped.
    console = Console(file=sys.stderr, width=None if sys.stderr.isatty() else WIDTH)
    return Progress(
        TextColumn("{task.description}"), BarColumn(), MofNCompleteColumn(), TimeRemainingColumn(),
        TextColumn("{task.fields[file]}", markup=False), console=console, transient=True,
        disable=not console.is_terminal,
    )  # fmt: skip
