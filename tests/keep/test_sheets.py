"""Job sheets: what goes in comes out, and nothing that cannot be goes in."""

import json
import shutil
import sqlite3
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Literal

import pytest

from audiotest.errors import FileError, RequestError
from audiotest.keep.attachments import PNG_SIGNATURE
from audiotest.keep.figures import conditions, sheet_figures
from audiotest.keep.history import history, search, typical
from audiotest.keep.judging import judge_reading, nominal_mhz, nominal_of
from audiotest.keep.sheetfile import copy_sheets
from audiotest.keep.sheetrecords import Figure
from audiotest.keep.sheets import Sheets
from audiotest.records import Feed, Over
from audiotest.standards.limits import get_limits

REPOSITORY = Path(__file__).parents[2]
HOSTILE = "<script>alert(1)</script> ' OR 1=1; DROP TABLE sets; -- \x00\x1b[31m\u202e \ud800 é漢"


@pytest.fixture
def sheets(tmp_path: Path) -> Iterator[Sheets]:
    with Sheets(tmp_path / "sheets.sqlite") as opened:
        yield opened


@pytest.fixture
def visit_id(sheets: Sheets) -> int:
    set_id = sheets.add_set("Invented Radio Works", "Wren 40", "0001", service="uk-27fm")
    return sheets.open_visit(set_id, channel=20, complaint="muffled")


@pytest.fixture
def feed() -> Feed:
    return Feed(
        name="bench", method="tone", scale_khz_per_fs=8.0, scale_uncertainty_db=0.5, deemphasis_us=750.0,
        tone_hz=1000.0, deviation_khz=1.5, if_bandwidth_khz=None, hiss_dbfs=None, learned="2026-03-01",
    )  # fmt: skip


def test_a_whole_sheet_comes_back(sheets: Sheets, visit_id: int) -> None:
    sheets.type_reading(visit_id, "found", "power", "2.1 W")
    sheets.type_reading(visit_id, "left", "power", "4 W")
    sheets.type_reading(visit_id, "left", "s-meter", "50 uV", point="S9")
    fault = sheets.add_fault(visit_id, "electrolytic dried out")
    sheets.cure_fault(fault, "replaced")
    sheets.add_part(visit_id, "10 µF 25 V", 2)
    sheets.add_spoken(visit_id, "left", 5, 9, who="Helper", place="a hill", words="clear")
    sheet = sheets.sheet(visit_id)
    assert sheet.radio.name == "Invented Radio Works Wren 40, serial 0001"
    assert [(reading.stage, reading.value) for reading in sheet.readings] == [
        ("found", 2.1),
        ("left", 4.0),
        ("left", 50.0),
    ]
    assert sheet.standing("left")["s-meter", "S9"].typed == "50 uV"
    assert sheet.faults[0].cure == "replaced"
    assert sheet.parts[0].count == 2
    assert (sheet.spoken[0].readability, sheet.spoken[0].strength) == (5, 9)
    assert sheet.visit.closed is None
    sheets.close_visit(visit_id)
    assert sheets.get_visit(visit_id).closed is not None


def test_a_later_reading_stands_and_a_slip_is_withdrawn_not_lost(sheets: Sheets, visit_id: int) -> None:
    first = sheets.type_reading(visit_id, "left", "deviation", "1.9 kHz")
    slip = sheets.type_reading(visit_id, "left", "deviation", "2k9")
    assert sheets.sheet(visit_id).standing("left")["deviation", ""].value == 2.9
    sheets.withdraw_reading(slip.id)
    sheet = sheets.sheet(visit_id)
    assert sheet.standing("left")["deviation", ""].id == first.id
    assert len(sheet.readings) == 2


def test_an_unlikely_reading_needs_a_second_word(sheets: Sheets, visit_id: int) -> None:
    with pytest.raises(RequestError, match="expected"):
        sheets.type_reading(visit_id, "found", "sensitivity", "0.35 V")
    with pytest.raises(RequestError, match="from the channel's 27"):
        sheets.type_reading(visit_id, "found", "frequency", "27.185 MHz")
    assert sheets.type_reading(visit_id, "found", "frequency", "27.185 MHz", sure=True).value == 27.185
    with pytest.raises(RequestError, match="never below 1"):
        sheets.type_reading(visit_id, "found", "swr", "0.9", sure=True)
    assert len(sheets.sheet(visit_id).readings) == 1


def test_measured_figures_flow_in_with_their_bounds(
    sheets: Sheets, visit_id: int, over: Over, feed: Feed, tmp_path: Path
) -> None:
    clip = tmp_path / "over.flac"
    clip.write_bytes(b"not audio, but kept")
    kept = sheets.attach(visit_id, "found", "clip", clip, measured=conditions(over, None, feed))
    assert sheets.add_measured(visit_id, "found", sheet_figures(over, feed), kept) == 7
    sheet = sheets.sheet(visit_id)
    found = sheet.standing("found")
    deviation = found["deviation", ""]
    # Speech: 1.645 · 1.6 dB and the scale's 0.5 dB are 2.679 dB together, a factor of 1.3613.
    assert deviation.low == pytest.approx(2.31 / 1.3613, rel=1e-4)
    assert deviation.high == pytest.approx(2.31 * 1.3613, rel=1e-4)
    assert found["drive", ""].high == 16.2
    assert found["clipped", ""].value == pytest.approx(24.0)
    assert deviation.attachment_id == kept
    measured = sheet.attachments[0].measured
    assert measured is not None
    assert measured["feed"]["method"] == "tone"
    assert sheets.attachment_bytes(sheet.attachments[0]) == b"not audio, but kept"


def test_a_copy_onto_a_full_disk_says_so_and_leaves_nothing(
    sheets: Sheets, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    place = tmp_path / "full"
    place.mkdir()
    real = sqlite3.connect

    def connect(target: Path, *rest: object, **more: object) -> sqlite3.Connection:
        # What the database leaves beside a file whose log could not be written.
        for ending in ("-wal", "-shm"):
            (place / f"{target.name}{ending}").write_bytes(b"")
        raise sqlite3.OperationalError("disk I/O error")

    monkeypatch.setattr(sqlite3, "connect", connect)
    usage = shutil.disk_usage(place)
    with pytest.raises(FileError, match=r"cannot be written: disk I/O error: name a place"):
        copy_sheets(sheets.base, place / "c.db")
    monkeypatch.setattr(shutil, "disk_usage", lambda _: usage._replace(free=0))
    with pytest.raises(FileError, match=r"c\.db: the disk is full"):
        copy_sheets(sheets.base, place / "c.db")
    assert list(place.iterdir()) == []
    monkeypatch.setattr(sqlite3, "connect", real)


def test_a_speech_peak_is_judged_with_its_own_error_and_a_tone_is_not(over: Over, feed: Feed) -> None:
    limits = get_limits("uk-27fm")

    def judged(peak_khz: float, kind: Literal["voice", "tone"]) -> str:
        peak = replace(over.deviation, peak_khz=peak_khz)
        heard = replace(over, kind=kind, deviation=peak)
        figures = sheet_figures(heard, replace(feed, scale_uncertainty_db=0.1))
        (found,) = (figure for figure in figures if figure.quantity == "deviation")
        return judge_reading("deviation", found.value, limits, low=found.low, high=found.high).verdict

    # The limit is 2.5 kHz. Over the simulated radio a peak of 2.06 kHz was read as 2.38 kHz.
    assert [judged(khz, "voice") for khz in (1.8, 2.38, 2.8, 3.5)] == ["pass", "doubt", "doubt", "fail"]
    assert [judged(khz, "tone") for khz in (1.8, 2.38, 2.8, 3.5)] == ["pass", "pass", "fail", "fail"]


def test_a_clip_that_is_gone_or_changed_is_named(sheets: Sheets, visit_id: int, tmp_path: Path) -> None:
    clip = tmp_path / "over.flac"
    clip.write_bytes(b"sound")
    sheets.attach(visit_id, "left", "clip", clip, title="after")
    (attachment,) = sheets.sheet(visit_id).attachments
    clip.unlink()
    assert sheets.attachment_bytes(attachment) == b"sound"
    kept = sheets.files / attachment.file
    kept.write_bytes(b"other")
    with pytest.raises(FileError, match=r"after: .*changed or is damaged"):
        sheets.attachment_bytes(attachment)
    kept.unlink()
    with pytest.raises(FileError, match="after: the file is gone"):
        sheets.attachment_bytes(attachment)
    with pytest.raises(FileError, match="cannot be read"):
        sheets.attach(visit_id, "left", "clip", tmp_path / "nowhere.flac")


def test_hostile_text_is_only_text(sheets: Sheets) -> None:
    set_id = sheets.add_set(HOSTILE, HOSTILE, HOSTILE, service="pmr446", options=HOSTILE, note=HOSTILE)
    visit_id = sheets.open_visit(set_id, complaint=HOSTILE, owner=HOSTILE)
    sheets.add_fault(visit_id, HOSTILE, HOSTILE)
    sheets.add_part(visit_id, HOSTILE)
    sheets.add_spoken(visit_id, "found", 1, 1, who=HOSTILE, place=HOSTILE, words=HOSTILE)
    radio = sheets.sheet(visit_id).radio
    assert radio.maker == "<script>alert(1)</script> ' OR 1=1; DROP TABLE sets; -- [31m ? é漢"
    assert [found.radio.id for found in search(sheets, "drop TABLE")] == [set_id]
    with pytest.raises(RequestError, match="longer than"):
        sheets.add_fault(visit_id, "x" * 5000)


def test_numbers_that_are_none_of_a_sheet_are_refused(sheets: Sheets, visit_id: int) -> None:
    for number in (0, -1, visit_id + 1, 2**70):
        with pytest.raises(RequestError, match="there is no sheet"):
            sheets.sheet(number)
        with pytest.raises(RequestError, match="there is no sheet"):
            sheets.type_reading(number, "found", "power", "4 W")
    with pytest.raises(RequestError, match="channel 41"):
        sheets.open_visit(1, channel=41)
    with pytest.raises(RequestError, match="no limit set"):
        sheets.open_visit(1, limits="nonsense")
    for readability, strength in ((0, 5), (6, 5), (5, 0), (5, 10)):
        with pytest.raises(RequestError):
            sheets.add_spoken(visit_id, "left", readability, strength)


def test_history_and_what_is_typical(sheets: Sheets) -> None:
    for number, power in enumerate(("3.6 W", "4.0 W", "4.4 W")):
        set_id = sheets.add_set("Invented", "Wren 40", str(number), service="uk-27fm")
        for text in ("1 W", power):
            visit_id = sheets.open_visit(set_id)
            sheets.type_reading(visit_id, "found", "power", "0.5 W")
            sheets.type_reading(visit_id, "left", "power", text)
    sheets.add_set("Other", "Wren 40", service="uk-27fm")
    (power_line,) = typical(sheets, "invented", "WREN  40")
    assert (power_line.sets, power_line.median) == (3, 4.0)
    assert (power_line.lowest, power_line.highest) == (3.6, 4.4)
    course = history(sheets, 1)
    assert [stood["power", ""].value for _, stood in course] == [1.0, 3.6]
    assert typical(sheets, "Other", "Wren 40") == []
    assert len(search(sheets, "wren 1")) == 1
    assert len(search(sheets, "")) == 4


def test_readings_are_judged_against_the_chosen_limits() -> None:
    uk = get_limits("uk-27fm")
    channel_20 = nominal_mhz("uk-27fm", 20)
    assert channel_20 == 27.79125
    assert judge_reading("deviation", 2.51, uk).verdict == "fail"
    assert judge_reading("deviation", 2.4, uk, low=2.2, high=2.6).verdict == "doubt"
    assert judge_reading("deviation", 2.4, uk).verdict == "pass"
    assert judge_reading("deviation", 1.0, uk).words == "40 % of the limit; low: quiet on the air"
    assert judge_reading("drive", 13.0, uk, low=10.0, high=16.0).verdict == "fail"
    assert judge_reading("drive", 10.0, uk, low=5.0, high=15.0).verdict == "doubt"
    assert judge_reading("drive", 4.0, uk).verdict == "pass"
    # A figure by common practice or from memory raises a doubt, and fails nothing.
    assert judge_reading("sensitivity", 1.2, uk).verdict == "doubt"
    assert judge_reading("sensitivity", 0.4, uk).verdict == "pass"
    assert judge_reading("sensitivity", 0.4, get_limits("land-25k")).verdict == "none"
    off = judge_reading("frequency", 27.79325, uk, nominal=channel_20)
    # 2 kHz off 27.79125 MHz is 71.97 parts in a million.
    assert off.words == "+2000 Hz, +72.0 ppm of 27.79125 MHz; over the reference"
    assert off.verdict == "doubt"
    assert judge_reading("frequency-error", -400.0, uk, nominal=channel_20).verdict == "pass"
    assert judge_reading("frequency", 27.79325, uk).verdict == "none"
    assert judge_reading("squelch-opens", 0.3, uk).verdict == "none"


def test_an_assigned_frequency_counts_where_there_are_no_channels(sheets: Sheets) -> None:
    set_id = sheets.add_set("Invented", "Plover", service="land-12k5")
    visit = sheets.get_visit(sheets.open_visit(set_id, assigned_mhz=160.0))
    assert nominal_of(visit) == 160.0
    judged = judge_reading("frequency", 160.0012, get_limits("land-12k5"), nominal=160.0)
    assert (judged.verdict, judged.words) == ("pass", "+1200 Hz, +7.5 ppm of 160.00000 MHz")


def test_a_closed_sheet_takes_nothing_but_a_withdrawal(tmp_path: Path, sheets: Sheets, visit_id: int) -> None:
    reading = sheets.type_reading(visit_id, "left", "power", "3 W")
    fault = sheets.add_fault(visit_id, "dry joint")
    sheets.close_visit(visit_id)
    before = sheets.sheet(visit_id)
    figure = Figure(quantity="power", value=0.5)
    (file := tmp_path / "photo.png").write_bytes(PNG_SIGNATURE)
    for put in (
        lambda: sheets.type_reading(visit_id, "left", "power", "0.5 W"),
        lambda: sheets.add_measured(visit_id, "left", [figure]),
        lambda: sheets.add_measured(visit_id, "left", []),
        lambda: sheets.add_figure(visit_id, "left", figure),
        lambda: sheets.add_fault(visit_id, "another"),
        lambda: sheets.cure_fault(fault, "soldered"),
        lambda: sheets.add_part(visit_id, "fuse"),
        lambda: sheets.add_spoken(visit_id, "left", 5, 9),
        lambda: sheets.attach(visit_id, "left", "picture", file),
        lambda: sheets.close_visit(visit_id),
    ):
        with pytest.raises(RequestError, match=r"is closed: the set left on .*: begin a new sheet"):
            put()
    assert sheets.sheet(visit_id) == before
    assert not sheets.files.exists()
    sheets.withdraw_reading(reading.id)
    assert sheets.sheet(visit_id).standing("left") == {}


def test_measured_that_is_no_json_counts_as_not_there(sheets: Sheets, visit_id: int, tmp_path: Path) -> None:
    clip = tmp_path / "over.flac"
    clip.write_bytes(b"sound")
    sheets.attach(visit_id, "left", "clip", clip, measured={"over": None})
    sheets.base.execute("UPDATE attachments SET measured = '{broken'")
    assert sheets.sheet(visit_id).attachments[0].measured is None
    sheets.base.execute("UPDATE attachments SET measured = ?", (json.dumps([1]),))
    assert sheets.sheet(visit_id).attachments[0].measured is None
