"""Files that belong to a sheet: copied to a folder beside it, named by what is in them."""

import hashlib
from pathlib import Path

from audiotest.errors import FileError
from audiotest.keep.durable import make_folder, write_new
from audiotest.keep.plotfile import read_curves
from audiotest.keep.sheetrecords import Attachment, Kind
from audiotest.ordinary import open_ordinary

LONGEST_FILE_BYTES = 64 * 1024 * 1024
LONGEST_TEXT_BYTES = 8 * 1024 * 1024
PNG_SIGNATURE = b"\x89PNG\r\n\x1a\n"


def read_start(file: Path) -> bytes:
    """Read a file as far as any document of ours is long, and a byte more; `FileError` when it cannot be."""
    try:
        with open_ordinary(file) as opened:
            return opened.read(LONGEST_TEXT_BYTES + 1)
    except OSError as error:
        raise FileError(f"{file}: cannot be read: {error.strerror}", "check the name") from error


def kind_of(file: Path) -> Kind:
    """What a file to attach is, by what is in it; `FileError` when it is nothing that a report shows."""
    # Imported here, since who only reads sheets does without.
    from audiotest.feeds.file import NO_RECORDING, open_recording

    content = read_start(file)
    if content.startswith(PNG_SIGNATURE):
        return "picture"
    if content.lstrip().startswith(b"{"):
        read_curves(content, str(file))
        return "plot"
    try:
        open_recording(file).close()
    except FileError as error:
        if not error.what.endswith(NO_RECORDING):
            raise
        remedy = "attach a recording (WAV, FLAC or Ogg), a PNG picture or a plot that 'bench --json' wrote"
        raise FileError(f"{file}: neither a recording nor a picture nor a plot", remedy) from error
    return "clip"


def keep_file(folder: Path, file: Path) -> tuple[str, str]:
    """Copy a file to the folder; returns its name there and its SHA-256 in hexadecimal.

    Raises
    ------
    FileError
        It cannot be read, is too large, or the folder cannot be written.
    """
    try:
        content = _read(file)
    except OSError as error:
        raise FileError(f"{file}: cannot be read: {error.strerror}", "check the name") from error
    if len(content) > LONGEST_FILE_BYTES:
        raise FileError(f"{file}: is larger than 64 MiB", "cut out the over that matters")
    digest = hashlib.sha256(content).hexdigest()
    suffix = "".join(sign for sign in file.suffix.lower() if sign.isascii() and sign.isalnum())[:8]
    kept = folder / (f"{digest[:24]}.{suffix}" if suffix else digest[:24])
    try:
        make_folder(folder)
        if kept.is_file() and hashlib.sha256(kept.read_bytes()).hexdigest() == digest:
            return kept.name, digest
        path = write_new(folder, kept.stem, kept.suffix, content)
    except OSError as error:
        raise FileError(f"{folder}: cannot be written: {error.strerror}", "make room there") from error
    return path.name, digest


def read_kept(folder: Path, attachment: Attachment) -> bytes:
    """Contents of an attached file; `FileError` when it is gone or is not what was attached."""
    path = folder / Path(attachment.file).name
    try:
        content = _read(path)
    except OSError as error:
        raise FileError(f"{attachment.title}: the file is gone", f"it was kept as {path.name}") from error
    if hashlib.sha256(content).hexdigest() != attachment.sha256:
        raise FileError(f"{attachment.title}: the file has been changed or is damaged", "attach it again")
    return content


def _read(file: Path) -> bytes:
    """Contents of a file, and a byte more than may be kept of a longer one."""
    with open_ordinary(file) as opened:
        return opened.read(LONGEST_FILE_BYTES + 1)
