"""``audiotest report``: the report on a sheet, as a page, a PDF, or data."""

import argparse
import os
import sys
from contextlib import suppress
from pathlib import Path

from rich.text import Text

from audiotest.errors import FileError, RequestError
from audiotest.keep.bundle import sheet_bundle
from audiotest.keep.durable import sync_file, sync_folder
from audiotest.keep.exchange import sheet_csv, sheet_json
from audiotest.keep.report import make_report
from audiotest.keep.reportpage import report_page
from audiotest.keep.reportpdf import Paper, report_pdf
from audiotest.keep.sheets import Sheets
from audiotest.terminal.card import make_console
from audiotest.terminal.sheet import chosen_path
from audiotest.terminal.shown import complain, shown

ENDINGS = (".html", ".pdf", ".csv", ".json", ".zip")


def run(arguments: argparse.Namespace) -> int:
    """Write the report, whole or not at all."""
    if arguments.output is None and not arguments.json:
        raise RequestError("no file is named to write the report to", f"add -o FILE ending in {endings()}")
    ending = "" if arguments.output is None else Path(arguments.output).suffix.lower()
    if arguments.output is not None and ending not in ENDINGS:
        raise RequestError(f"{arguments.output}: cannot tell what to write", f"end it in {endings()}")
    with Sheets(chosen_path(arguments.sheets)) as sheets:
        if arguments.json:
            sys.stdout.write(sheet_json(sheets.sheet(arguments.sheet)))
        if arguments.output is None:
            return 0
        content, remarks = report_content(sheets, arguments.sheet, ending, arguments.paper)
    write_file(Path(arguments.output), content, replace=arguments.replace)
    for remark in remarks:
        complain(remark)
    if not arguments.json:
        make_console().print(Text(shown(f"{arguments.output}: report on sheet {arguments.sheet}.")))
    return 0


def report_content(
    sheets: Sheets, visit_id: int, ending: str, paper: Paper = "a4"
) -> tuple[bytes, tuple[str, ...]]:
    """A sheet as the kind of file that one of `ENDINGS` stands for; and what is missing from it."""
    if ending == ".csv":
        return sheet_csv(sheets.sheet(visit_id)).encode("utf-8-sig"), ()
    if ending == ".json":
        return sheet_json(sheets.sheet(visit_id)).encode(), ()
    if ending == ".zip":
        return sheet_bundle(sheets, visit_id)
    report = make_report(sheets, visit_id)
    page = ending == ".html"
    return report_page(report).encode() if page else report_pdf(report, paper), report.remarks


def endings() -> str:
    """What the name of a file of a sheet may end in, in words."""
    return f"{', '.join(ENDINGS[:-1])} or {ENDINGS[-1]}"


def write_file(target: Path, content: bytes, *, replace: bool) -> None:
    """Write a file, whole or not at all; one that is there is replaced only when that was asked for.

    Raises
    ------
    FileError
        It is there, or cannot be written.
    """
    part = target.with_name(f".{target.name}.{os.getpid()}.part")
    try:
        part.write_bytes(content)
        sync_file(part)
        if replace and (target.is_file() or not target.exists()):
            part.replace(target)
        else:
            # Opening for creation fails where the name is taken, also by somebody else just now.
            with open(target, "xb"):
                pass
            part.replace(target)
        sync_folder(target.parent)
    except FileExistsError as error:
        raise FileError(f"{target}: is there already", "name another, or add --replace") from error
    except OSError as error:
        raise FileError(
            f"{target}: cannot be written: {error.strerror}", "name a place you may write to"
        ) from error
    finally:
        # On a medium that cannot be written to even this fails, with the name of a file that nobody knows.
        with suppress(OSError):
            part.unlink()
