"""The options of ``audiotest sheet``, ``report`` and ``compare``; imports nothing that measures."""

import argparse
from typing import Any

from audiotest.terminal.optiontypes import from_one

STAGES = ("found", "left")
PAPERS = ("a4", "letter")
SHEETS_HELP = "file of the sheets (default: this user's, or what AUDIOTEST_SHEETS names)"


def add_sheet(commands: Any) -> None:
    """Declare ``audiotest sheet`` and its ways."""
    sheet = commands.add_parser("sheet", help="job sheets: sets, visits, readings, faults, what was heard")
    sheet.add_argument("--sheets", metavar="FILE", help=SHEETS_HELP)
    ways = sheet.add_subparsers(title="ways", metavar="WAY", required=True, parser_class=type(sheet))

    def way(name: str, help_text: str, *, json: bool = False) -> argparse.ArgumentParser:
        parser: argparse.ArgumentParser = ways.add_parser(name, help=help_text)
        parser.set_defaults(module="audiotest.terminal.sheet", way=name)
        if json:
            parser.add_argument("--json", action="store_true", help="machine-readable, on standard output")
        return parser

    _add_sets(way)
    _add_work(way)
    _add_upkeep(way)


def _add_sets(way: Any) -> None:
    new = way("new", "put a set on the books", json=True)
    new.add_argument("maker", metavar="MAKER")
    new.add_argument("model", metavar="MODEL")
    new.add_argument("--serial", default="", metavar="NO")
    new.add_argument(
        "--service", default="", metavar="L", help="limit set by id, as 'audiotest limits' lists it"
    )
    new.add_argument("--options", default="", metavar="TEXT", help="what is built in")
    new.add_argument("--note", default="", metavar="TEXT")
    find = way("list", "list the sets and their sheets, or those that some words are found on", json=True)
    find.add_argument("words", nargs="*", metavar="WORD")
    begin = way("open", "begin a sheet for a visit of a set", json=True)
    begin.add_argument("set", type=from_one, metavar="SET", help="number of the set")
    begin.add_argument(
        "--limits", default="", metavar="L", help="limit set by id (default: the set's service)"
    )
    begin.add_argument("--channel", type=from_one, metavar="N", help="channel of the service")
    begin.add_argument(
        "--mhz", type=float, metavar="MHZ", help="assigned frequency where there are no channels"
    )
    begin.add_argument("--complaint", default="", metavar="TEXT")
    begin.add_argument("--owner", default="", metavar="TEXT")
    begin.add_argument("--bench", default="", metavar="TEXT", help="load, supply and instruments")
    show = way("show", "show a sheet: as found against as left", json=True)
    _add_number(show)
    past = way("history", "show the visits of a set", json=True)
    past.add_argument("set", type=from_one, metavar="SET")
    usual = way("typical", "show what sets of one model came to here", json=True)
    usual.add_argument("maker", metavar="MAKER")
    usual.add_argument("model", metavar="MODEL")


def _add_work(way: Any) -> None:
    read = way("read", "write down readings, such as power='4 W' deviation=2k5 s-meter@S9='50 uV'")
    _add_number(read)
    _add_stage(read)
    read.add_argument("readings", nargs="+", metavar="NAME=READING")
    read.add_argument("--sure", action="store_true", help="take readings that look unlikely")
    measure = way("measure", "measure a recorded over, or take what 'bench --json' found, onto the sheet")
    _add_number(measure)
    _add_stage(measure)
    measure.add_argument("file", metavar="FILE", help="recording, or result of a bench measurement (.json)")
    measure.add_argument("--feed", metavar="F", help="learned feed (FEED.toml); gives figures in kHz")
    measure.add_argument(
        "--over", type=from_one, metavar="N", help="which over (default: the longest of speech)"
    )
    measure.add_argument("--channel", type=from_one, metavar="N", help="channel of the recording, from 1")
    heard = way("heard", "write down the helper's report: readability 1 to 5, strength 1 to 9")
    _add_number(heard)
    _add_stage(heard)
    heard.add_argument("readability", type=from_one, metavar="R")
    heard.add_argument("strength", type=from_one, metavar="S")
    for name, text in (("--who", "who heard it"), ("--place", "from where"), ("--words", "what was said")):
        heard.add_argument(name, default="", metavar="TEXT", help=text)
    fault = way("fault", "write down a fault")
    _add_number(fault)
    fault.add_argument("fault", metavar="TEXT")
    fault.add_argument("--cure", metavar="TEXT", help="how it was cured")
    cure = way("cure", "write down how a fault was cured")
    cure.add_argument("number", type=from_one, metavar="FAULT", help="number of the fault")
    cure.add_argument("cure", metavar="TEXT")
    part = way("part", "write down a part that was fitted")
    _add_number(part)
    part.add_argument("name", metavar="NAME")
    part.add_argument("--count", type=from_one, default=1, metavar="N")
    attach = way("attach", "keep a file with the sheet: a clip, a PNG picture, a plot of a procedure")
    _add_number(attach)
    _add_stage(attach)
    attach.add_argument("file", metavar="FILE")
    attach.add_argument("--title", default="", metavar="TEXT")
    withdraw = way("withdraw", "take back a reading that was a slip")
    withdraw.add_argument("number", type=from_one, metavar="READING", help="number of the reading")
    close = way("close", "note that the set has left the bench")
    _add_number(close)


def _add_upkeep(way: Any) -> None:
    bring = way("import", "take in a sheet that was exported as ZIP, or as JSON without its files")
    bring.add_argument("file", metavar="FILE")
    way("check", "look whether the file of the sheets and everything attached is sound")
    copy = way("copy", "write a copy of the sheets to a new file")
    copy.add_argument("file", metavar="FILE")


def add_report(commands: Any) -> None:
    """Declare ``audiotest report``."""
    report = commands.add_parser("report", help="make the report on a sheet")
    _add_number(report)
    report.add_argument(
        "-o",
        "--output",
        metavar="FILE",
        help="file to write; its ending decides: .html, .pdf, .csv, .json, or .zip with the attached files",
    )
    report.add_argument("--json", action="store_true", help="the sheet as JSON on standard output")
    report.add_argument("--paper", choices=PAPERS, default="a4", help="paper of a PDF (default a4)")
    report.add_argument("--replace", action="store_true", help="write over a file that is there")
    report.add_argument("--sheets", metavar="FILE", help=SHEETS_HELP)
    report.set_defaults(module="audiotest.terminal.report")


def add_record(commands: Any) -> argparse.ArgumentParser:
    """Declare ``audiotest record``; feed and limits are left to the caller, as with the other commands."""
    record: argparse.ArgumentParser = commands.add_parser(
        "record", help="keep a sound-card input on disk, every over cut out and measured"
    )
    record.add_argument("folder", metavar="DIR", help="where the recording gets a folder of its own")
    record.add_argument(
        "--device", metavar="D", help="input by name or number, as 'audiotest inputs' lists it"
    )
    record.add_argument("--channel", type=from_one, metavar="N", help="channel of the input, from 1")
    record.set_defaults(module="audiotest.terminal.record")
    return record


def add_compare(commands: Any) -> argparse.ArgumentParser:
    """Declare ``audiotest compare``; the limits are left to the caller, as with the other commands."""
    compare: argparse.ArgumentParser = commands.add_parser(
        "compare", help="say what changed from one recorded over to another"
    )
    compare.add_argument("first", metavar="FIRST")
    compare.add_argument("second", metavar="SECOND")
    compare.add_argument("--feed", metavar="F", help="learned feed (FEED.toml); gives figures in kHz")
    compare.add_argument("--channel", type=from_one, metavar="N", help="channel of the recordings, from 1")
    compare.add_argument(
        "--blind", metavar="DIR", help="write both there, equally loud and under names that do not tell"
    )
    compare.add_argument("--json", action="store_true", help="machine-readable, on standard output")
    compare.set_defaults(module="audiotest.terminal.compare")
    return compare


def _add_number(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("sheet", type=from_one, metavar="SHEET", help="number of the sheet")


def _add_stage(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("stage", choices=STAGES, metavar="found|left", help="as found, or as left")
