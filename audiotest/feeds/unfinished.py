"""WAV files whose recorder never came to write the lengths into the header, as after a crash."""

import io
import os
import struct
from typing import Any

LONGEST_N = 0xFFFFFFFF
"""What a 32-bit length can say."""
HEADER_LONGEST_N = 1 << 20


class FinishedWav(io.FileIO):
    """An unfinished WAV file, read as if its two lengths had been written."""

    def __init__(self, path: str, header: bytes) -> None:
        super().__init__(path, "rb")
        self._header = header

    def readinto(self, buffer: Any) -> int:
        """Read into `buffer`; the header comes from memory, all else from the file."""
        at_n = self.tell()
        read_n = super().readinto(buffer) or 0
        ours = self._header[at_n : at_n + read_n]
        memoryview(buffer).cast("B")[: len(ours)] = ours
        return read_n


def finished_wav(path: str) -> FinishedWav | None:
    """Open a RIFF WAVE file with a data chunk of length 0 and audio behind it; None for any other file.

    The length of the whole (RIFF chunk, Multimedia Programming Interface and Data Specifications 1.0, IBM and
    Microsoft 1991) is written last: if it fits the file, an empty data chunk is empty and what follows it is
    something else.
    """
    size_n = os.path.getsize(path)
    with open(path, "rb") as file:
        start = file.read(12)
        if start[:4] != b"RIFF" or start[8:] != b"WAVE":
            return None
        if struct.unpack("<I", start[4:8])[0] + 8 >= size_n:
            return None
        while (head := file.read(8)) and len(head) == 8:
            name, length_n = head[:4], struct.unpack("<I", head[4:])[0]
            if name == b"data":
                break
            file.seek(length_n + length_n % 2, os.SEEK_CUR)
        else:
            return None
        body_n = file.tell()
        if length_n != 0 or body_n >= size_n or body_n > HEADER_LONGEST_N:
            return None
        file.seek(0)
        header = bytearray(file.read(body_n))
    struct.pack_into("<I", header, 4, min(size_n - 8, LONGEST_N))
    struct.pack_into("<I", header, body_n - 4, min(size_n - body_n, LONGEST_N))
    return FinishedWav(path, bytes(header))
