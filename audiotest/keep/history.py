"""Looking back over the sheets: search, the history of one set, what is typical for a model here."""

import statistics
from dataclasses import dataclass

from audiotest.keep.quantities import sheet_order
from audiotest.keep.sheetrecords import RadioSet, Reading, Sheet, Typical, Visit
from audiotest.keep.sheets import Sheets

FEWEST_SETS = 2
"""One set is not typical of anything."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Found:
    """A set that a search found, and where its words stood."""

    radio: RadioSet
    where: str


def search(sheets: Sheets, text: str) -> list[Found]:
    """Sets of which every word of `text` stands somewhere on their sheets, letter case aside."""
    words = text.casefold().split()
    found = []
    for radio in sheets.sets():
        passages = _passages(sheets, radio)
        whole = "\n".join(passage for _, passage in passages).casefold()
        if all(word in whole for word in words):
            where = next((name for name, passage in passages if words and words[0] in passage.casefold()), "")
            found.append(Found(radio=radio, where=where))
    return found


def _passages(sheets: Sheets, radio: RadioSet) -> list[tuple[str, str]]:
    """Every text about a set, with the name of the place where it stands."""
    passages = [
        ("set", " ".join((radio.maker, radio.model, radio.serial))),
        ("options", radio.options),
        ("note", radio.note),
    ]
    for visit in sheets.visits(radio.id):
        sheet = sheets.sheet(visit.id)
        place = f"sheet {visit.id}"
        passages += [
            (place, visit.complaint),
            (place, visit.owner),
            *((f"{place}, fault", f"{fault.fault} {fault.cure or ''}") for fault in sheet.faults),
            *((f"{place}, part", part.name) for part in sheet.parts),
            *((f"{place}, heard", f"{heard.who} {heard.place} {heard.words}") for heard in sheet.spoken),
        ]
    return passages


def history(sheets: Sheets, set_id: int) -> list[tuple[Visit, dict[tuple[str, str], Reading]]]:
    """The visits of one set, oldest first, each with what stood when it left (or was found, if not yet)."""
    sheets.get_set(set_id)
    course = []
    for visit in sheets.visits(set_id):
        sheet = sheets.sheet(visit.id)
        course.append((visit, {**sheet.standing("found"), **sheet.standing("left")}))
    return course


def twin(sheets: Sheets, visit_id: int) -> int | None:
    """The sheet of a set of the same name with the same opening time and readings; None when there is none.

    Such a one is there after the same file has been taken in twice.
    """
    here = sheets.sheet(visit_id)
    for visit in sheets.visits():
        if visit.id != visit_id and visit.opened == here.visit.opened:
            other = sheets.sheet(visit.id)
            if other.radio.name == here.radio.name and _read(other) == _read(here):
                return visit.id
    return None


def _read(sheet: Sheet) -> list[tuple[str, str, str, float, str]]:
    """What was read and when; what was withdrawn is not handed on."""
    return [
        (reading.stage, reading.quantity, reading.point, reading.value, reading.taken)
        for reading in sheet.readings
        if reading.withdrawn is None
    ]


def typical(sheets: Sheets, maker: str, model: str) -> list[Typical]:
    """What sets of one maker and model came to on this bench: the last reading of each set, as left.

    Maker and model are compared without letter case and spaces; two sets are the least that are called
    typical. The median is given, since one odd set should not move it.
    """
    values: dict[tuple[str, str], list[float]] = {}
    for radio in sheets.sets():
        if (_plain(radio.maker), _plain(radio.model)) != (_plain(maker), _plain(model)):
            continue
        last: dict[tuple[str, str], float] = {}
        for visit in sheets.visits(radio.id):
            left = sheets.sheet(visit.id).standing("left")
            last.update({key: reading.value for key, reading in left.items()})
        for key, value in last.items():
            values.setdefault(key, []).append(value)
    in_order = sorted(values.items(), key=lambda item: sheet_order(item[0]))
    return [
        Typical(
            quantity=quantity, point=point, sets=len(found), median=statistics.median(found),
            lowest=min(found), highest=max(found),
        )
        for (quantity, point), found in in_order
        if len(found) >= FEWEST_SETS and quantity not in ("frequency", "speech-level")
    ]  # fmt: skip


def _plain(text: str) -> str:
    return "".join(text.casefold().split())
