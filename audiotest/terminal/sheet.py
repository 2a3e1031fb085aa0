"""``audiotest sheet``: job sheets from the command line."""

import argparse
import json
import sys
import tempfile
from collections.abc import Callable
from dataclasses import asdict
from pathlib import Path
from typing import Any

from rich.console import Console
from rich.text import Text

from audiotest.errors import FileError, RequestError
from audiotest.feeds.scale import load_feed
from audiotest.keep.attachments import kind_of, read_start
from audiotest.keep.benchresult import read_bench_result
from audiotest.keep.benchsheet import add_bench_result
from audiotest.keep.bundle import import_file, taken_in
from audiotest.keep.clips import save_clip
from audiotest.keep.exchange import sheet_json
from audiotest.keep.figures import conditions, sheet_figures
from audiotest.keep.history import history, search, typical
from audiotest.keep.quantities import QUANTITIES, sheet_order, show
from audiotest.keep.report import VERDICT_WORDS, Row, summary, table_rows
from audiotest.keep.sheetfile import copy_sheets, find_faults, sheets_path
from audiotest.keep.sheetrecords import STAGE_WORDS, STAGES, Sheet
from audiotest.keep.sheets import Sheets
from audiotest.standards.limits import get_limits
from audiotest.terminal.card import make_console, print_row
from audiotest.terminal.overclip import cut_over
from audiotest.terminal.shown import complain, shown

DOCUMENT = "audiotest-sheets-1"
CANNOT = 2


def run(arguments: argparse.Namespace) -> int:
    """Carry out one way of ``audiotest sheet``."""
    with Sheets(chosen_path(arguments.sheets)) as sheets:
        return WAYS[arguments.way](sheets, arguments)


def chosen_path(named: str | None) -> Path:
    """The file of the sheets: as named, or this user's."""
    if named is not None and not named.strip():
        raise FileError("--sheets: the name of the file is empty", "name a file of sheets")
    return sheets_path() if named is None else Path(named)


def _say(text: str) -> None:
    make_console().print(Text(shown(text)))


def _document(**content: Any) -> int:
    sys.stdout.write(json.dumps({"schema": DOCUMENT, **content}, indent=2, allow_nan=False) + "\n")
    return 0


# -- sets and visits ------------------------------------------------------------------------------


def _new(sheets: Sheets, arguments: argparse.Namespace) -> int:
    number = sheets.add_set(
        arguments.maker, arguments.model, arguments.serial, service=arguments.service,
        options=arguments.options, note=arguments.note,
    )  # fmt: skip
    if arguments.json:
        return _document(set=asdict(sheets.get_set(number)))
    _say(f"set {number}: {sheets.get_set(number).name}. Begin a sheet with 'audiotest sheet open {number}'.")
    return 0


def _list(sheets: Sheets, arguments: argparse.Namespace) -> int:
    found = search(sheets, " ".join(arguments.words))
    if arguments.json:
        entries = [
            asdict(hit.radio) | {"sheets": [asdict(visit) for visit in sheets.visits(hit.radio.id)]}
            for hit in found
        ]
        return _document(sets=entries)
    console = make_console()
    for hit in found:
        where = f" (found on: {hit.where})" if hit.where else ""
        console.print(Text(f"set {hit.radio.id}  {hit.radio.name}{where}", style="bold"))
        for visit in sheets.visits(hit.radio.id):
            state = "on the bench" if visit.closed is None else f"left {visit.closed[:10]}"
            complaint = f": {visit.complaint}" if visit.complaint else ""
            print_row(console, f"sheet {visit.id}", f"{visit.opened[:10]}, {state}{complaint}")
    if not found:
        _say("No set found." if arguments.words else "No sets yet: 'audiotest sheet new MAKER MODEL'.")
    return 0


def _open(sheets: Sheets, arguments: argparse.Namespace) -> int:
    number = sheets.open_visit(
        arguments.set, limits=arguments.limits, channel=arguments.channel, assigned_mhz=arguments.mhz,
        complaint=arguments.complaint, owner=arguments.owner, bench=arguments.bench,
    )  # fmt: skip
    if arguments.json:
        return _document(sheet=asdict(sheets.get_visit(number)))
    visit = sheets.get_visit(number)
    _say(f"sheet {number} for {sheets.get_set(arguments.set).name}, limits {visit.limits}.")
    return 0


def _show(sheets: Sheets, arguments: argparse.Namespace) -> int:
    sheet = sheets.sheet(arguments.sheet)
    if arguments.json:
        sys.stdout.write(sheet_json(sheet))
        return 0
    console = make_console()
    limits = get_limits(sheet.visit.limits)
    rows = table_rows(sheet, limits)
    console.print(Text(f"sheet {sheet.visit.id}  {sheet.radio.name}", style="bold"))
    console.print(Text(summary(rows)))
    if rows:
        console.print(Text(f" {'':<36}{STAGE_WORDS['found']:<21}{STAGE_WORDS['left']}", style="bold"))
    for row in rows:
        _print_reading(console, row)
    for fault in sheet.faults:
        print_row(console, f"fault {fault.id}", f"{fault.fault}: {fault.cure or 'not cured yet'}")
    for part in sheet.parts:
        print_row(console, "part", f"{part.count} × {part.name}")
    for heard in sheet.spoken:
        said = ", ".join(word for word in (heard.words, heard.who, heard.place) if word)
        print_row(
            console, STAGE_WORDS[heard.stage], f"R{heard.readability} S{heard.strength} {said}".rstrip()
        )
    for file in sheet.attachments:
        print_row(console, file.kind, f"{STAGE_WORDS[file.stage]}: {file.title}")
    console.print(Text(f"Limits: {limits.title}."))
    console.print("Reference values: the local code and the licence decide.")
    return 0


def _print_reading(console: Console, row: Row) -> None:
    line = Text(f" {row.label:<36}")
    for stage in STAGES:
        cell = row.cells[stage]
        text = "" if cell is None else f"{cell.text} {VERDICT_WORDS[cell.verdict]}".rstrip()
        style = "bold red" if cell is not None and cell.verdict == "fail" else ""
        line.append(f"{text:<21}", style=style)
    line.rstrip()
    console.print(line)


def _history(sheets: Sheets, arguments: argparse.Namespace) -> int:
    course = history(sheets, arguments.set)
    if arguments.json:
        visits = [
            asdict(visit) | {"readings": [asdict(reading) for reading in stood.values()]}
            for visit, stood in course
        ]
        return _document(set=asdict(sheets.get_set(arguments.set)), sheets=visits)
    console = make_console()
    console.print(Text(sheets.get_set(arguments.set).name, style="bold"))
    for visit, stood in course:
        figures = [
            f"{QUANTITIES[quantity].label} {f'{point} ' if point else ''}{show(quantity, reading.value)}"
            for (quantity, point), reading in sorted(stood.items(), key=lambda item: sheet_order(item[0]))
        ]
        print_row(console, f"sheet {visit.id}", f"{visit.opened[:10]}: {'; '.join(figures) or 'no readings'}")
    return 0


def _typical(sheets: Sheets, arguments: argparse.Namespace) -> int:
    found = typical(sheets, arguments.maker, arguments.model)
    if arguments.json:
        return _document(
            maker=arguments.maker, model=arguments.model, typical=[asdict(line) for line in found]
        )
    console = make_console()
    for line in found:
        label = f"{QUANTITIES[line.quantity].label} {line.point}".rstrip()
        figures = f"{show(line.quantity, line.median)}, from {show(line.quantity, line.lowest)} "
        console.print(Text(f" {label:<36}{figures}to {show(line.quantity, line.highest)} ({line.sets} sets)"))
    if not found:
        _say("Fewer than two sets of this maker and model have readings as left.")
    return 0


# -- work on a set --------------------------------------------------------------------------------


def _read(sheets: Sheets, arguments: argparse.Namespace) -> int:
    pairs = [_pair(text) for text in arguments.readings]
    with sheets.all_or_nothing():
        taken = [
            sheets.type_reading(
                arguments.sheet, arguments.stage, name, text, point=point, sure=arguments.sure
            )
            for name, point, text in pairs
        ]
    for reading in taken:
        label = f"{QUANTITIES[reading.quantity].label} {reading.point}".rstrip()
        value = show(reading.quantity, reading.value)
        _say(f"reading {reading.id}: {label} {STAGE_WORDS[reading.stage]} {value}")
    return 0


def _pair(text: str) -> tuple[str, str, str]:
    name, equals, reading = text.partition("=")
    if not equals:
        raise RequestError(f"{text!r} is no reading", "write NAME=READING, such as power='4 W'")
    key, _, point = name.partition("@")
    return key, point, reading


def _measure(sheets: Sheets, arguments: argparse.Namespace) -> int:
    sheet, stage = arguments.sheet, arguments.stage
    if arguments.file.lower().endswith(".json"):
        return _take_bench_result(sheets, arguments)
    limits = get_limits(sheets.get_visit(sheet).limits)
    feed = None if arguments.feed is None else load_feed(arguments.feed)
    clip = cut_over(arguments.file, arguments.channel, feed, limits, arguments.over)
    with tempfile.TemporaryDirectory() as folder:
        name = f"{Path(arguments.file).stem} over {clip.number}"
        path = save_clip(Path(folder), name.replace("/", " "), clip.codes, clip.rate_hz)
        measured = conditions(clip.over, clip.advice, feed)
        figures = sheet_figures(clip.over, feed)
        with sheets.all_or_nothing():
            kept = sheets.attach(sheet, stage, "clip", path, title=name, measured=measured)
            count = sheets.add_measured(sheet, stage, figures, kept)
    _say(f"{name}: {count} figures and the clip are on sheet {sheet}, {STAGE_WORDS[stage]}.")
    _say(clip.advice.sentence)
    return 0


def _take_bench_result(sheets: Sheets, arguments: argparse.Namespace) -> int:
    """Put what 'audiotest bench --json' found on the sheet: its figures, and its curves as a plot."""
    file = Path(arguments.file)
    result = read_bench_result(read_start(file), str(file))
    _say(add_bench_result(sheets, arguments.sheet, arguments.stage, result, file.stem))
    return 0


def _heard(sheets: Sheets, arguments: argparse.Namespace) -> int:
    sheets.add_spoken(
        arguments.sheet, arguments.stage, arguments.readability, arguments.strength, who=arguments.who,
        place=arguments.place, words=arguments.words,
    )  # fmt: skip
    report = f"R{arguments.readability} S{arguments.strength}"
    _say(f"{report} {STAGE_WORDS[arguments.stage]} on sheet {arguments.sheet}.")
    return 0


def _fault(sheets: Sheets, arguments: argparse.Namespace) -> int:
    number = sheets.add_fault(arguments.sheet, arguments.fault, arguments.cure)
    _say(f"fault {number} on sheet {arguments.sheet}: {'cured' if arguments.cure else 'not cured yet'}.")
    return 0


def _cure(sheets: Sheets, arguments: argparse.Namespace) -> int:
    sheets.cure_fault(arguments.number, arguments.cure)
    _say(f"fault {arguments.number}: cured.")
    return 0


def _part(sheets: Sheets, arguments: argparse.Namespace) -> int:
    sheets.add_part(arguments.sheet, arguments.name, arguments.count)
    _say(f"{arguments.count} × {arguments.name} on sheet {arguments.sheet}.")
    return 0


def _attach(sheets: Sheets, arguments: argparse.Namespace) -> int:
    file = Path(arguments.file)
    kind = kind_of(file)
    sheets.attach(arguments.sheet, arguments.stage, kind, file, title=arguments.title)
    _say(f"{file.name}: kept as a {kind} with sheet {arguments.sheet}, {STAGE_WORDS[arguments.stage]}.")
    return 0


def _withdraw(sheets: Sheets, arguments: argparse.Namespace) -> int:
    sheets.withdraw_reading(arguments.number)
    _say(f"reading {arguments.number} withdrawn; it stays on record.")
    return 0


def _close(sheets: Sheets, arguments: argparse.Namespace) -> int:
    sheets.close_visit(arguments.sheet)
    _say(f"sheet {arguments.sheet} closed.")
    return 0


# -- upkeep ---------------------------------------------------------------------------------------


def _import(sheets: Sheets, arguments: argparse.Namespace) -> int:
    number = import_file(sheets, Path(arguments.file))
    _say(f"{taken_in(sheets, number, arguments.file)}.")
    return 0


def _check(sheets: Sheets, _: argparse.Namespace) -> int:
    faults = find_faults(sheets.base)
    count = 0
    # What hangs together is looked at only in a file that is sound in itself.
    for visit in [] if faults else sheets.visits():
        sheet: Sheet = sheets.sheet(visit.id)
        for file in sheet.attachments:
            count += 1
            try:
                sheets.attachment_bytes(file)
            except FileError as error:
                faults.append(f"sheet {visit.id}: {error}")
    for fault in faults:
        complain(fault)
    if faults:
        return CANNOT
    held = f"{_counted(len(sheets.visits()), 'sheet')}, {_counted(count, 'attached file')}"
    _say(f"{sheets.path}: sound; {held}, nothing missing.")
    return 0


def _counted(count: int, noun: str) -> str:
    return f"{count} {noun}{'' if count == 1 else 's'}"


def _copy(sheets: Sheets, arguments: argparse.Namespace) -> int:
    copy_sheets(sheets.base, Path(arguments.file))
    _say(
        f"{arguments.file}: a copy of the sheets. Attached files are in {sheets.files}: copy that folder too."
    )
    return 0


WAYS: dict[str, Callable[[Sheets, argparse.Namespace], int]] = {
    "new": _new, "list": _list, "open": _open, "show": _show, "history": _history, "typical": _typical,
    "read": _read, "measure": _measure, "heard": _heard, "fault": _fault, "cure": _cure, "part": _part,
    "attach": _attach, "withdraw": _withdraw, "close": _close, "import": _import, "check": _check,
    "copy": _copy,
}  # fmt: skip
