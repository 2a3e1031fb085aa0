"""Files that appear whole or not at all, never over an older one, and that a power cut does not empty."""

import os
from contextlib import suppress
from pathlib import Path


def sync_file(path: Path) -> None:
    """Have a closed file's contents on the medium (fsync, POSIX.1-2017)."""
    with open(path, "rb+") as file:
        os.fsync(file.fileno())


def sync_folder(folder: Path) -> None:
    """Have a folder's entries on the medium; systems that cannot open a folder do it on their own."""
    with suppress(OSError):
        entry = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(entry)
        finally:
            os.close(entry)


def place(part: Path, folder: Path, stem: str, suffix: str) -> Path:
    """Give a finished file the first free name; a link fails where a name is taken, a rename would not."""
    count = 1
    while True:
        target = folder / (f"{stem}{suffix}" if count == 1 else f"{stem} ({count}){suffix}")
        try:
            os.link(part, target)
        except FileExistsError:
            count += 1
        except OSError:
            # A file system without links: leave the small chance that somebody takes the name meanwhile.
            if target.exists():
                count += 1
                continue
            part.replace(target)
            return target
        else:
            part.unlink(missing_ok=True)
            return target


def write_new(folder: Path, stem: str, suffix: str, content: bytes) -> Path:
    """Write a new file, whole or not at all; a name that is taken gets a number. `OSError` when it cannot."""
    part = folder / f".{stem}{suffix}.{os.getpid()}.part"
    try:
        with open(part, "wb") as file:
            file.write(content)
            file.flush()
            os.fsync(file.fileno())
        path = place(part, folder, stem, suffix)
    finally:
        with suppress(OSError):
            part.unlink()
    sync_folder(folder)
    return path


def make_folder(folder: Path) -> None:
    """Make a folder and all above it that is missing, each name on the medium. `OSError` when it cannot."""
    missing = [place for place in (folder, *folder.parents) if not place.exists()]
    folder.mkdir(parents=True, exist_ok=True)
    for place in missing:
        sync_folder(place.parent)


def new_folder(parent: Path, name: str) -> Path:
    """Make a folder of a name that nothing has yet; a taken name gets a number. `OSError` when it cannot."""
    make_folder(parent)
    count = 1
    while True:
        folder = parent / (name if count == 1 else f"{name} ({count})")
        try:
            folder.mkdir()
        except FileExistsError:
            count += 1
        else:
            sync_folder(parent)
            return folder
