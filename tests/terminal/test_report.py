"""``audiotest report``: the file's ending decides, nothing is written over unasked."""

import csv
import json
from pathlib import Path

import pytest

from audiotest.__main__ import main


@pytest.fixture(autouse=True)
def sheets_file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    path = tmp_path / "sheets.sqlite"
    monkeypatch.setenv("AUDIOTEST_SHEETS", str(path))
    main(["sheet", "new", "Invented", "Wren 40", "--service", "pmr446"])
    main(["sheet", "open", "1", "--channel", "3"])
    main(["sheet", "read", "1", "left", "power=0.5 W"])
    return path


@pytest.mark.parametrize(
    ("ending", "start"), [("html", b"<!DOCTYPE html>"), ("pdf", b"%PDF"), ("JSON", b"{"), ("zip", b"PK")]
)
def test_the_ending_decides(tmp_path: Path, ending: str, start: bytes) -> None:
    file = tmp_path / f"report.{ending}"
    assert main(["report", "1", "-o", str(file)]) == 0
    assert file.read_bytes().startswith(start)
    assert [path.name for path in tmp_path.glob(".*")] == []


def test_csv_opens_in_a_spreadsheet(tmp_path: Path) -> None:
    file = tmp_path / "report.csv"
    assert main(["report", "1", "-o", str(file)]) == 0
    with open(file, newline="", encoding="utf-8-sig") as opened:
        (row,) = csv.DictReader(opened)
    assert (row["reading"], row["value"], row["unit"]) == ("carrier power", "0.5", "W")


def test_json_on_standard_output_is_alone_there(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    capsys.readouterr()
    assert main(["report", "1", "--json", "-o", str(tmp_path / "r.html")]) == 0
    assert json.loads(capsys.readouterr().out)["schema"] == "audiotest-sheet-1"
    assert (tmp_path / "r.html").is_file()


def test_a_file_that_is_there_stays_unless_asked(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    file = tmp_path / "report.html"
    file.write_text("mine")
    assert main(["report", "1", "-o", str(file)]) == 2
    assert "is there already" in capsys.readouterr().err
    assert file.read_text() == "mine"
    assert main(["report", "1", "-o", str(file), "--replace"]) == 0
    assert "Wren 40" in file.read_text(encoding="utf-8")


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["1"], "no file is named to write the report to"),
        (["1", "-o", "report.doc"], "cannot tell what to write"),
        (["7", "-o", "report.html"], "there is no sheet 7"),
        (["1", "-o", "nowhere/report.html"], "cannot be written"),
        (["0", "-o", "report.html"], "numbers start from 1"),
    ],
)
def test_what_cannot_be_done_is_said_in_one_line(
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
    tmp_path: Path,
    arguments: list[str],
    words: str,
) -> None:
    monkeypatch.chdir(tmp_path)
    capsys.readouterr()
    assert main(["report", *arguments]) == 2
    out, errors = capsys.readouterr()
    assert out == ""
    assert words in errors
    assert errors.count("\n") == 1


def test_a_clip_that_is_gone_is_said_and_the_report_made(
    capsys: pytest.CaptureFixture[str], sheets_file: Path, tmp_path: Path
) -> None:
    picture = tmp_path / "photo.png"
    picture.write_bytes(b"\x89PNG\r\n\x1a\n rest")
    main(["sheet", "attach", "1", "found", str(picture)])
    for kept in (sheets_file.parent / "sheets files").iterdir():
        kept.unlink()
    capsys.readouterr()
    assert main(["report", "1", "-o", str(tmp_path / "r.html")]) == 0
    assert "photo: the file is gone" in capsys.readouterr().err
