"""Sheets on a medium that cannot be written: they are read, and nothing else."""

from pathlib import Path

import pytest

from audiotest.__main__ import main
from audiotest.errors import FileError, RequestError
from audiotest.keep.sheets import Sheets
from tests.keep.conftest import make_read_only
from tests.keep.test_sheetfile import make_version_1


def begin(path: Path) -> None:
    with Sheets(path) as sheets:
        visit_id = sheets.open_visit(sheets.add_set("Elm", "27 %23?", service="uk-27fm"))
        sheets.type_reading(visit_id, "left", "power", "3.9 W")


@pytest.fixture
def books(small_disk: Path) -> Path:
    """A sheet on a medium that is read-only; the name has what a URI would take for its own."""
    path = small_disk / "books 50%23 off?#.sqlite"
    begin(path)
    make_read_only(small_disk)
    return path


def test_what_only_reads_works(books: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    before = sorted(entry.name for entry in books.parent.iterdir())
    for way in (["show", "1"], ["list", "Elm"], ["history", "1"]):
        assert main(["sheet", "--sheets", str(books), *way]) == 0
        assert "Elm" in capsys.readouterr().out
    assert main(["sheet", "--sheets", str(books), "check"]) == 0
    assert main(["sheet", "--sheets", str(books), "copy", str(tmp_path / "copy.sqlite")]) == 0
    for ending in ("html", "csv", "json", "zip"):
        target = tmp_path / f"out.{ending}"
        assert main(["report", "--sheets", str(books), "1", "-o", str(target)]) == 0
        assert target.stat().st_size > 0
    assert sorted(entry.name for entry in books.parent.iterdir()) == before
    with Sheets(tmp_path / "copy.sqlite") as copy:
        assert copy.sheet(1).standing("left")["power", ""].value == 3.9


def test_what_writes_is_refused_with_a_remedy(books: Path) -> None:
    with Sheets(books) as sheets:
        with pytest.raises(FileError, match="cannot be written: name a place you may write to"):
            sheets.type_reading(1, "left", "power", "4 W")
        with pytest.raises(RequestError, match="there is no sheet 7"):
            sheets.sheet(7)
        assert [reading.value for reading in sheets.sheet(1).readings] == [3.9]
    with pytest.raises(FileError, match="cannot be written: name a place you may write to"):
        Sheets(books.with_name("new.sqlite"))


def test_late_changes_beside_the_file_are_not_passed_over(small_disk: Path) -> None:
    path = small_disk / "sheets.sqlite"
    begin(path)
    path.with_name(f"{path.name}-wal").write_bytes(b"pages that a kill left behind")
    make_read_only(small_disk)
    with pytest.raises(FileError, match=r"changes are in sheets.sqlite-wal, .*: copy both to a place"):
        Sheets(path)


def test_an_older_file_is_not_taken_for_one_of_now(small_disk: Path) -> None:
    path = small_disk / "sheets.sqlite"
    make_version_1(path)
    make_read_only(small_disk)
    with pytest.raises(FileError, match="older audiotest, and the medium is read-only: copy it to a place"):
        Sheets(path)
    assert list(small_disk.iterdir()) == [path]
