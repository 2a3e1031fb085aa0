"""The one file of the sheets survives rough handling: upgrades, damage, other programs, kills, full disks."""

import os
import signal
import sqlite3
import subprocess
import sys
import threading
from contextlib import closing
from pathlib import Path

import pytest

from audiotest.errors import FileError
from audiotest.keep.sheetfile import APPLICATION_ID, MIGRATIONS, copy_sheets, find_faults, open_sheets
from audiotest.keep.sheets import Sheets

REPOSITORY = Path(__file__).parents[2]


def make_version_1(path: Path) -> None:
    with closing(sqlite3.connect(path)) as base:
        base.executescript(MIGRATIONS[0])
        base.execute(f"PRAGMA application_id = {APPLICATION_ID}")
        base.execute("PRAGMA user_version = 1")
        base.execute("INSERT INTO sets VALUES (1, 'Invented', 'Wren', '7', 'uk-27fm', '', '', '2026-03-01')")
        base.commit()


def test_an_older_file_is_upgraded_after_a_copy_has_been_made(tmp_path: Path) -> None:
    path = tmp_path / "sheets.sqlite"
    make_version_1(path)
    with Sheets(path) as sheets:
        assert sheets.get_set(1).serial == "7"
        visit_id = sheets.open_visit(1)
        sheets.add_spoken(visit_id, "found", 3, 5)
        assert find_faults(sheets.base) == []
    (copy,) = tmp_path.glob("sheets.sqlite.version-1.*")
    with closing(sqlite3.connect(copy)) as base:
        assert base.execute("PRAGMA user_version").fetchone()[0] == 1
        assert base.execute("SELECT serial FROM sets").fetchall() == [("7",)]
    with Sheets(path):
        pass
    assert len(list(tmp_path.glob("sheets.sqlite.version-*"))) == 1


def test_an_upgrade_that_fails_changes_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "sheets.sqlite"
    make_version_1(path)
    broken = (MIGRATIONS[0], "CREATE TABLE spoken (id INTEGER) STRICT; CREATE TABLE sets (id INTEGER)")
    monkeypatch.setattr("audiotest.keep.sheetfile.MIGRATIONS", broken)
    with pytest.raises(FileError, match="already exists"):
        open_sheets(path)
    monkeypatch.undo()
    with closing(sqlite3.connect(path)) as base:
        assert base.execute("PRAGMA user_version").fetchone()[0] == 1
        tables = [row[0] for row in base.execute("SELECT name FROM sqlite_schema WHERE type = 'table'")]
    assert "spoken" not in tables
    with Sheets(path) as sheets:
        assert sheets.get_set(1).model == "Wren"


def test_a_newer_file_another_program_s_and_rubbish_are_refused(tmp_path: Path) -> None:
    newer = tmp_path / "newer.sqlite"
    make_version_1(newer)
    with closing(sqlite3.connect(newer)) as base:
        base.execute("PRAGMA user_version = 99")
    foreign = tmp_path / "foreign.sqlite"
    with closing(sqlite3.connect(foreign)) as base:
        base.execute("CREATE TABLE notes (text)")
    rubbish = tmp_path / "rubbish.sqlite"
    rubbish.write_bytes(b"this is no database, but it is long enough to look like a file " * 40)
    for path, words in (
        (newer, "newer audiotest"),
        (foreign, "another program"),
        (rubbish, "not a sheet file"),
    ):
        before = path.read_bytes()
        with pytest.raises(FileError, match=words):
            Sheets(path)
        assert path.read_bytes() == before
    with pytest.raises(FileError, match="is a directory"):
        Sheets(tmp_path)


def test_a_damaged_file_is_noticed_and_the_copy_is_named(tmp_path: Path) -> None:
    path = tmp_path / "sheets.sqlite"
    make_version_1(path)
    with Sheets(path) as sheets:
        visit_id = sheets.open_visit(1)
        for number in range(40):
            sheets.add_fault(visit_id, f"fault {number} " + "x" * 2000)
    whole = bytearray(path.read_bytes())
    whole[8192:40960] = b"\xff" * (40960 - 8192)
    path.write_bytes(bytes(whole))
    with pytest.raises(FileError, match=r"damaged.*a copy from before is sheets\.sqlite\.version-1"):
        Sheets(path)


def test_a_copy_is_whole_and_overwrites_nothing(tmp_path: Path) -> None:
    with Sheets(tmp_path / "sheets.sqlite") as sheets:
        visit_id = sheets.open_visit(sheets.add_set("Invented", "Wren", service="pmr446"))
        sheets.type_reading(visit_id, "found", "power", "4 W")
        copy = copy_sheets(sheets.base, tmp_path / "copy.sqlite")
        with Sheets(copy) as other:
            assert other.sheet(visit_id).readings[0].value == 4.0
        with pytest.raises(FileError, match="is there already"):
            copy_sheets(sheets.base, copy)


def test_several_programs_write_at_once(tmp_path: Path) -> None:
    path = tmp_path / "sheets.sqlite"
    command = [sys.executable, "-m", "tests.keep.writing", str(path)]
    # The file does not exist yet: making it is part of the race.
    running = [
        subprocess.Popen([*command, f"writer {n}", "15"], stdout=subprocess.PIPE, cwd=REPOSITORY, text=True)
        for n in range(3)
    ]
    said = [child.communicate(timeout=60)[0] for child in running]
    assert [child.returncode for child in running] == [0, 0, 0]
    assert all(text.count("reading ") == 15 for text in said)
    with Sheets(path) as sheets:
        assert len(sheets.sets()) == 3
        assert [len(sheets.sheet(visit.id).readings) for visit in sheets.visits()] == [15, 15, 15]
        assert find_faults(sheets.base) == []


def test_two_windows_see_each_other_s_changes(tmp_path: Path) -> None:
    path = tmp_path / "sheets.sqlite"
    with Sheets(path) as one, Sheets(path) as two:
        visit_id = one.open_visit(one.add_set("Invented", "Wren", service="pmr446"))

        def write(sheets: Sheets, stage: str) -> None:
            for number in range(30):
                sheets.type_reading(visit_id, stage, "power", f"{number + 1} mW")  # type: ignore[arg-type]

        threads = [
            threading.Thread(target=write, args=arguments) for arguments in ((one, "found"), (two, "left"))
        ]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
        assert len(one.sheet(visit_id).readings) == len(two.sheet(visit_id).readings) == 60


def test_a_kill_in_the_middle_of_writing_loses_nothing_that_was_said_to_be_safe(tmp_path: Path) -> None:
    for _ in range(3):
        kill_writer(tmp_path / "sheets.sqlite", lines=25)


def kill_writer(path: Path, *, lines: int) -> int:
    """Let a process write, kill it after so many readings, and look for all of them; returns how many."""
    command = [sys.executable, "-m", "tests.keep.writing", str(path), "killed"]
    with subprocess.Popen(command, stdout=subprocess.PIPE, cwd=REPOSITORY, text=True) as child:
        assert child.stdout is not None
        said = [child.stdout.readline() for _ in range(lines)]
        os.kill(child.pid, signal.SIGKILL)
        said += [line for line in child.stdout.read().splitlines(keepends=True) if line.endswith("\n")]
    visit_id = int(said[0].split()[1])
    with Sheets(path) as sheets:
        assert find_faults(sheets.base) == []
        there = {(reading.id, reading.value) for reading in sheets.sheet(visit_id).readings}
    promised = {(int(line.split()[1]), float(line.split()[2])) for line in said[1:]}
    assert promised <= there
    # At most the one reading that was being said when the kill came.
    assert len(there - promised) <= 1
    return len(promised)


def test_a_full_disk_is_named_and_what_was_there_stays(small_disk: Path) -> None:
    path = small_disk / "sheets.sqlite"
    with Sheets(path) as sheets:
        visit_id = sheets.open_visit(sheets.add_set("Invented", "Wren", service="pmr446"))
        (small_disk / "filler").write_bytes(b"\0" * 600_000)
        kept = 0
        with pytest.raises(FileError, match=r"disk is full|disk may be full"):  # noqa: PT012
            for _ in range(2000):
                sheets.add_fault(visit_id, "x" * 3000)
                kept += 1
    (small_disk / "filler").unlink()
    with Sheets(path) as sheets:
        assert len(sheets.sheet(visit_id).faults) == kept
        assert find_faults(sheets.base) == []
