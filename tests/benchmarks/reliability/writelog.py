"""A disk that writes down what it is given, in order: what a power cut at any moment would leave of it.

``python -m tests.benchmarks.reliability.writelog FOLDER LOG BYTES`` serves, by FUSE, one file ``FOLDER/disk``
of so many bytes. A loop device on that file hands over every write of the file system above, and every
request to empty the disk's cache, as a sync of the file; both go to the log with the time. `Replayed` makes
of the log what stood on the disk at an instant. Needs Linux, ``/dev/fuse`` and ``pip install fusepy``.
"""

import errno
import random
import stat
import struct
import sys
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal

HEAD = struct.Struct("<cdQI")
SECTOR_BYTES = 512
Cache = Literal["kept", "lost", "scattered"]
CACHES: tuple[Cache, ...] = ("kept", "lost", "scattered")
"""What becomes, in a cut, of writes that the disk had taken since its cache was last emptied: all of them are
on the medium, none is, or a random half of their sectors in no order, as of a disk that sorts its writes."""


@dataclass(frozen=True, slots=True)
class Entry:
    """A write, or with `data` None an emptying of the cache that has been carried out."""

    at_s: float
    offset: int
    data: bytes | None


def entries(log: Path) -> Iterator[Entry]:
    """Read a log from beginning to end."""
    with open(log, "rb") as file:
        while len(head := file.read(HEAD.size)) == HEAD.size:
            kind, at_s, offset, length = HEAD.unpack(head)
            yield Entry(at_s, offset, file.read(length) if kind == b"w" else None)


class Replayed:
    """The disk at one instant after the other, in rising order of time."""

    def __init__(self, image: Path, log: Path) -> None:
        self.image = image
        self._entries = entries(log)
        self._next = next(self._entries, None)
        self._since_emptied: list[Entry] = []

    def advance(self, at_s: float) -> None:
        """Go on to an instant: the image becomes what was safe then, whatever the disk's cache did."""
        with open(self.image, "rb+") as image:
            while self._next is not None and self._next.at_s <= at_s:
                if self._next.data is None:
                    write_all(image, self._since_emptied)
                    self._since_emptied = []
                else:
                    self._since_emptied.append(self._next)
                self._next = next(self._entries, None)

    def cut(self, cache: Cache, target: Path, rng: random.Random) -> None:
        """Add to a copy of the image what the disk's cache still saves at this instant."""
        kept = self._since_emptied if cache == "kept" else []
        if cache == "scattered":
            sectors = [sector for entry in self._since_emptied for sector in split(entry)]
            kept = [sector for sector in sectors if rng.random() < 0.5]
        with open(target, "rb+") as image:
            write_all(image, kept)


def split(entry: Entry) -> Iterator[Entry]:
    """A write as the sectors that it consists of: a disk writes each of them whole or not at all."""
    assert entry.data is not None
    for at in range(0, len(entry.data), SECTOR_BYTES):
        yield Entry(entry.at_s, entry.offset + at, entry.data[at : at + SECTOR_BYTES])


def write_all(image: Any, writes: list[Entry]) -> None:
    for entry in writes:
        assert entry.data is not None
        image.seek(entry.offset)
        image.write(entry.data)


def serve(folder: str, log: str, backing: str) -> None:
    """Serve the disk until it is unmounted; what it holds at first is in the file `backing`."""
    from fuse import FUSE, FuseOSError, Operations

    held = bytearray(Path(backing).read_bytes())
    book = open(log, "wb", buffering=0)  # noqa: SIM115

    class Disk(Operations):  # type: ignore[misc]
        """One file; every call comes from the one thread, one after the other."""

        def getattr(self, path: str, fh: Any = None) -> dict[str, Any]:
            if path == "/":
                return {"st_mode": stat.S_IFDIR | 0o755, "st_nlink": 2}
            if path != "/disk":
                raise FuseOSError(errno.ENOENT)
            return {"st_mode": stat.S_IFREG | 0o644, "st_nlink": 1, "st_size": len(held)}

        def readdir(self, path: str, fh: Any) -> list[str]:
            return [".", "..", "disk"]

        def read(self, path: str, size: int, offset: int, fh: Any) -> bytes:
            return bytes(held[offset : offset + size])

        def write(self, path: str, data: bytes, offset: int, fh: Any) -> int:
            held[offset : offset + len(data)] = data
            book.write(HEAD.pack(b"w", time.monotonic(), offset, len(data)) + data)
            return len(data)

        def fsync(self, path: str, datasync: int, fh: Any) -> int:
            book.write(HEAD.pack(b"s", time.monotonic(), 0, 0))
            return 0

        def truncate(self, path: str, length: int, fh: Any = None) -> None:
            raise FuseOSError(errno.EPERM)

    FUSE(Disk(), folder, foreground=True, nothreads=True, direct_io=True, big_writes=True)


if __name__ == "__main__":
    serve(sys.argv[1], sys.argv[2], sys.argv[3])
