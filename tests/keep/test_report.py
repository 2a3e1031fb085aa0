"""The report says what the sheet says, stands alone, and lets nothing typed become anything but text."""

import base64
import hashlib
import io
import json
import re
import shutil
import subprocess
from datetime import UTC, datetime
from html.parser import HTMLParser
from pathlib import Path

import numpy as np
import pytest
import soundfile

from audiotest.errors import FileError
from audiotest.keep.drawing import Drawing, Words, svg
from audiotest.keep.judging import judge_reading
from audiotest.keep.plotfile import Curves, plot_document, read_curves
from audiotest.keep.plots import curves_plot
from audiotest.keep.quantities import show
from audiotest.keep.report import Report, make_report
from audiotest.keep.reportpage import report_page
from audiotest.keep.reportpdf import PAPERS, report_pdf
from audiotest.keep.sheets import Sheets
from audiotest.standards.limits import get_limits
from tests.keep.conftest import Job

WHEN = datetime(2026, 3, 1, 14, 5, tzinfo=UTC)
HOSTILE = (
    "</title></style><script>alert(1)</script><img src=x onerror=alert(2)>\"'><svg/onload=alert(3)>"
    "{{ 7*7 }}{% raw %}&amp;<!--"
)
LINE = b'{"schema": "audiotest-plot-1", "lines": [{"name": "a", "points": %s}]}'
VOID = {"meta", "img", "br"}


class Reader(HTMLParser):
    """Collects what a browser would see: tags, attributes and text; refuses what does not close."""

    def __init__(self) -> None:
        super().__init__()
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.open: list[str] = []
        self.text = ""

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))

    def handle_endtag(self, tag: str) -> None:
        assert self.open
        assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        self.text += data


def read(page: str) -> Reader:
    reader = Reader()
    reader.feed(page)
    reader.close()
    assert reader.open == []
    return reader


def report_on(job: Job) -> Report:
    with Sheets(job.path) as sheets:
        return make_report(sheets, job.visit_id, now=lambda: WHEN)


def test_found_stands_against_left_with_verdicts(finished_job: Job) -> None:
    report = report_on(finished_job)
    rows = {row.label: row for row in report.rows}
    drive = rows["drive into the limiter"].cells
    assert drive["found"] is not None
    assert drive["left"] is not None
    assert drive["found"].verdict == "fail"
    with Sheets(finished_job.path) as sheets:
        stood = sheets.sheet(finished_job.visit_id).standing("left")["drive", ""]
    judged = judge_reading("drive", stood.value, get_limits("uk-27fm"), low=stood.low, high=stood.high)
    assert (drive["left"].text, drive["left"].verdict) == (show("drive", stood.value), judged.verdict)
    assert drive["found"].measured
    power = rows["carrier power"].cells["left"]
    assert power is not None
    assert (power.text, power.verdict, power.measured) == ("3.90 W", "pass", False)
    carrier = rows["carrier frequency"].cells["found"]
    assert carrier is not None
    assert carrier.words == "+1800 Hz, +64.8 ppm of 27.79125 MHz; over the reference"
    assert carrier.verdict == "doubt"
    assert rows["S-meter reads S9"].cells["found"] is None
    assert report.summary.startswith("As left, 6 readings held against limits, none outside")
    assert [clip.stage for clip in report.clips] == ["found", "left"]
    assert [drawing.title for drawing in report.drawings] == [
        "Balance map",
        "Spectrum of the clips",
        "SINAD against signal",
    ]
    assert any("8.00 kHz per full scale, uncertain by ±0.5 dB" in line for line in report.conditions)
    assert any(line.startswith("uk-27fm: MPT 1320") for line in report.sources)
    assert report.remarks == ()


def test_the_page_stands_alone(finished_job: Job) -> None:
    page = report_page(report_on(finished_job))
    reader = read(page)
    tags = {tag for tag, _ in reader.tags}
    assert not tags & {"script", "link", "iframe", "object", "embed", "form", "base"}
    for _, attributes in reader.tags:
        for name, value in attributes.items():
            assert not name.startswith("on")
            assert name != "style"
            if name in ("src", "href"):
                assert value is not None
                assert value.startswith(("data:audio/flac;base64,", "data:image/png;base64,"))
    assert not re.search(r"https?://|url\(|@import", page)


def test_the_policy_lets_only_the_page_s_own_style_through(finished_job: Job) -> None:
    page = report_page(report_on(finished_job))
    (policy,) = [
        attributes["content"]
        for tag, attributes in read(page).tags
        if tag == "meta" and attributes.get("http-equiv") == "Content-Security-Policy"
    ]
    style = re.search(r"<style>(.*?)</style>", page, re.DOTALL)
    assert style is not None
    digest = base64.b64encode(hashlib.sha256(style[1].encode()).digest()).decode()
    assert policy == (
        f"default-src 'none'; style-src 'sha256-{digest}'; img-src data:; media-src data:; "
        "base-uri 'none'; form-action 'none'"
    )


def test_the_clips_in_the_page_are_the_overs(finished_job: Job) -> None:
    page = report_page(report_on(finished_job))
    sources = [attributes["src"] or "" for tag, attributes in read(page).tags if tag == "audio"]
    assert len(sources) == 2
    for stage, source in zip(("found", "left"), sources, strict=True):
        inside, rate_hz = soundfile.read(io.BytesIO(base64.b64decode(source.split(",", 1)[1])), dtype="int16")
        original, original_hz = soundfile.read(finished_job.path.parent / f"{stage}.flac", dtype="int16")
        assert rate_hz == original_hz
        assert (inside == original).all()


def plot_data(*, title: str, x_label: str, y_label: str, name: str) -> dict[str, object]:
    return {
        "schema": "audiotest-plot-1",
        "title": title,
        "x": {"label": x_label},
        "y": {"label": y_label},
        "lines": [{"name": name, "points": [[1, 1], [2, 2]]}, {"name": "b", "points": [[1, 2], [2, 3]]}],
    }


def fill_with_hostile_text(path: Path, folder: Path) -> int:
    with Sheets(path) as sheets:
        set_id = sheets.add_set(HOSTILE, HOSTILE, HOSTILE, service="uk-27fm", options=HOSTILE, note=HOSTILE)
        visit_id = sheets.open_visit(set_id, complaint=HOSTILE, owner=HOSTILE, bench=HOSTILE)
        sheets.type_reading(visit_id, "left", "power", "4 W")
        sheets.add_fault(visit_id, HOSTILE, HOSTILE)
        sheets.add_part(visit_id, HOSTILE, 2)
        sheets.add_spoken(visit_id, "left", 5, 9, who=HOSTILE, place=HOSTILE, words=HOSTILE)
        clip = folder / "clip.flac"
        clip.write_bytes(b"not audio")
        feed = {"name": HOSTILE, "learned": HOSTILE, "method": HOSTILE}
        measured = {"feed": feed, "advice": {"sentence": HOSTILE}, "over": {}}
        sheets.attach(visit_id, "left", "clip", clip, title=HOSTILE, measured=measured)
        plot = folder / "plot.json"
        plot.write_text(
            json.dumps(
                plot_data(title=HOSTILE, x_label=HOSTILE, y_label=HOSTILE, name=HOSTILE)
                | {"level": {"value": 1, "label": HOSTILE}}
            )
        )
        sheets.attach(visit_id, "left", "plot", plot, title=HOSTILE)
        picture = folder / "picture.png"
        picture.write_bytes(b"\x89PNG\r\n\x1a\n" + b"\0" * 20)
        sheets.attach(visit_id, "left", "picture", picture, title=HOSTILE)
        return visit_id


def test_hostile_text_in_every_field_stays_text(tmp_path: Path) -> None:
    path = tmp_path / "sheets.sqlite"
    visit_id = fill_with_hostile_text(path, tmp_path)
    with Sheets(path) as sheets:
        report = make_report(sheets, visit_id)
    # Every text of the report that can be typed holds the whole of it ...
    typed = (
        report.title, *(text for label, text in report.facts if label in ("maker", "complaint", "note")),
        *report.faults[0], report.parts[0], report.spoken[0][1], report.clips[0].title, report.clips[0].heard,
    )  # fmt: skip
    assert all(HOSTILE in text for text in typed)
    assert report.drawings[0].title == HOSTILE[:80]
    # ... and none of it becomes a tag.
    page = report_page(report)
    reader = read(page)
    tags = {tag for tag, _ in reader.tags}
    assert "script" not in tags
    assert not any(name.startswith("on") for _, attributes in reader.tags for name in attributes)
    assert page.count("<svg") == 1
    assert page.count("<img") == 1
    assert reader.text.count("{{ 7*7 }}") >= 8


def test_the_spectrum_is_that_of_the_speech_and_not_of_the_hiss_around_it(tmp_path: Path) -> None:
    rng = np.random.default_rng(3)
    speech = (0.02 * np.cumsum(rng.standard_normal(16000)) / 16.0).astype(np.float32)
    hiss = (0.3 * rng.standard_normal(8000)).astype(np.float32)
    # Half a second before it is one of the engine's decisions, where a clip begins.
    over = {"start_s": 20.02, "speech_start_s": 20.52, "speech_end_s": 21.52}
    spectra: list[Drawing] = []
    with Sheets(tmp_path / "s.sqlite") as sheets:
        for samples, measured in (
            (np.concatenate([hiss, np.zeros(8000, np.float32), speech, hiss]), {"over": over}),
            (speech, None),
        ):
            clip = tmp_path / f"{len(spectra)}.flac"
            soundfile.write(clip, samples, 16000, subtype="PCM_24")
            visit_id = sheets.open_visit(sheets.add_set("Invented", "Wren", service="uk-27fm"))
            sheets.attach(visit_id, "left", "clip", clip, title="clip", measured=measured)
            spectra += [
                d for d in make_report(sheets, visit_id).drawings if d.title == "Spectrum of the clips"
            ]
    assert len(spectra) == 2
    assert spectra[0] == spectra[1]


def test_a_clip_that_is_gone_is_said_and_the_rest_stands(job: Job) -> None:
    with Sheets(job.path) as sheets:
        found, left = (a for a in sheets.sheet(job.visit_id).attachments if a.kind == "clip")
        (sheets.files / found.file).unlink()
        (sheets.files / left.file).write_bytes(b"fLaC but cut short")
    report = report_on(job)
    assert [clip.trouble for clip in report.clips] == [
        "the file is gone",
        "the file has been changed or is damaged",
    ]
    assert len(report.remarks) == 2
    page = report_page(report)
    assert "No sound here: the file is gone." in read(page).text
    assert "<audio" not in page
    assert report_pdf(report).startswith(b"%PDF")


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"", "is not a plot"),
        (b"[]", "is not a plot"),
        (b"[" * 100_000, "is not a plot"),
        (b'{"schema": "audiotest-plot-1"}', "is missing"),
        (b'{"schema": "other"}', "its schema is not"),
        (LINE % b'[[1, NaN]]', "NaN is no number"),
        (LINE % b'[[1, 1e999]]', "all bounds"),
        (LINE % b'[[1, 1], [1, 2]]', "no stretch"),
        (LINE % b'[[1, 1, 1]]', "not a pair"),
        (LINE % b'["ab"]', "than a number"),
        (LINE % b'[]', "1 to 5000 points"),
        (b'{"schema": "audiotest-plot-1", "lines": []}', "one to 6 lines"),
        (LINE.replace(b"lines", b"log_x\": true, \"lines") % b"[[0, 1]]", "above zero"),
        (b"\xff\xfe\x00", "is not a plot"),
    ],
)  # fmt: skip
def test_a_plot_file_that_cannot_be_drawn_is_named(content: bytes, words: str) -> None:
    with pytest.raises(FileError, match=words) as caught:
        read_curves(content, "curve")
    assert str(caught.value).startswith("curve: is not a plot")


def test_a_flat_curve_and_a_tiny_one_can_be_drawn() -> None:
    for ys in ((3.0, 3.0, 3.0), (1e-12, 2e-12, 1e-12), (-1e12, 0.0, 1e12)):
        points = tuple(zip((1.0, 10.0, 100.0), ys, strict=True))
        curves = Curves(title="t", x_label="x", y_label="y", lines=(("a", points),), log_x=True)
        assert read_curves(json.dumps(plot_document(curves)).encode(), "t") == curves
        drawing = curves_plot(curves)
        assert "nan" not in svg(drawing)
        assert len(drawing.shapes) < 60


def test_a_drawing_escapes_its_texts() -> None:
    drawing = Drawing(
        title="<b>", says="&", width=10, height=10, shapes=(Words(0, 0, "</text><script>"),)
    )  # fmt: skip
    assert "<script>" not in svg(drawing)
    assert "<title>&lt;b&gt;</title><desc>&amp;</desc>" in svg(drawing)


def test_an_empty_sheet_makes_a_report(tmp_path: Path) -> None:
    with Sheets(tmp_path / "sheets.sqlite") as sheets:
        visit_id = sheets.open_visit(sheets.add_set("Invented", "Wren", service="pmr446"))
        report = make_report(sheets, visit_id)
    assert report.summary == "Nothing has been judged as left yet."
    read(report_page(report))
    assert report_pdf(report).startswith(b"%PDF")


# -- the PDF --------------------------------------------------------------------------------------


@pytest.mark.parametrize("paper", PAPERS)
def test_the_pdf_fits_its_paper_and_says_the_same(finished_job: Job, tmp_path: Path, paper: str) -> None:
    content = report_pdf(report_on(finished_job), paper)  # type: ignore[arg-type]
    assert content.startswith(b"%PDF")
    reader, info = shutil.which("pdftotext"), shutil.which("pdfinfo")
    if reader is None or info is None:
        pytest.skip("poppler is not here to read it back")
    file = tmp_path / "report.pdf"
    file.write_bytes(content)
    facts = subprocess.run([info, str(file)], capture_output=True, text=True, check=True).stdout
    assert {"a4": "595.28 x 841.89", "letter": "612 x 792"}[paper] in facts
    assert int(re.search(r"Pages:\s+(\d+)", facts)[1]) == 2  # type: ignore[index]
    text = subprocess.run(
        [reader, "-layout", str(file), "-"], capture_output=True, text=True, check=True
    ).stdout
    for words in ("Wren 40", "0.38 µV", "+64.8 ppm", "FAIL", "R5 S7", "Balance map", "from memory"):
        assert words in text


def test_the_pdf_takes_any_text(tmp_path: Path) -> None:
    with Sheets(tmp_path / "sheets.sqlite") as sheets:
        set_id = sheets.add_set("Ωμέγα Жук Łódź", "漢字 🦜 " + "x" * 300, "\u202e0042", service="uk-27fm")
        visit_id = sheets.open_visit(set_id, complaint="a\n" * 200)
        sheets.add_fault(visit_id, "y" * 3000, "z " * 1500)
        report = make_report(sheets, visit_id)
    content = report_pdf(report)
    reader = shutil.which("pdftotext")
    if reader is None:
        pytest.skip("poppler is not here to read it back")
    file = tmp_path / "report.pdf"
    file.write_bytes(content)
    text = subprocess.run([reader, str(file), "-"], capture_output=True, text=True, check=True).stdout
    assert "Ωμέγα Жук Łódź" in text
    assert text.count("y") >= 3000
