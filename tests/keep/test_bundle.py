"""A sheet with its files goes out as a ZIP and comes in again the same; a hostile one changes nothing."""

import hashlib
import io
import json
import zipfile
from collections.abc import Callable, Iterator
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import numpy as np
import pytest
import soundfile
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from audiotest.errors import FileError
from audiotest.keep import bundle
from audiotest.keep.attachments import PNG_SIGNATURE
from audiotest.keep.bundle import SHEET_NAME, import_bundle, sheet_bundle
from audiotest.keep.exchange import sheet_document
from audiotest.keep.plotfile import Curves, plot_document
from audiotest.keep.quantities import QUANTITIES
from audiotest.keep.report import make_report
from audiotest.keep.sheetrecords import Figure
from audiotest.keep.sheets import Sheets
from tests.keep.conftest import Job

OWN = {"file"}
"""A kept file's name is the importing folder's own."""


def bare(value: Any) -> Any:
    if isinstance(value, dict):
        return {key: bare(inner) for key, inner in value.items() if key not in OWN}
    return [bare(inner) for inner in value] if isinstance(value, list) else value


def whole(sheets: Sheets, visit_id: int) -> tuple[Any, list[bytes]]:
    """A sheet as its document and the contents of its files."""
    sheet = sheets.sheet(visit_id)
    return bare(sheet_document(sheet)), [sheets.attachment_bytes(file) for file in sheet.attachments]


@pytest.fixture
def other(tmp_path: Path) -> Iterator[Sheets]:
    with Sheets(tmp_path / "other" / "sheets.sqlite") as sheets:
        # No power cut is played here: nothing has to wait for the medium.
        sheets.base.execute("PRAGMA synchronous = OFF")
        yield sheets


@pytest.fixture(scope="module")
def packed(finished_job: Job) -> bytes:
    with Sheets(finished_job.path) as sheets:
        content, remarks = sheet_bundle(sheets, finished_job.visit_id)
    assert remarks == ()
    return content


def repacked(packed: bytes, change: Callable[[dict[str, Any], dict[str, bytes]], None], **more: Any) -> bytes:
    """The ZIP with its document and its files changed."""
    with zipfile.ZipFile(io.BytesIO(packed)) as old:
        files = {name: old.read(name) for name in old.namelist()}
    document = json.loads(files[SHEET_NAME])
    change(document, files)
    if SHEET_NAME in files:
        files[SHEET_NAME] = json.dumps(document).encode()
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", **more) as new:
        for name, content in files.items():
            new.writestr(name, content)
    return out.getvalue()


def refuse(other: Sheets, content: bytes, words: str) -> None:
    """The ZIP is refused in one line, nothing is on the books and nothing in the folder of files."""
    file = other.path.parent / "hostile.zip"
    file.write_bytes(content)
    before = {path for path in other.path.parents[1].rglob("*")}
    with pytest.raises(FileError, match=words) as caught:
        import_bundle(other, file)
    assert "\n" not in str(caught.value)
    assert other.visits() == []
    assert other.sets() == []
    assert {path for path in other.path.parents[1].rglob("*")} == before


def test_a_whole_job_goes_out_and_comes_in_with_clips_and_plots(
    finished_job: Job, packed: bytes, other: Sheets, tmp_path: Path
) -> None:
    file = tmp_path / "job.zip"
    file.write_bytes(packed)
    visit_id = import_bundle(other, file)
    with Sheets(finished_job.path) as sheets:
        assert whole(other, visit_id) == whole(sheets, finished_job.visit_id)
        first = make_report(sheets, finished_job.visit_id)
    again = make_report(other, visit_id)
    assert again.clips == first.clips
    assert again.drawings == first.drawings
    assert again.conditions == first.conditions
    # A measured reading still belongs to its clip.
    drive = other.sheet(visit_id).standing("left")["drive", ""]
    (clip,) = [file for file in other.sheet(visit_id).attachments if file.id == drive.attachment_id]
    assert (clip.kind, clip.stage) == ("clip", "left")
    # Another tool that packs it again does no harm.
    file.write_bytes(repacked(packed, lambda *_: None, compression=zipfile.ZIP_DEFLATED))
    assert whole(other, import_bundle(other, file)) == whole(other, visit_id)


def test_anybody_can_open_it(packed: bytes, tmp_path: Path) -> None:
    with zipfile.ZipFile(io.BytesIO(packed)) as opened:
        assert opened.testzip() is None
        names = opened.namelist()
        assert names == ["01 as found clip.flac", "02 as left clip.flac", "03 as left plot.json", SHEET_NAME]
        sound, rate_hz = soundfile.read(io.BytesIO(opened.read(names[0])))
        assert len(sound) > 5 * rate_hz


def test_the_same_sheet_gives_the_same_bytes(finished_job: Job, packed: bytes) -> None:
    with Sheets(finished_job.path) as sheets:
        assert sheet_bundle(sheets, finished_job.visit_id)[0] == packed


def test_a_clip_that_is_gone_is_said_and_the_rest_comes_along(
    job: Job, other: Sheets, tmp_path: Path
) -> None:
    with Sheets(job.path) as sheets:
        gone = sheets.sheet(job.visit_id).attachments[0]
        (sheets.files / gone.file).unlink()
        content, remarks = sheet_bundle(sheets, job.visit_id)
    assert len(remarks) == 1
    assert "the file is gone" in remarks[0]
    file = tmp_path / "job.zip"
    file.write_bytes(content)
    sheet = other.sheet(import_bundle(other, file))
    assert [kept.kind for kept in sheet.attachments] == ["clip", "plot"]
    # What was measured on the lost clip is on the books, and belongs to no other.
    assert sheet.standing("found")["drive", ""].attachment_id is None


def point_elsewhere(name: str) -> Callable[[dict[str, Any], dict[str, bytes]], None]:
    def change(document: dict[str, Any], files: dict[str, bytes]) -> None:
        files[name] = files.pop("01 as found clip.flac")
        document["attachments"][0]["member"] = name
        document["attachments"][0]["file"] = name

    return change


@pytest.mark.parametrize(
    "name",
    [
        "../../outside.flac",
        "/tmp/outside.flac",
        "C:\\outside.flac",
        "a/../../b",
        "..",
        "x\n\x1b[31m",
        "é" * 2000,
    ],
)
def test_a_hostile_name_leads_nowhere(packed: bytes, other: Sheets, tmp_path: Path, name: str) -> None:
    file = tmp_path / "hostile.zip"
    file.write_bytes(repacked(packed, point_elsewhere(name)))
    outside = {path for path in tmp_path.rglob("*") if other.files not in path.parents}
    visit_id = import_bundle(other, file)
    kept = {path for path in tmp_path.rglob("*")} - outside - {other.files}
    assert {path.parent for path in kept} == {other.files}
    for attachment in other.sheet(visit_id).attachments:
        assert attachment.file.startswith(attachment.sha256[:24])


def spoil(place: str, value: Any) -> Callable[[dict[str, Any], dict[str, bytes]], None]:
    def change(document: dict[str, Any], _: dict[str, bytes]) -> None:
        document["attachments"][0][place] = value

    return change


def other_content(_: dict[str, Any], files: dict[str, bytes]) -> None:
    files["01 as found clip.flac"] += b"!"


def no_document(_: dict[str, Any], files: dict[str, bytes]) -> None:
    del files[SHEET_NAME]


def script(document: dict[str, Any], files: dict[str, bytes]) -> None:
    content = b"#!/bin/sh\nrm -rf /\n"
    files["01 as found clip.flac"] = content
    document["attachments"][0]["sha256"] = hashlib.sha256(content).hexdigest()


def spoilt_reading(document: dict[str, Any], _: dict[str, bytes]) -> None:
    document["readings"][0]["value"] = -3.0


def spoilt_word(document: dict[str, Any], _: dict[str, bytes]) -> None:
    document["spoken"][0]["strength"] = 12


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (other_content, "is not the file that was attached"),
        (no_document, "'sheet.json' in the archive: export"),
        (script, "neither a recording nor a picture nor a plot"),
        (spoil("kind", "plot"), "is no plot"),
        (spoil("kind", "program"), "none of clip, plot, picture"),
        (spoil("stage", "between"), "neither found nor left"),
        (spoil("member", "elsewhere"), "elsewhere"),
        (spoil("member", 7), "is no text"),
        (spoil("title", ["x"]), "title is no text"),
        (spoil("measured", 3), "what was measured"),
        (spoil("sha256", None), "is not the file that was attached"),
        (spoilt_reading, "never below 0"),
        (spoilt_word, "strength 12"),
    ],
)
def test_what_is_amiss_is_named_and_nothing_is_changed(
    packed: bytes, other: Sheets, change: Callable[[dict[str, Any], dict[str, bytes]], None], words: str
) -> None:
    refuse(other, repacked(packed, change), words)


def test_a_file_that_unpacks_without_end_is_refused(packed: bytes, other: Sheets) -> None:
    def bomb(document: dict[str, Any], files: dict[str, bytes]) -> None:
        files["01 as found clip.flac"] = bytes(65 * 2**20)

    small = repacked(packed, bomb, compression=zipfile.ZIP_DEFLATED, compresslevel=1)
    assert len(small) < 2**20
    refuse(other, small, "too large")

    def long_sheet(document: dict[str, Any], files: dict[str, bytes]) -> None:
        document["set"]["note"] = " " * (9 * 2**20)

    refuse(other, repacked(packed, long_sheet, compression=zipfile.ZIP_DEFLATED), "too large")


def test_a_header_that_lies_about_the_size_is_not_believed(packed: bytes, other: Sheets) -> None:
    with zipfile.ZipFile(io.BytesIO(packed)) as old:
        true_size = old.getinfo(SHEET_NAME).file_size
    said = true_size.to_bytes(4, "little")
    refuse(other, packed.replace(said, (10).to_bytes(4, "little")), "not a sheet")


def test_all_files_together_have_a_bound(
    packed: bytes, other: Sheets, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(bundle, "LARGEST_SUM_BYTES", len(packed) - 40_000)
    refuse(other, packed, "too large")


def test_a_list_without_end_is_refused_before_it_is_read(packed: bytes, other: Sheets) -> None:
    def many(document: dict[str, Any], files: dict[str, bytes]) -> None:
        files |= {f"{number}": b"" for number in range(1200)}

    refuse(other, repacked(packed, many), "too many files")

    def listed(document: dict[str, Any], files: dict[str, bytes]) -> None:
        document["attachments"] = document["attachments"][:1] * 501

    refuse(other, repacked(packed, listed), "too many files")


@pytest.mark.parametrize("packing", [zipfile.ZIP_BZIP2, zipfile.ZIP_LZMA])
def test_unusual_packing_is_refused(packed: bytes, other: Sheets, packing: int) -> None:
    refuse(other, repacked(packed, lambda *_: None, compression=packing), "packed in an unusual way")


@settings(max_examples=150, suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None)
@given(data=st.data())
def test_damage_anywhere_is_refused_or_harmless(packed: bytes, other: Sheets, data: st.DataObject) -> None:
    content = bytearray(packed)
    # Mostly in the lists and the document at the end, where every byte means something.
    low = 0 if data.draw(st.booleans()) else len(content) - 30_000
    for at in data.draw(st.lists(st.integers(low, len(content) - 1), min_size=1, max_size=4)):
        content[at] = data.draw(st.integers(0, 255))
    if data.draw(st.booleans()):
        del content[data.draw(st.integers(low, len(content) - 1)) :]
    file = other.path.parent / "damaged.zip"
    file.write_bytes(bytes(content))
    before = len(other.visits()), len(other.sets())
    try:
        visit_id = import_bundle(other, file)
    except FileError:
        assert (len(other.visits()), len(other.sets())) == before
    else:
        for attachment in other.sheet(visit_id).attachments:
            other.attachment_bytes(attachment)


TEXT = st.text(max_size=30)
KEYS = [key for key, quantity in QUANTITIES.items() if not quantity.pointed]


def fill(sheets: Sheets, folder: Path, data: st.DataObject) -> int:
    """A sheet of any words, readings and files."""
    set_id = sheets.add_set("maker " + data.draw(TEXT), data.draw(TEXT), data.draw(TEXT), service="uk-27fm")
    visit_id = sheets.open_visit(set_id, channel=data.draw(st.integers(1, 40)), complaint=data.draw(TEXT))
    for number in range(data.draw(st.integers(0, 3))):
        kind = data.draw(st.sampled_from(["clip", "plot", "picture"]))
        file = folder / f"{number}"
        if kind == "picture":
            file.write_bytes(PNG_SIGNATURE + data.draw(st.binary(max_size=50)))
        elif kind == "plot":
            heights = data.draw(st.lists(st.floats(-1e6, 1e6), min_size=2, max_size=6))
            line = (data.draw(TEXT), tuple((float(x), y) for x, y in enumerate(heights)))
            curves = Curves(title=data.draw(TEXT), x_label="x", y_label="y", lines=(line,))
            file.write_text(json.dumps(plot_document(curves)), encoding="utf-8")
        else:
            codes = np.frombuffer(data.draw(st.binary(min_size=2, max_size=200)).ljust(400, b"\1"), "<i2")
            soundfile.write(file, codes, 8000, format="FLAC")
        stage = data.draw(st.sampled_from(["found", "left"]))
        kept = sheets.attach(visit_id, stage, kind, file, title=data.draw(TEXT), measured={"over": None})
        quantity = QUANTITIES[data.draw(st.sampled_from(KEYS))]
        value = data.draw(st.floats(quantity.lowest, quantity.highest))
        sheets.add_measured(visit_id, stage, [Figure(quantity=quantity.key, value=value)], kept)
    for _ in range(data.draw(st.integers(0, 2))):
        sheets.add_fault(
            visit_id, "fault " + data.draw(TEXT), data.draw(st.none() | TEXT.map("cure ".__add__))
        )
        sheets.add_spoken(visit_id, "left", 5, 9, who=data.draw(TEXT), words=data.draw(TEXT))
    return visit_id


@settings(max_examples=60, suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None)
@given(data=st.data())
def test_any_sheet_comes_back_as_it_went_out(tmp_path: Path, data: st.DataObject) -> None:
    # Books of its own for each: a set of an earlier example would be taken for the same, with its own date.
    with TemporaryDirectory(dir=tmp_path) as folder, Sheets(Path(folder) / "sheets.sqlite") as books:
        books.base.execute("PRAGMA synchronous = OFF")
        visit_id = fill(books, tmp_path, data)
        file = tmp_path / "sheet.zip"
        file.write_bytes(sheet_bundle(books, visit_id)[0])
        assert whole(books, import_bundle(books, file)) == whole(books, visit_id)
