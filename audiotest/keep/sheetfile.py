"""The one file of the job sheets: opened with care, upgraded with a backup, checked for soundness.

SQLite with a write-ahead log: several programs may have it open at once, and a kill or a power cut leaves
either the whole of a change or nothing of it (https://www.sqlite.org/wal.html, read).
"""

import os
import shutil
import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager, suppress
from datetime import UTC, datetime
from pathlib import Path

from platformdirs import user_data_path

from audiotest.errors import FileError
from audiotest.keep.durable import make_folder

APPLICATION_ID = 0x41544A53
BUSY_S = 15.0

_VERSION_1 = """
CREATE TABLE sets (
    id INTEGER PRIMARY KEY, maker TEXT NOT NULL, model TEXT NOT NULL, serial TEXT NOT NULL,
    service TEXT NOT NULL, options TEXT NOT NULL, note TEXT NOT NULL, added TEXT NOT NULL
) STRICT;
CREATE TABLE visits (
    id INTEGER PRIMARY KEY, set_id INTEGER NOT NULL REFERENCES sets (id), opened TEXT NOT NULL,
    closed TEXT, limits TEXT NOT NULL, channel INTEGER, assigned_mhz REAL, complaint TEXT NOT NULL,
    owner TEXT NOT NULL, bench TEXT NOT NULL
) STRICT;
CREATE TABLE readings (
    id INTEGER PRIMARY KEY, visit_id INTEGER NOT NULL REFERENCES visits (id),
    stage TEXT NOT NULL CHECK (stage IN ('found', 'left')), quantity TEXT NOT NULL, point TEXT NOT NULL,
    value REAL NOT NULL, low REAL, high REAL, typed TEXT, attachment_id INTEGER, taken TEXT NOT NULL,
    withdrawn TEXT
) STRICT;
CREATE TABLE faults (
    id INTEGER PRIMARY KEY, visit_id INTEGER NOT NULL REFERENCES visits (id), fault TEXT NOT NULL,
    cure TEXT, noted TEXT NOT NULL
) STRICT;
CREATE TABLE parts (
    id INTEGER PRIMARY KEY, visit_id INTEGER NOT NULL REFERENCES visits (id), name TEXT NOT NULL,
    count INTEGER NOT NULL CHECK (count > 0), fitted TEXT NOT NULL
) STRICT;
CREATE INDEX visits_of_set ON visits (set_id);
CREATE INDEX readings_of_visit ON readings (visit_id);
CREATE INDEX faults_of_visit ON faults (visit_id);
CREATE INDEX parts_of_visit ON parts (visit_id);
"""
_VERSION_2 = """
CREATE TABLE spoken (
    id INTEGER PRIMARY KEY, visit_id INTEGER NOT NULL REFERENCES visits (id),
    stage TEXT NOT NULL CHECK (stage IN ('found', 'left')),
    readability INTEGER NOT NULL CHECK (readability BETWEEN 1 AND 5),
    strength INTEGER NOT NULL CHECK (strength BETWEEN 1 AND 9),
    who TEXT NOT NULL, place TEXT NOT NULL, words TEXT NOT NULL, heard TEXT NOT NULL
) STRICT;
CREATE TABLE attachments (
    id INTEGER PRIMARY KEY, visit_id INTEGER NOT NULL REFERENCES visits (id),
    stage TEXT NOT NULL CHECK (stage IN ('found', 'left')),
    kind TEXT NOT NULL CHECK (kind IN ('clip', 'plot', 'picture')), file TEXT NOT NULL,
    sha256 TEXT NOT NULL, title TEXT NOT NULL, measured TEXT, added TEXT NOT NULL
) STRICT;
CREATE INDEX spoken_of_visit ON spoken (visit_id);
CREATE INDEX attachments_of_visit ON attachments (visit_id);
"""
MIGRATIONS = (_VERSION_1, _VERSION_2)
"""What makes version n of version n - 1. A script that has been released is never changed: add another."""


def sheets_path() -> Path:
    """Where this user's sheets are; the variable AUDIOTEST_SHEETS names another file."""
    named = os.environ.get("AUDIOTEST_SHEETS")
    return Path(named) if named else user_data_path("audiotest", appauthor=False) / "sheets.sqlite"


def open_sheets(path: Path) -> sqlite3.Connection:
    """Open the file, making or upgrading it; before an upgrade a copy is put beside it.

    On a medium that is read-only as a whole it is opened to be read.

    Raises
    ------
    FileError
        It is no such file, is damaged, comes from a newer program, or cannot be written.
    """
    try:
        make_folder(path.parent)
        if path.is_dir():
            raise FileError(f"{path}: is a directory", "name a file")
        fixed = _on_read_only_medium(path)
        target = f"{path.absolute().as_uri()}?immutable=1" if fixed else path
        base = sqlite3.connect(
            target, uri=fixed, timeout=BUSY_S, isolation_level=None, check_same_thread=False
        )
        try:
            _prepare(base, path, fixed)
        except BaseException:
            base.close()
            raise
    except sqlite3.DatabaseError as error:
        raise unusable(path, error) from error
    except OSError as error:
        raise FileError(
            f"{path}: cannot be opened: {error.strerror}", "name a place you may write to"
        ) from error
    return base


def unusable(path: Path, error: sqlite3.Error) -> FileError:
    """Put an error of the database into words, with the newest copy where there is one."""
    text = " ".join(str(error).split())
    if "locked" in text or "busy" in text:
        return FileError(f"{path}: another program holds it", "close that program, or try again")
    if "full" in text:
        return FileError(f"{path}: the disk is full", "make room; nothing on the sheets was changed")
    if "disk I/O" in text:
        # So says SQLite when it cannot make the small files beside the sheets: mostly for want of room.
        return FileError(
            f"{path}: cannot be read or written: the disk may be full, or failing", "make room and try again"
        )
    if "readonly" in text or "unable to open" in text:
        return FileError(f"{path}: cannot be written", "name a place you may write to")
    copies = sorted(path.parent.glob(f"{path.name}.version-*"), key=lambda copy: copy.stat().st_mtime)
    remedy = f"a copy from before is {copies[-1].name}" if copies else "restore it from a copy"
    return FileError(f"{path}: not a sheet file, or damaged ({text})", remedy)


@contextmanager
def change(base: sqlite3.Connection) -> Iterator[None]:
    """One change to the sheets: all of it or nothing, and nobody else's in between."""
    base.execute("BEGIN IMMEDIATE")
    try:
        yield
    except BaseException:
        base.execute("ROLLBACK")
        raise
    base.execute("COMMIT")


def find_faults(base: sqlite3.Connection) -> list[str]:
    """What is wrong inside the file, empty when it is sound."""
    faults = [row[0] for row in base.execute("PRAGMA integrity_check(20)") if row[0] != "ok"]
    faults += [
        f"{row[0]}: row {row[1]} belongs to nothing" for row in base.execute("PRAGMA foreign_key_check")
    ]
    return faults


def copy_sheets(base: sqlite3.Connection, target: Path) -> Path:
    """Write a whole copy to a file that is not there yet, while others may go on reading and writing.

    Raises `FileError` when the file is there already or cannot be written.
    """
    try:
        with open(target, "xb"):
            pass
        with closing(sqlite3.connect(target)) as copy:
            base.backup(copy)
            copy.execute("PRAGMA journal_mode = DELETE")
    except FileExistsError as error:
        raise FileError(f"{target}: is there already", "name a new file: nothing is overwritten") from error
    except (OSError, sqlite3.Error) as error:
        _remove(target)
        raise _not_copied(base, target, error) from error
    return target


def _remove(file: Path) -> None:
    """Take away a copy that failed, with what the database keeps beside it."""
    for name in (file.name, f"{file.name}-wal", f"{file.name}-shm", f"{file.name}-journal"):
        # On a medium that cannot be written to even this fails.
        with suppress(OSError):
            file.with_name(name).unlink()


def _not_copied(base: sqlite3.Connection, target: Path, error: Exception) -> FileError:
    """Say why a copy failed; a full disk reaches the database as an error of any kind."""
    pages, page_n = (
        int(base.execute(f"PRAGMA {name}").fetchone()[0]) for name in ("page_count", "page_size")
    )
    with suppress(OSError):
        # The log that is written along may hold every page once more.
        if isinstance(error, sqlite3.Error) and shutil.disk_usage(target.parent).free < 2 * pages * page_n:
            return FileError(f"{target}: the disk is full", "make room, or name another place")
    reason = (error.strerror if isinstance(error, OSError) else None) or error
    return FileError(f"{target}: cannot be written: {reason}", "name a place you may write to")


def _on_read_only_medium(path: Path) -> bool:
    """Whether nobody can write where the file is: only then SQLite may do without its files beside it.

    A file or folder that only this user may not write does not count: another may be writing meanwhile.
    """
    # Windows has no such call; there everything is opened to be written.
    if not hasattr(os, "statvfs") or not os.statvfs(path.parent).f_flag & os.ST_RDONLY:
        return False
    log = path.with_name(f"{path.name}-wal")
    if log.exists() and log.stat().st_size:
        raise FileError(
            f"{path}: the latest changes are in {log.name}, and the medium is read-only",
            "copy both to a place you may write to",
        )
    return True


def _prepare(base: sqlite3.Connection, path: Path, fixed: bool) -> None:
    # In one look: another program may be making the file at this very moment.
    base.execute("BEGIN")
    holds = base.execute("SELECT count(*) FROM sqlite_schema").fetchone()[0]
    owner = base.execute("PRAGMA application_id").fetchone()[0]
    version = _version(base)
    base.execute("COMMIT")
    if holds and owner != APPLICATION_ID:
        raise FileError(f"{path}: is a database of another program", "name another file")
    if version > len(MIGRATIONS):
        raise FileError(
            f"{path}: was written by a newer audiotest (version {version} of the file)", "update audiotest"
        )
    base.execute("PRAGMA foreign_keys = ON")
    if not fixed:
        base.execute("PRAGMA journal_mode = WAL")
    # FULL: what has been said to be written is on the medium.
    base.execute("PRAGMA synchronous = FULL")
    found = base.execute("PRAGMA quick_check(1)").fetchone()[0]
    if found != "ok":
        raise unusable(path, sqlite3.DatabaseError(found))
    if version < len(MIGRATIONS):
        if fixed:
            raise FileError(
                f"{path}: was written by an older audiotest, and the medium is read-only",
                "copy it to a place you may write to",
            )
        _upgrade(base, path)


def _version(base: sqlite3.Connection) -> int:
    return int(base.execute("PRAGMA user_version").fetchone()[0])


def _upgrade(base: sqlite3.Connection, path: Path) -> None:
    version = _version(base)
    if version > 0:
        stamp = f"{datetime.now(UTC):%Y%m%d-%H%M%S-%f}-{os.getpid()}"
        copy_sheets(base, path.with_name(f"{path.name}.version-{version}.{stamp}"))
    with change(base):
        # Another program may have done it while this one waited for the lock.
        for number in range(_version(base), len(MIGRATIONS)):
            for statement in MIGRATIONS[number].split(";"):
                if statement.strip():
                    base.execute(statement)
        base.execute(f"PRAGMA application_id = {APPLICATION_ID}")
        base.execute(f"PRAGMA user_version = {len(MIGRATIONS)}")
