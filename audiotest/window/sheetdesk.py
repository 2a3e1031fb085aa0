"""The job sheets as the window needs them: every call opens the file, does one thing and lets go of it again.

Nothing here knows of Qt, and nothing is kept between two calls: several windows may work on one file, and
each call may run in any thread.
"""

import tempfile
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from audiotest.errors import AudiotestError, RequestError
from audiotest.keep.bundle import import_file, taken_in
from audiotest.keep.clips import save_clip
from audiotest.keep.figures import conditions, sheet_figures
from audiotest.keep.history import history, search
from audiotest.keep.quantities import QUANTITIES, get_quantity, sheet_order, show
from audiotest.keep.report import Row, summary, table_rows
from audiotest.keep.sheetrecords import STAGE_WORDS, Sheet, Stage, Visit
from audiotest.keep.sheets import SURE, Sheets
from audiotest.standards.limits import get_limits
from audiotest.terminal.report import ENDINGS, endings, report_content, write_file
from audiotest.window.minus import with_minus
from audiotest.window.presenter import Heard

LONGEST_LINE = 200
OUT_WORDS = {".zip": "all of sheet", ".json": "sheet", ".csv": "readings of sheet"}
"""What a file of one sheet is, where it is no report."""
Stamp = tuple[tuple[int, int], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Question:
    """What is to be shown: the words searched for, the set and the sheet that are chosen."""

    words: str = ""
    set_id: int | None = None
    visit_id: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """One entry of a list: its number and its text."""

    id: int
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class SheetView:
    """One sheet as it is shown; ``notes`` are what was found, fitted, heard and attached, a line each.

    ``open_faults`` are those that wait for their cure.
    """

    title: str
    heading: str
    rows: tuple[Row, ...]
    summary: str
    notes: tuple[str, ...]
    open_faults: tuple[Line, ...]
    closed: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class DeskView:
    """Everything that the page shows; ``answer`` is the question with the set's last sheet filled in.

    ``stamp`` tells whether the file has been written to since.
    """

    asked: Question
    answer: Question
    sets: tuple[Line, ...]
    visits: tuple[Line, ...]
    course: tuple[Line, ...]
    sheet: SheetView | None
    stamp: Stamp = field(default=(), compare=False)


@dataclass(frozen=True, slots=True, kw_only=True)
class TypedReading:
    """A reading as it was typed, on its way to a sheet; ``sure`` lets an unlikely one pass."""

    stage: Stage
    quantity: str
    point: str
    text: str
    sure: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class OverSound:
    """An over with the sound that is kept of it, shape (n,); empty when its audio is gone."""

    heard: Heard
    source: str
    codes: NDArray[np.int16]
    rate_hz: int


def look_if_changed(path: Path, asked: Question, stamp: Stamp) -> DeskView | None:
    """Read what the page shows, or None when the file is as it was at `stamp`."""
    return None if stamp and stamp_of(path) == stamp else look(path, asked)


def stamp_of(path: Path) -> Stamp:
    """Times and sizes of the file and of its log of late changes, as far as they are there."""
    found = []
    for file in (path, path.with_name(f"{path.name}-wal")):
        try:
            status = file.stat()
        except OSError:
            continue
        if status.st_size:
            found.append((status.st_mtime_ns, status.st_size))
    return tuple(found)


def look(path: Path, asked: Question) -> DeskView:
    """Read what the page shows."""
    stamp = stamp_of(path)
    return replace(_look(path, asked), stamp=stamp)


def _look(path: Path, asked: Question) -> DeskView:
    with Sheets(path) as sheets:
        found = search(sheets, asked.words)
        sets = tuple(
            Line(id=hit.radio.id, text=one_line(f"{hit.radio.name}{_found_on(hit.where, asked.words)}"))
            for hit in found
        )
        if asked.set_id is None:
            return DeskView(asked=asked, answer=asked, sets=sets, visits=(), course=(), sheet=None)
        stays = sheets.visits(asked.set_id)
        visit_id = asked.visit_id
        if visit_id is None and stays:
            visit_id = stays[-1].id
        return DeskView(
            asked=asked, answer=replace(asked, visit_id=visit_id), sets=sets,
            visits=tuple(Line(id=visit.id, text=visit_line(visit)) for visit in stays),
            course=_course(sheets, asked.set_id),
            sheet=None if visit_id is None else _sheet_view(sheets.sheet(visit_id)),
        )  # fmt: skip


def add_set(path: Path, maker: str, model: str, serial: str, service: str) -> int:
    """Put a set on the books."""
    with Sheets(path) as sheets:
        return sheets.add_set(maker, model, serial, service=service)


def open_visit(
    path: Path, set_id: int, limits: str, channel: int | None, assigned_mhz: float | None, complaint: str
) -> int:
    """Begin a sheet for a set."""
    with Sheets(path) as sheets:
        return sheets.open_visit(
            set_id, limits=limits, channel=channel, assigned_mhz=assigned_mhz, complaint=complaint
        )


def type_reading(path: Path, visit_id: int, typed: TypedReading) -> str:
    """Put a typed reading on a sheet and say how it was understood."""
    with Sheets(path) as sheets:
        reading = sheets.type_reading(
            visit_id, typed.stage, typed.quantity, typed.text, point=typed.point, sure=typed.sure
        )
    label = f"{QUANTITIES[reading.quantity].label} {reading.point}".rstrip()
    return f"{label}, {STAGE_WORDS[reading.stage]}: {show(reading.quantity, reading.value)}"


def put_over(path: Path, visit_id: int, stage: Stage, sound: OverSound) -> str:
    """Put what was measured on an over, and its clip, on a sheet: both or nothing; say what was put there."""
    heard = sound.heard
    figures = sheet_figures(heard.over, heard.feed)
    if not figures and not len(sound.codes):
        raise RequestError(f"over {heard.number} has no figures and no audio", "choose another over")
    name = f"{one_line(sound.source)[:60]}, over {heard.number}, {heard.time_of_day}"
    with tempfile.TemporaryDirectory() as folder, Sheets(path) as sheets:
        kept = None
        with sheets.all_or_nothing():
            if len(sound.codes):
                clip = save_clip(Path(folder), f"over {heard.number}", sound.codes, sound.rate_hz)
                measured = conditions(heard.over, heard.advice, heard.feed)
                kept = sheets.attach(visit_id, stage, "clip", clip, title=name, measured=measured)
            count = sheets.add_measured(visit_id, stage, figures, kept)
    clip_words = "and the clip" if kept is not None else "but no clip: its audio is gone"
    return f"over {heard.number}: {count} figures {clip_words} on sheet {visit_id}, {STAGE_WORDS[stage]}"


def write_out(path: Path, visit_id: int, target: Path) -> str:
    """Write a sheet as what the name ends in: report, sheet or table; say what came of it."""
    ending = target.suffix.lower()
    if ending not in ENDINGS:
        raise RequestError(f"{target.name}: cannot tell what to write", f"end the name in {endings()}")
    with Sheets(path) as sheets:
        content, remarks = report_content(sheets, visit_id, ending)
    # The dialog has asked already whether a file that is there may go.
    write_file(target, content, replace=True)
    return "; ".join((f"{target}: {OUT_WORDS.get(ending, 'report on sheet')} {visit_id}", *remarks))


def take_in(path: Path, file: Path) -> tuple[Question, str]:
    """Put a sheet that was handed out, as ZIP or JSON, on the books; what shows it, and words."""
    with Sheets(path) as sheets:
        visit_id = import_file(sheets, file)
        shown = Question(set_id=sheets.get_visit(visit_id).set_id, visit_id=visit_id)
        return shown, taken_in(sheets, visit_id, str(file))


def error_words(error: AudiotestError) -> str:
    """An error in the window's own words: what the command line calls an option is a box or a field here."""
    if error.remedy == SURE:
        return f"{error.what}: check it; if it is right, tick “it is right” and put it again"
    if "s-meter@" in error.remedy:
        return f"{error.what}: name the point of the scale, such as S9 or S9+20"
    if error.remedy == "see 'audiotest limits'":
        return f"{error.what}: choose other limits, or no channel"
    return str(error)


def is_doubt(error: AudiotestError) -> bool:
    """Whether the same reading would be taken once somebody says that it is right."""
    return error.remedy == SURE


def one_line(text: str) -> str:
    """Free text on one line, and not endless.

    >>> one_line("two  spaces and a   stop")
    'two spaces and a stop'
    """
    line = " ".join(text.split())
    return line if len(line) <= LONGEST_LINE else f"{line[:LONGEST_LINE]}…"


def visit_line(visit: Visit) -> str:
    """One stay on the bench in a line."""
    complaint = f": {visit.complaint}" if visit.complaint else ""
    return one_line(f"sheet {visit.id}, {visit.opened[:10]}, {_state(visit)}{complaint}")


def _state(visit: Visit) -> str:
    return "on the bench" if visit.closed is None else f"left {visit.closed[:10]}"


def title_of(view: DeskView) -> str:
    """The name of the set whose sheet is shown, or what to do first."""
    if view.sheet is not None:
        return view.sheet.title
    if view.answer.set_id is not None:
        return "This set has no sheet yet: begin one with New sheet"
    if view.sets:
        return "Choose a set on the left"
    return "No set found" if view.answer.words else "No sets yet: put one on the books with New set"


def takes_point(quantity: str) -> bool:
    """Whether a reading of this quantity belongs to a point of a scale."""
    return get_quantity(quantity).pointed


def _found_on(where: str, words: str) -> str:
    return f" (on: {where})" if words.split() and where not in ("", "set") else ""


def _course(sheets: Sheets, set_id: int) -> tuple[Line, ...]:
    """The set's history, newest first: what stood on each sheet when it left."""
    lines = []
    for visit, stood in reversed(history(sheets, set_id)):
        figures = [
            f"{QUANTITIES[quantity].label} {f'{point} ' if point else ''}{show(quantity, reading.value)}"
            for (quantity, point), reading in sorted(stood.items(), key=lambda item: sheet_order(item[0]))
        ]
        stood_words = with_minus("; ".join(figures)) or "no readings yet"
        lines.append(Line(id=visit.id, text=f"{visit_line(visit)}\n{stood_words}"))
    return tuple(lines)


def _sheet_view(sheet: Sheet) -> SheetView:
    limits = get_limits(sheet.visit.limits)
    rows = table_rows(sheet, limits)
    notes = [f"Complaint: {sheet.visit.complaint}"] if sheet.visit.complaint else []
    notes += [f"Fault: {fault.fault}: {fault.cure or 'not cured yet'}" for fault in sheet.faults]
    notes += [f"Fitted: {part.count} × {part.name}" for part in sheet.parts]
    notes += [
        f"Heard {STAGE_WORDS[spoken.stage]}: R{spoken.readability} S{spoken.strength} "
        f"{', '.join(word for word in (spoken.words, spoken.who, spoken.place) if word)}".rstrip()
        for spoken in sheet.spoken
    ]
    notes += [
        f"{file.kind.capitalize()} {STAGE_WORDS[file.stage]}: {file.title}" for file in sheet.attachments
    ]
    return SheetView(
        title=one_line(sheet.radio.name),
        heading=f"Sheet {sheet.visit.id}, {sheet.visit.opened[:10]}, {_state(sheet.visit)}, "
        f"limits: {limits.title}",
        rows=rows, summary=summary(rows), notes=tuple(one_line(note) for note in notes),
        open_faults=tuple(
            Line(id=fault.id, text=one_line(fault.fault)) for fault in sheet.faults if fault.cure is None
        ),
        closed=sheet.visit.closed is not None,
    )  # fmt: skip
