"""A sheet with its clips, plots and pictures as one ZIP, and back, checked file by file.

In it stand ``sheet.json``, as `keep/exchange.py` writes it, and beside it the attached files under names that
every system takes; ``member`` of an attachment says which is its own. On the way in nothing is unpacked to a
name that the ZIP chooses, and no more is read than its bounds allow, whatever its headers promise.
"""

import hashlib
import io
import json
import zipfile
import zlib
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any, BinaryIO

from audiotest.errors import FileError
from audiotest.keep.attachments import LONGEST_FILE_BYTES, LONGEST_TEXT_BYTES, kind_of, read_start
from audiotest.keep.exchange import (
    Enclosed,
    enclosed_as,
    entries_of,
    import_sheet,
    read_document,
    refused,
    sheet_document,
    take_in,
)
from audiotest.keep.history import twin
from audiotest.keep.sheetrecords import STAGE_WORDS
from audiotest.keep.sheets import Sheets
from audiotest.ordinary import open_ordinary

ZIP_SIGNATURE = b"PK\x03\x04"
SHEET_NAME = "sheet.json"
MOST_MEMBERS = 500
LARGEST_SUM_BYTES = 512 * 1024 * 1024
_DIRECTORY_ENTRY = b"PK\x01\x02"
_LISTED_BYTES = 1024 * 1024
_PACKED = (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED)
_UNREADABLE = (
    zipfile.BadZipFile, zlib.error, OSError, EOFError, NotImplementedError, RuntimeError, LookupError,
    ValueError, OverflowError,
)  # fmt: skip
"""What the ZIP library raises over a damaged or hostile file."""


def sheet_bundle(sheets: Sheets, visit_id: int) -> tuple[bytes, tuple[str, ...]]:
    """A sheet and its files as a ZIP, the same bytes for the same sheet; and what is missing from it.

    Raises
    ------
    FileError
        The files are more than can be taken in again.
    """
    sheet = sheets.sheet(visit_id)
    document = sheet_document(sheet)
    remarks: list[str] = []
    out = io.BytesIO()
    total = 0
    # Stored: sound and pictures are packed already.
    with zipfile.ZipFile(out, "w", zipfile.ZIP_STORED) as bundle:
        for number, (file, entry) in enumerate(
            zip(sheet.attachments, document["attachments"], strict=True), start=1
        ):
            try:
                content = sheets.attachment_bytes(file)
            except FileError as error:
                remarks.append(str(error))
                entry["member"] = None
                continue
            total += len(content)
            entry["member"] = f"{number:02} {STAGE_WORDS[file.stage]} {file.kind}{Path(file.file).suffix}"
            bundle.writestr(zipfile.ZipInfo(entry["member"]), content)
        text = json.dumps(document, indent=2, allow_nan=False) + "\n"
        bundle.writestr(zipfile.ZipInfo(SHEET_NAME), text)
    if total > LARGEST_SUM_BYTES or len(sheet.attachments) >= MOST_MEMBERS:
        raise FileError(f"sheet {visit_id}: more is attached than one ZIP takes", "export it as .json")
    return out.getvalue(), tuple(remarks)


def import_file(sheets: Sheets, file: Path) -> int:
    """Put a sheet that came as a ZIP or as JSON, told by how it begins, on the books; return its number.

    Raises
    ------
    FileError
        It cannot be read, or is no sheet that can be taken in. Nothing is changed then.
    """
    content = read_start(file)
    if content.startswith(ZIP_SIGNATURE):
        return import_bundle(sheets, file)
    return import_sheet(sheets, content, str(file))


def taken_in(sheets: Sheets, visit_id: int, name: str) -> str:
    """Say as which sheet a file was taken in, and whether it is on the books twice now."""
    there = twin(sheets, visit_id)
    twice = "" if there is None else f"; sheet {there} of this set has the same opening time and readings"
    return f"{name}: taken in as sheet {visit_id}{twice}"


def import_bundle(sheets: Sheets, file: Path) -> int:
    """Put a sheet that came as a ZIP on the books as a new visit, with its files, and return its number.

    Raises
    ------
    FileError
        It is no such ZIP, a file in it is not what its sheet says, or a value is out of all bounds. Nothing
        is changed then.
    """
    name = str(file)
    with TemporaryDirectory() as folder:
        try:
            with open_ordinary(file) as opened, _bounded(opened) as bundle:
                document = read_document(_read(bundle, SHEET_NAME, LONGEST_TEXT_BYTES), name)
                enclosed = _enclosed(bundle, document, Path(folder))
        except FileError:
            raise
        except _UNREADABLE as error:
            # A key that is not there names itself; a file that is not in the ZIP comes as a sentence.
            named = isinstance(error, KeyError) and "no item" not in str(error)
            reason = f"{error.args[0]} is missing" if named else (error.args[0] if error.args else error)
            raise refused(name, ValueError(reason)) from error
        return take_in(sheets, document, name, enclosed)


def _bounded(opened: BinaryIO) -> zipfile.ZipFile:
    """Open a ZIP that has no more entries than one reads: the library makes an object of each."""
    entries = size = 0
    tail = b""
    while block := opened.read(_LISTED_BYTES):
        size += len(block)
        entries += (tail + block).count(_DIRECTORY_ENTRY)
        tail = block[1 - len(_DIRECTORY_ENTRY) :]
        if size > LARGEST_SUM_BYTES + LONGEST_TEXT_BYTES or entries > 2 * MOST_MEMBERS:
            raise ValueError("it is too large, or holds too many files")
    return zipfile.ZipFile(opened)


def _enclosed(bundle: zipfile.ZipFile, document: dict[str, Any], folder: Path) -> list[Enclosed | None]:
    """The files of a document's attachments, written to a folder under names of our own and looked at."""
    enclosed: list[Enclosed | None] = []
    left = LARGEST_SUM_BYTES
    entries = entries_of(document, "attachments")
    if len(entries) > MOST_MEMBERS:
        raise ValueError("it holds too many files")
    for number, entry in enumerate(entries, start=1):
        member = entry.get("member")
        if member is None:
            enclosed.append(None)
            continue
        content = _read(bundle, member, min(LONGEST_FILE_BYTES, left))
        left -= len(content)
        if hashlib.sha256(content).hexdigest() != entry.get("sha256"):
            raise ValueError(f"{member!r} is not the file that was attached")
        kind = entry.get("kind")
        suffix = {"picture": ".png", "plot": ".json"}.get(str(kind), ".flac")
        path = folder / f"{number}{suffix}"
        path.write_bytes(content)
        found = enclosed_as(entry, path)
        if kind_of(path) != found.kind:
            raise ValueError(f"{member!r} is no {found.kind}")
        enclosed.append(found)
    return enclosed


def _read(bundle: zipfile.ZipFile, member: object, most_bytes: int) -> bytes:
    """One file of a ZIP, as far as it is within its bounds."""
    if not isinstance(member, str):
        raise ValueError("the name of an attached file is no text")
    info = bundle.getinfo(member)
    if info.compress_type not in _PACKED:
        raise ValueError(f"{member!r} is packed in an unusual way")
    # What the header promises is not believed: so much is read, and no more.
    with bundle.open(info) as opened:
        content = opened.read(most_bytes + 1)
    if len(content) > most_bytes:
        raise ValueError(f"{member!r} is too large")
    return content
