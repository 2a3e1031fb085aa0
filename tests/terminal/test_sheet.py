"""``audiotest sheet``: a job from the first line to the last, and what is refused."""

import errno
import json
import sqlite3
from contextlib import closing
from pathlib import Path

import numpy as np
import pytest
import soundfile

from audiotest.__main__ import main
from audiotest.errors import FileError
from audiotest.feeds.scale import save_feed
from audiotest.terminal.parser import build_parser
from audiotest.terminal.sheet import WAYS
from tests.keep.benchjob import FEED, hear


@pytest.fixture(autouse=True)
def sheets_file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    path = tmp_path / "books" / "sheets.sqlite"
    monkeypatch.setenv("AUDIOTEST_SHEETS", str(path))
    return path


@pytest.fixture
def begun() -> None:
    assert main(["sheet", "new", "Invented", "Wren 40", "--serial", "42", "--service", "uk-27fm"]) == 0
    assert main(["sheet", "open", "1", "--channel", "20", "--complaint", "harsh"]) == 0


def refused(capsys: pytest.CaptureFixture[str], *arguments: str) -> str:
    capsys.readouterr()
    assert main(list(arguments)) == 2
    out, errors = capsys.readouterr()
    assert out == ""
    assert errors.count("\n") == 1
    return errors


@pytest.mark.parametrize("name", ["", " ", ".", "/"])
def test_a_name_that_is_no_file_is_refused(name: str, capsys: pytest.CaptureFixture[str]) -> None:
    errors = refused(capsys, "sheet", "--sheets", name, "list")
    assert "name a file" in errors
    assert "fault of the program" not in errors


@pytest.mark.usefixtures("begun")
def test_line_ends_in_a_name_do_not_reach_the_lists(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["sheet", "new", "Two\nlines", "Wren\r\n40\t", "--serial", "4\n2"]) == 0
    capsys.readouterr()
    assert main(["sheet", "list", "Wren"]) == 0
    assert "set 2  Two lines Wren 40, serial 42" not in (listed := capsys.readouterr().out)
    assert "set 2  Two lines Wren 40, serial 4 2" in listed


@pytest.mark.usefixtures("begun")
def test_one_sheet_is_one(capsys: pytest.CaptureFixture[str]) -> None:
    capsys.readouterr()
    assert main(["sheet", "check"]) == 0
    assert " 1 sheet, 0 attached files, " in " ".join(capsys.readouterr().out.split())


@pytest.mark.usefixtures("begun")
def test_what_can_be_attached_is_said(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    page = tmp_path / "wren.html"
    page.write_text("<p>a report</p>")
    errors = refused(capsys, "sheet", "attach", "1", "found", str(page))
    for kind in ("WAV", "PNG", "plot"):
        assert kind in errors


@pytest.mark.usefixtures("begun")
def test_a_read_only_place_is_told_by_the_users_own_name(
    capsys: pytest.CaptureFixture[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def refuse(path: Path, *_: object, **__: object) -> None:
        raise OSError(errno.EROFS, "Read-only file system", str(path))

    for name in ("write_bytes", "unlink"):
        monkeypatch.setattr(Path, name, refuse)
    errors = refused(capsys, "report", "1", "-o", str(tmp_path / "r.html"))
    assert f"{tmp_path / 'r.html'}: cannot be written: Read-only file system" in errors
    assert ".part" not in errors
    with pytest.raises(FileError, match=r"bench\.toml: cannot be written: Read-only"):
        save_feed(FEED, tmp_path / "bench.toml")


@pytest.mark.usefixtures("begun")
def test_a_job_from_start_to_end(capsys: pytest.CaptureFixture[str]) -> None:
    for arguments in (
        ["read", "1", "found", "power=2.1 W", "deviation=2k9", "s-meter@S9=45 uV"],
        ["read", "1", "left", "power=3.9 W", "deviation=2k1", "sensitivity=0,38 uV"],
        ["heard", "1", "left", "5", "9", "--who", "Helper", "--words", "clear"],
        ["fault", "1", "mic gain at its end stop"],
        ["cure", "1", "set for clean speech"],
        ["part", "1", "10 µF 25 V", "--count", "2"],
        ["withdraw", "3"],
        ["close", "1"],
    ):
        assert main(["sheet", *arguments]) == 0
    capsys.readouterr()
    assert main(["sheet", "show", "1"]) == 0
    shown = capsys.readouterr().out
    assert all(len(line) <= 80 for line in shown.splitlines())
    assert "peak deviation                      2.90 kHz FAIL        2.10 kHz pass" in shown
    assert "mic gain at its end stop: set for clean speech" in shown
    assert "R5 S9 clear, Helper" in shown
    assert "S-meter" not in shown
    assert main(["sheet", "list", "wren", "helper"]) == 0
    assert "set 1  Invented Wren 40, serial 42" in capsys.readouterr().out
    assert main(["sheet", "history", "1"]) == 0
    assert "carrier power 3.90 W; peak deviation 2.10 kHz" in capsys.readouterr().out


@pytest.mark.usefixtures("begun")
def test_machine_readable_ways_print_one_document(capsys: pytest.CaptureFixture[str]) -> None:
    main(["sheet", "read", "1", "left", "power=4 W"])
    for arguments, key in (
        (["new", "Invented", "Wren 40"], "set"),
        (["open", "1"], "sheet"),
        (["list"], "sets"),
        (["history", "1"], "sheets"),
        (["typical", "Invented", "Wren 40"], "typical"),
    ):
        capsys.readouterr()
        assert main(["sheet", *arguments, "--json"]) == 0
        document = json.loads(capsys.readouterr().out)
        assert document["schema"] == "audiotest-sheets-1"
        assert key in document
    assert main(["sheet", "show", "1", "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["readings"][0]["verdict"] == "pass"


@pytest.mark.usefixtures("begun")
def test_what_cannot_be_done_is_said_in_one_line(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    assert "no reading is called" in refused(capsys, "sheet", "read", "1", "left", "volume=3")
    assert "has no unit" in refused(capsys, "sheet", "read", "1", "left", "power=4")
    assert "NAME=READING" in refused(capsys, "sheet", "read", "1", "left", "power")
    assert "--sure" in refused(capsys, "sheet", "read", "1", "left", "power=4 W", "sensitivity=0.4 V")
    assert "there is no sheet 7" in refused(capsys, "sheet", "show", "7")
    assert "there is no set 7" in refused(capsys, "sheet", "open", "7")
    assert "readability 9" in refused(capsys, "sheet", "heard", "1", "left", "9", "9")
    assert "invalid choice" in refused(capsys, "sheet", "heard", "1", "now", "5", "9")
    assert "nowhere.json" in refused(capsys, "sheet", "import", str(tmp_path / "nowhere.json"))
    assert "nowhere.wav" in refused(capsys, "sheet", "measure", "1", "left", str(tmp_path / "nowhere.wav"))
    text = tmp_path / "note.txt"
    text.write_text("no sound")
    assert "note.txt" in refused(capsys, "sheet", "attach", "1", "left", str(text))
    # Of several readings in one call the good ones are not kept when one is refused.
    main(["sheet", "show", "1", "--json"])
    assert json.loads(capsys.readouterr().out)["readings"] == []
    assert main(["sheet", "read", "1", "left", "sensitivity=0.4 V", "--sure"]) == 0


def test_a_recorded_over_is_measured_onto_the_sheet(
    capsys: pytest.CaptureFixture[str], tmp_path: Path, begun: None
) -> None:
    from audiotest.feeds.scale import save_feed

    feed = tmp_path / "bench.toml"
    save_feed(FEED, feed)
    heard = hear(tmp_path, "found")
    assert main(["sheet", "measure", "1", "found", str(heard.file), "--feed", str(feed)]) == 0
    assert "Mic gain down" in capsys.readouterr().out
    assert main(["sheet", "attach", "1", "left", str(heard.file), "--title", "again"]) == 0
    assert main(["sheet", "show", "1", "--json"]) == 0
    capsys.readouterr()
    main(["sheet", "show", "1", "--json"])
    document = json.loads(capsys.readouterr().out)
    readings = {reading["quantity"]: reading for reading in document["readings"]}
    # The same over through the engine: the same figures.
    assert readings["drive"]["value"] == pytest.approx(heard.over.limiter.drive_db)
    assert readings["deviation"]["value"] == pytest.approx(heard.over.deviation.peak_khz)
    assert readings["drive"]["typed"] is None
    assert [file["kind"] for file in document["attachments"]] == ["clip", "clip"]
    assert document["attachments"][0]["measured"]["feed"]["scale_khz_per_fs"] == 8.0
    assert "has 1 overs, no over 4" in refused(
        capsys, "sheet", "measure", "1", "left", str(heard.file), "--over", "4"
    )


@pytest.mark.usefixtures("begun")
def test_check_and_copy(capsys: pytest.CaptureFixture[str], sheets_file: Path, tmp_path: Path) -> None:
    picture = tmp_path / "photo.png"
    picture.write_bytes(b"\x89PNG\r\n\x1a\n rest")
    assert main(["sheet", "attach", "1", "found", str(picture)]) == 0
    assert main(["sheet", "check"]) == 0
    copy = tmp_path / "copy.sqlite"
    assert main(["sheet", "copy", str(copy)]) == 0
    assert main(["sheet", "--sheets", str(copy), "show", "1"]) == 0
    assert "is there already" in refused(capsys, "sheet", "copy", str(copy))
    (kept,) = (sheets_file.parent / "sheets files").iterdir()
    kept.unlink()
    assert "photo: the file is gone" in refused(capsys, "sheet", "check")
    with closing(sqlite3.connect(sheets_file)) as base:
        base.execute("PRAGMA foreign_keys = OFF")
        base.execute("DELETE FROM sets")
        base.commit()
    capsys.readouterr()
    assert main(["sheet", "check"]) == 2
    assert "belongs to nothing" in capsys.readouterr().err


@pytest.mark.usefixtures("begun")
@pytest.mark.parametrize(("ending", "files"), [("json", 0), ("zip", 1)])
def test_a_sheet_goes_out_and_comes_in_again(
    capsys: pytest.CaptureFixture[str], tmp_path: Path, ending: str, files: int
) -> None:
    main(["sheet", "read", "1", "left", "power=4 W"])
    soundfile.write(tmp_path / "clip.wav", np.zeros(800), 8000)
    assert main(["sheet", "attach", "1", "left", str(tmp_path / "clip.wav")]) == 0
    file = tmp_path / f"sheet.{ending}"
    assert main(["report", "1", "-o", str(file)]) == 0
    capsys.readouterr()
    assert main(["sheet", "import", str(file)]) == 0
    said = " ".join(capsys.readouterr().out.split())
    assert "taken in as sheet 2; sheet 1 of this set has the same opening time and readings." in said
    assert main(["sheet", "show", "2", "--json"]) == 0
    assert len(json.loads(capsys.readouterr().out)["attachments"]) == files


def test_every_way_that_is_declared_is_carried_out() -> None:
    parser = build_parser()
    commands = next(action for action in parser._actions if action.dest == "==SUPPRESS==" or action.choices)
    ways = next(action for action in commands.choices["sheet"]._actions if action.choices)  # type: ignore[index,call-overload]
    assert set(ways.choices) == set(WAYS)  # type: ignore[arg-type]


@pytest.mark.usefixtures("begun")
def test_a_bench_result_is_taken_onto_the_sheet(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    figures = [{"key": "level_60_mv", "value": 2.9, "unit": "mV", "low": None, "high": None}]
    result = {
        "schema": "audiotest-bench-1", "procedure": "limiting", "title": "Modulation limiting",
        "rehearsed": False, "complete": True, "figures": figures, "x_label": "input, mV RMS",
        "y_label": "peak deviation, kHz", "curves": [{"name": "peak", "points": [[0.3, 0.2], [30.0, 2.2]]}],
    }  # fmt: skip
    file = tmp_path / "limiting.json"
    file.write_text(json.dumps(result))
    assert main(["sheet", "measure", "1", "left", str(file)]) == 0
    assert "1 figures and the plot are on sheet 1, as left" in " ".join(capsys.readouterr().out.split())
    assert main(["report", "1", "-o", str(tmp_path / "r.html")]) == 0
    page = (tmp_path / "r.html").read_text(encoding="utf-8")
    assert "microphone level for 60 % deviation" in page
    assert "Modulation limiting" in page
