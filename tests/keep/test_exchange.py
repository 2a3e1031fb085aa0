"""Sheets as JSON and CSV, out and in again."""

import csv
import io
import json
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest

from audiotest.errors import FileError
from audiotest.keep.bundle import taken_in
from audiotest.keep.exchange import import_sheet, sheet_csv, sheet_document, sheet_json
from audiotest.keep.history import twin
from audiotest.keep.sheets import Sheets
from tests.keep.conftest import Job


def whole(job: Job) -> dict[str, Any]:
    with Sheets(job.path) as sheets:
        return sheet_document(sheets.sheet(job.visit_id))


def test_out_and_in_again_it_is_the_same_sheet(finished_job: Job, tmp_path: Path) -> None:
    with Sheets(finished_job.path) as sheets:
        text = sheet_json(sheets.sheet(finished_job.visit_id))
    with Sheets(tmp_path / "other.sqlite") as other:
        visit_id = import_sheet(other, text.encode(), "sheet.json")
        back = sheet_document(other.sheet(visit_id))
        assert taken_in(other, visit_id, "sheet.json") == "sheet.json: taken in as sheet 1"
        again = import_sheet(other, text.encode(), "sheet.json")
        assert twin(other, visit_id) == again
        assert twin(other, again) == visit_id
        assert taken_in(other, again, "sheet.json") == (
            "sheet.json: taken in as sheet 2; sheet 1 of this set has the same opening time and readings"
        )
        assert len(other.sets()) == 1
        assert other.get_visit(again).set_id == other.get_visit(visit_id).set_id
    first = json.loads(text)
    # The files stay behind, and with them what a reading was measured on: `test_bundle` takes them along.
    stamps = {"attachment"}

    def bare(value: Any) -> Any:
        if isinstance(value, dict):
            return {key: bare(inner) for key, inner in value.items() if key not in stamps}
        return [bare(inner) for inner in value] if isinstance(value, list) else value

    for section in ("set", "visit", "readings", "faults", "parts", "spoken"):
        assert bare(back[section]) == bare(first[section])
    assert len(first["readings"]) > 25


def test_a_sheet_keeps_its_times(tmp_path: Path) -> None:
    days = iter(datetime(2026, 3, day, 12, tzinfo=UTC) for day in range(1, 20))
    with Sheets(tmp_path / "sheets.sqlite", now=lambda: next(days)) as sheets:
        visit_id = sheets.open_visit(sheets.add_set("Invented", "Wren", service="pmr446"))
        sheets.type_reading(visit_id, "left", "power", "0.5 W")
        sheets.close_visit(visit_id)
        text = sheet_json(sheets.sheet(visit_id))
    with Sheets(tmp_path / "other.sqlite") as other:
        sheet = other.sheet(import_sheet(other, text.encode(), "sheet.json"))
        assert sheet.radio.added == "2026-03-01T12:00:00+00:00"
        assert sheet.visit.opened == "2026-03-02T12:00:00+00:00"
        assert sheet.readings[0].taken == "2026-03-03T12:00:00+00:00"
        assert sheet.visit.closed == "2026-03-04T12:00:00+00:00"
        # What is written after that is of now again.
        again = other.get_visit(other.open_visit(sheet.radio.id))
        assert again.opened > "2026-03-04"


def test_a_sheet_that_differs_is_no_twin(tmp_path: Path) -> None:
    now = datetime(2026, 3, 1, 12, tzinfo=UTC)
    with Sheets(tmp_path / "sheets.sqlite", now=lambda: now) as sheets:
        first, other = (sheets.add_set("Invented", "Wren", serial, service="pmr446") for serial in "12")
        visits = [sheets.open_visit(set_id) for set_id in (first, first, other)]
        for visit_id, power in zip(visits, ("0.5 W", "0.4 W", "0.5 W"), strict=True):
            sheets.type_reading(visit_id, "left", "power", power)
        assert [twin(sheets, visit_id) for visit_id in visits] == [None, None, None]
        sheets.withdraw_reading(sheets.sheet(visits[1]).readings[0].id)
        sheets.type_reading(visits[1], "left", "power", "0.5 W")
        assert twin(sheets, visits[0]) == visits[1]


def test_a_reading_carries_its_unit_and_its_verdict(finished_job: Job) -> None:
    readings = {(r["stage"], r["quantity"]): r for r in whole(finished_job)["readings"]}
    assert readings["found", "sensitivity"]["unit"] == "µV"
    assert readings["found", "sensitivity"]["verdict"] == "doubt"
    assert readings["left", "sensitivity"]["verdict"] == "pass"


def test_csv_has_one_line_for_each_standing_reading(job: Job) -> None:
    with Sheets(job.path) as sheets:
        slip = sheets.type_reading(job.visit_id, "left", "power", "4.4 W")
        sheets.withdraw_reading(slip.id)
        rows = list(csv.DictReader(io.StringIO(sheet_csv(sheets.sheet(job.visit_id)))))
    power = [row for row in rows if row["reading"] == "carrier power"]
    assert [(row["stage"], row["value"], row["unit"]) for row in power] == [
        ("as found", "2.1", "W"),
        ("as left", "3.9", "W"),
    ]


def test_csv_gives_a_spreadsheet_no_formula(tmp_path: Path) -> None:
    with Sheets(tmp_path / "sheets.sqlite") as sheets:
        set_id = sheets.add_set("=HYPERLINK(1)", "+cmd", "@serial", service="pmr446")
        visit_id = sheets.open_visit(set_id)
        sheets.type_reading(visit_id, "left", "power", "0.5 W")
        (row,) = csv.DictReader(io.StringIO(sheet_csv(sheets.sheet(visit_id))))
    assert row["set"].startswith("'=")
    assert row["serial"] == "'@serial"


def broken(document: dict[str, Any], path: str, value: Any) -> bytes:
    copy = json.loads(json.dumps(document))
    *way, last = path.split(".")
    place = copy
    for step in way:
        place = place[int(step)] if step.isdigit() else place[step]
    place[last] = value
    return json.dumps(copy).encode()


@pytest.mark.parametrize(
    ("path", "value", "words"),
    [
        ("schema", "audiotest-sheet-99", "its schema is not"),
        ("set", None, "set is missing"),
        ("set.maker", 7, "maker is no text"),
        ("set.service", "nonsense", "no limit set named"),
        ("visit.limits", "nonsense", "no limit set named"),
        ("visit.channel", "20", "channel is no whole number"),
        ("visit.channel", 99, "no channel 99"),
        ("readings.0.quantity", "volume", "no reading is called"),
        ("readings.0.value", "12", "value is no number"),
        ("readings.0.value", None, "has no value"),
        ("readings.0.value", -3.0, "never below 0"),
        ("readings.0.unit", "mV", "is not in V"),
        ("readings.0.stage", "between", "neither found nor left"),
        ("readings.0.point", "S9", "has no points"),
        ("readings", {}, "no list"),
        ("faults.0.fault", "", "is empty"),
        ("parts.0.count", -4, "-4 parts"),
        ("spoken.0.strength", 12, "strength 12"),
        ("visit.complaint", "x" * 5000, "longer than"),
        ("visit.opened", "yesterday", "opened is no time"),
        ("visit.closed", "9999-12-31T23:59:59-23:00", "closed is no time"),
        ("readings.0.taken", "2026-03-01T14:05:09", "taken is no time"),
        ("spoken.0.heard", 5, "heard is no text"),
    ],
)
def test_what_is_amiss_in_a_document_is_named_and_nothing_is_changed(
    finished_job: Job, tmp_path: Path, path: str, value: Any, words: str
) -> None:
    with Sheets(tmp_path / "other.sqlite") as other:
        with pytest.raises(FileError, match=words):
            import_sheet(other, broken(whole(finished_job), path, value), "sheet.json")
        assert other.sets() == []
        assert other.visits() == []


@pytest.mark.parametrize(
    "content", [b"", b"{", b"\xff\xfe", b"[1]", b"NaN", b"[" * 100_000, b'{"schema": NaN}']
)
def test_rubbish_is_no_sheet(tmp_path: Path, content: bytes) -> None:
    with Sheets(tmp_path / "other.sqlite") as other, pytest.raises(FileError, match=r"rubbish\.json"):
        import_sheet(other, content, "rubbish.json")
