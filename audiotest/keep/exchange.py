"""A sheet as JSON and CSV for other programs, and back from JSON, checked value by value.

The document names the attached files; `keep/bundle.py` puts it in one ZIP with them.
"""

import csv
import io
import json
import math
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

from audiotest.errors import FileError, RequestError
from audiotest.keep.attachments import LONGEST_TEXT_BYTES
from audiotest.keep.jsonfile import read_json
from audiotest.keep.judging import judge_on_sheet
from audiotest.keep.quantities import QUANTITIES, check_point, get_quantity, impossible
from audiotest.keep.sheetrecords import STAGE_WORDS, STAGES, Figure, Kind, Sheet, Stage
from audiotest.keep.sheets import Sheets
from audiotest.standards.limits import get_limits

SCHEMA = "audiotest-sheet-1"
MOST_ENTRIES = 2000
EARLIEST_YEAR, LATEST_YEAR = 1970, 2200
KINDS: tuple[Kind, ...] = ("clip", "plot", "picture")
_FORMULA = ("=", "+", "-", "@", "\t", "\r")


@dataclass(frozen=True, slots=True, kw_only=True)
class Enclosed:
    """A file that comes along with a document, already looked at, and what stands about it there."""

    path: Path
    stage: Stage
    kind: Kind
    title: str
    measured: dict[str, Any] | None
    added: datetime | None


def sheet_document(sheet: Sheet) -> dict[str, Any]:
    """A sheet as plain data: every reading with its unit and verdict; files are named, not carried.

    ``attachment`` of a reading is the place, from 1, of the file that it was measured on.
    """
    limits = get_limits(sheet.visit.limits)
    places = {file.id: place for place, file in enumerate(sheet.attachments, start=1)}
    readings = []
    for reading in sheet.readings:
        if reading.quantity not in QUANTITIES:
            continue
        quantity = get_quantity(reading.quantity)
        judged = judge_on_sheet(reading, sheet.visit, limits)
        readings.append(_without(asdict(reading), "id", "visit_id", "attachment_id") | {
            "unit": quantity.unit, "verdict": judged.verdict, "limit": judged.limit or None,
            "attachment": places.get(reading.attachment_id or 0),
        })  # fmt: skip
    return {
        "schema": SCHEMA,
        "set": _without(asdict(sheet.radio), "id"),
        "visit": _without(asdict(sheet.visit), "id", "set_id"),
        "readings": readings,
        "faults": [_without(asdict(fault), "id", "visit_id") for fault in sheet.faults],
        "parts": [_without(asdict(part), "id", "visit_id") for part in sheet.parts],
        "spoken": [_without(asdict(heard), "id", "visit_id") for heard in sheet.spoken],
        "attachments": [_without(asdict(file), "id", "visit_id") for file in sheet.attachments],
    }


def sheet_json(sheet: Sheet) -> str:
    """A sheet as one JSON document with a final newline."""
    return json.dumps(sheet_document(sheet), indent=2, allow_nan=False) + "\n"


def sheet_csv(sheet: Sheet) -> str:
    """The readings of a sheet as CSV (RFC 4180), one per line, those withdrawn left out.

    A text that a spreadsheet would take for a formula gets an apostrophe in front.
    """
    limits = get_limits(sheet.visit.limits)
    out = io.StringIO()
    writer = csv.writer(out)
    writer.writerow(
        ["set", "serial", "sheet", "stage", "reading", "point", "value", "unit", "low", "high", "verdict",
         "limit", "source", "taken"]
    )  # fmt: skip
    for stage in STAGES:
        for reading in sheet.standing(stage).values():
            quantity = get_quantity(reading.quantity)
            judged = judge_on_sheet(reading, sheet.visit, limits)
            writer.writerow(
                [_harmless(f"{sheet.radio.maker} {sheet.radio.model}".strip()), _harmless(sheet.radio.serial),
                 sheet.visit.id, STAGE_WORDS[stage], quantity.label, reading.point, reading.value,
                 quantity.unit, reading.low, reading.high, judged.verdict, judged.limit, judged.source,
                 reading.taken]
            )  # fmt: skip
    return out.getvalue()


def import_sheet(sheets: Sheets, content: bytes, name: str) -> int:
    """Put a JSON sheet on the books as a new visit and return its number; its files do not come along.

    Raises
    ------
    FileError
        It is no such document, or a value in it is out of all bounds. Nothing is changed then.
    """
    return take_in(sheets, read_document(content, name), name, ())


def read_document(content: bytes, name: str) -> dict[str, Any]:
    """Read a sheet's document as far as its schema; `FileError` when it is none."""
    try:
        if len(content) > LONGEST_TEXT_BYTES:
            raise ValueError("it is larger than 8 MiB")
        document = read_json(content)
        if document.get("schema") != SCHEMA:
            raise ValueError(f"its schema is not {SCHEMA}")
    except (ValueError, RecursionError) as error:
        raise refused(name, error) from error
    return document


def take_in(sheets: Sheets, document: dict[str, Any], name: str, enclosed: Sequence[Enclosed | None]) -> int:
    """Put a document on the books as a new visit and return its number.

    A set of the same maker, model and serial is taken to be the same set; without a serial it is a new
    one. Times are those of the document; what has none there is of now.

    Parameters
    ----------
    sheets : Sheets
        The books.
    document : dict
        As `read_document` gives it.
    name : str
        What it is called in an error.
    enclosed : sequence of Enclosed or None
        The file of each entry of the document's attachments, None for one that does not come along.

    Raises
    ------
    FileError
        A value in it is out of all bounds, or a file cannot be kept. Nothing is changed then.
    """
    try:
        radio = _mapping(document.get("set"), "set")
        visit = _mapping(document.get("visit"), "visit")
        closed = _moment(visit, "closed")
        figures = [(_figure(entry), entry) for entry in _entries(document, "readings")]
        with sheets.all_or_nothing():
            set_id = _set_for(sheets, radio)
            with sheets.as_of(_moment(visit, "opened")):
                visit_id = sheets.open_visit(
                    set_id, limits=_text(visit, "limits"), channel=_whole(visit, "channel"),
                    assigned_mhz=_number(visit, "assigned_mhz"), complaint=_text(visit, "complaint"),
                    owner=_text(visit, "owner"), bench=_text(visit, "bench"),
                )  # fmt: skip
            _add_words(sheets, visit_id, document)
            kept = _keep_files(sheets, visit_id, enclosed)
            for (stage, point, typed, figure), entry in figures:
                on = kept.get(_whole(entry, "attachment") or 0)
                with sheets.as_of(_moment(entry, "taken")):
                    sheets.add_figure(visit_id, stage, figure, point=point, typed=typed, attachment_id=on)
            if closed is not None:
                with sheets.as_of(closed):
                    sheets.close_visit(visit_id)
    except (ValueError, RecursionError, OverflowError, RequestError) as error:
        raise refused(name, error) from error
    return visit_id


def _keep_files(sheets: Sheets, visit_id: int, enclosed: Sequence[Enclosed | None]) -> dict[int, int]:
    """Attach what came along; the number of each attachment by its place from 1."""
    kept = {}
    for place, file in enumerate(enclosed, start=1):
        if file is not None:
            with sheets.as_of(file.added):
                kept[place] = sheets.attach(
                    visit_id, file.stage, file.kind, file.path, title=file.title, measured=file.measured
                )
    return kept


def enclosed_as(entry: dict[str, Any], path: Path) -> Enclosed:
    """What an entry of a document's attachments says about its file; `ValueError` when that cannot be."""
    kind = next((kind for kind in KINDS if kind == entry.get("kind")), None)
    if kind is None:
        raise ValueError(f"an attachment is none of {', '.join(KINDS)}")
    measured = entry.get("measured")
    return Enclosed(
        path=path, stage=_stage(entry), kind=kind, title=_text(entry, "title"),
        measured=None if measured is None else _mapping(measured, "what was measured"),
        added=_moment(entry, "added"),
    )  # fmt: skip


def refused(name: str, error: Exception) -> FileError:
    """Say why something is not taken in."""
    return FileError(f"{name}: is not a sheet that can be taken in: {error}", "export it again")


def _add_words(sheets: Sheets, visit_id: int, document: dict[str, Any]) -> None:
    """Faults, parts and spoken reports of a document."""
    for entry in _entries(document, "faults"):
        cure = None if entry.get("cure") is None else _text(entry, "cure")
        with sheets.as_of(_moment(entry, "noted")):
            sheets.add_fault(visit_id, _text(entry, "fault"), cure)
    for entry in _entries(document, "parts"):
        with sheets.as_of(_moment(entry, "fitted")):
            sheets.add_part(visit_id, _text(entry, "name"), _whole(entry, "count") or 1)
    for entry in _entries(document, "spoken"):
        with sheets.as_of(_moment(entry, "heard")):
            sheets.add_spoken(
                visit_id, _stage(entry), _whole(entry, "readability") or 0, _whole(entry, "strength") or 0,
                who=_text(entry, "who"), place=_text(entry, "place"), words=_text(entry, "words"),
            )  # fmt: skip


def _set_for(sheets: Sheets, radio: dict[str, Any]) -> int:
    maker, model, serial = (_text(radio, key) for key in ("maker", "model", "serial"))
    for known in sheets.sets():
        if serial and (known.maker, known.model, known.serial) == (maker, model, serial):
            return known.id
    with sheets.as_of(_moment(radio, "added")):
        return sheets.add_set(
            maker, model, serial, service=_text(radio, "service"), options=_text(radio, "options"),
            note=_text(radio, "note"),
        )  # fmt: skip


def _figure(entry: dict[str, Any]) -> tuple[Stage, str, str | None, Figure]:
    quantity = get_quantity(_text(entry, "quantity"))
    value = _number(entry, "value")
    if value is None:
        raise ValueError(f"{quantity.label} has no value")
    wrong = impossible(quantity.key, value)
    if wrong is not None:
        raise ValueError(wrong)
    if _text(entry, "unit") != quantity.unit:
        raise ValueError(f"{quantity.label} is not in {quantity.unit or 'plain numbers'}")
    typed = None if entry.get("typed") is None else _text(entry, "typed")
    figure = Figure(
        quantity=quantity.key, value=value, low=_number(entry, "low"), high=_number(entry, "high")
    )
    return _stage(entry), check_point(quantity.key, _text(entry, "point")), typed, figure


def _without(entry: dict[str, Any], *keys: str) -> dict[str, Any]:
    return {key: value for key, value in entry.items() if key not in keys}


def _harmless(text: str) -> str:
    return f"'{text}" if text.startswith(_FORMULA) else text


def _mapping(value: Any, what: str) -> dict[str, Any]:
    if not isinstance(value, dict):
        raise ValueError(f"{what} is missing or no object")
    return value


def _entries(document: dict[str, Any], key: str) -> list[dict[str, Any]]:
    return [entry for entry in entries_of(document, key) if entry.get("withdrawn") is None]


def entries_of(document: dict[str, Any], key: str) -> list[dict[str, Any]]:
    """The entries of one section of a document; `ValueError` when it is no list of objects."""
    entries = document.get(key, [])
    if not isinstance(entries, list) or len(entries) > MOST_ENTRIES:
        raise ValueError(f"{key} is no list of up to {MOST_ENTRIES}")
    return [_mapping(entry, f"an entry of {key}") for entry in entries]


def _text(entry: dict[str, Any], key: str) -> str:
    value = entry.get(key, "")
    if not isinstance(value, str):
        raise ValueError(f"{key} is no text")
    return value


def _number(entry: dict[str, Any], key: str) -> float | None:
    value = entry.get(key)
    if value is None:
        return None
    if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(float(value)):
        raise ValueError(f"{key} is no number")
    return float(value)


def _whole(entry: dict[str, Any], key: str) -> int | None:
    value = entry.get(key)
    if value is not None and (isinstance(value, bool) or not isinstance(value, int)):
        raise ValueError(f"{key} is no whole number")
    return value


def _moment(entry: dict[str, Any], key: str) -> datetime | None:
    """A time with its zone; None where there is none."""
    text = "" if entry.get(key) is None else _text(entry, key)
    if not text:
        return None
    try:
        moment = datetime.fromisoformat(text)
    except ValueError:
        moment = None
    if moment is None or moment.tzinfo is None or not EARLIEST_YEAR <= moment.year <= LATEST_YEAR:
        raise ValueError(f"{key} is no time, such as 2026-03-01T14:05:09+00:00")
    return moment


def _stage(entry: dict[str, Any]) -> Stage:
    value = entry.get("stage")
    for stage in STAGES:
        if value == stage:
            return stage
    raise ValueError("a stage is neither found nor left")
