"""A long recording as numbered FLAC parts that stay readable when the program or the power dies.

FLAC carries its frames one after the other, each with its own check sum (RFC 9639, section 9): what has
reached the disk can be decoded although the file was never finished. A RIFF or RF64 file would promise a
length in its header that a crash leaves wrong.
"""

import errno
import os
from collections.abc import Callable, Sequence
from concurrent.futures import Executor, Future
from contextlib import suppress
from dataclasses import dataclass
from functools import partial
from pathlib import Path

import numpy as np
import soundfile as sf
from numpy.typing import NDArray

from audiotest.errors import FileError
from audiotest.feeds.file import LENGTH_UNKNOWN_N, open_recording
from audiotest.keep.durable import sync_folder

BLOCK_N = 4096
"""Samples that the FLAC encoder holds back until a frame is full (libFLAC's block at its usual setting)."""
PROMISE_S = 1.0
"""No more than this much audio is lost, whatever happens."""
MARGIN_S = 0.2
PART_S = 300.0
FULL_SCALE = float(2**23)


@dataclass(frozen=True, slots=True)
class Part:
    """One file of a recording and the stream position of its first sample."""

    path: Path
    start_n: int


def sync_every_s(rate_hz: int) -> float:
    """Longest time between two syncs that keeps the promise together with what the encoder holds back.

    >>> round(sync_every_s(48000), 3), round(sync_every_s(8000), 3)
    (0.715, 0.288)
    """
    return max(PROMISE_S - MARGIN_S - BLOCK_N / rate_hz, 0.05)


def codes_24(samples: NDArray[np.floating]) -> NDArray[np.int32]:
    """Samples, shape (n,), full scale 1.0, as 24-bit codes in the upper bits of 32, exact for sound cards.

    >>> codes_24(np.array([0.5, -1.0, 2.0, 2.0**-23])) >> 8
    array([ 4194304, -8388608,  8388607,        1], dtype=int32)
    """
    wide = np.clip(np.rint(samples.astype(np.float64) * FULL_SCALE), -FULL_SCALE, FULL_SCALE - 1)
    return wide.astype(np.int32) << np.int32(8)


class _Sink:
    """A new file for libsndfile to write to; it remembers the first error and cuts off what that left."""

    def __init__(self, path: Path) -> None:
        self._fd = os.open(path, os.O_RDWR | os.O_CREAT | os.O_EXCL | getattr(os, "O_BINARY", 0), 0o644)
        self._end = 0
        self.error: OSError | None = None

    def write(self, data: bytes) -> int:
        # An exception cannot pass through libsndfile: a short count stops it, the error is raised after.
        if self.error is not None:
            return 0
        at = self.tell()
        try:
            done = 0
            while done < len(data):
                done += os.write(self._fd, data[done:])
        except OSError as error:
            self.error = error
            if at == self._end:
                with suppress(OSError):
                    os.ftruncate(self._fd, at)
            return 0
        self._end = max(self._end, at + done)
        return done

    def read(self, count: int = -1) -> bytes:
        return os.read(self._fd, max(count, 0))

    def seek(self, offset: int, whence: int = os.SEEK_SET) -> int:
        return os.lseek(self._fd, offset, whence)

    def tell(self) -> int:
        return os.lseek(self._fd, 0, os.SEEK_CUR)

    def sync(self) -> None:
        os.fsync(self._fd)

    def close(self) -> None:
        os.close(self._fd)

    def sync_and_close(self) -> None:
        try:
            self.sync()
        finally:
            self.close()


class PartWriter:
    """Writes one channel as part after part; every call raises `OSError` when the disk refuses.

    Parameters
    ----------
    folder : Path
        An existing folder without parts: nothing in it is overwritten.
    rate_hz : int
        Sample rate.
    part_s : float
        Length after which the next part begins.
    beside : Executor or None
        A single thread in which to wait for the medium, so that a slow one does not hold up the writing;
        its error is raised by a later call. None waits in place. Shut it down after `close`.
    """

    def __init__(
        self, folder: Path, rate_hz: int, *, part_s: float = PART_S, beside: Executor | None = None
    ) -> None:
        self.folder = folder
        self.rate_hz = rate_hz
        self.parts: list[Part] = []
        self.written_n = 0
        self._part_n = max(round(part_s * rate_hz), BLOCK_N)
        self._sync_n = round(sync_every_s(rate_hz) * rate_hz)
        self._synced_n = 0
        self._beside = beside
        self._waits: list[Future[None]] = []
        self._sink: _Sink | None = None
        self._sound: sf.SoundFile | None = None

    def write(self, codes: NDArray[np.int32]) -> None:
        """Append codes, shape (n,), of 24 bits in the upper part of 32; synced often enough by itself."""
        while len(codes):
            if self._sound is None:
                self._open_next()
            room = self.parts[-1].start_n + self._part_n - self.written_n
            taken, codes = codes[:room], codes[room:]
            self._put(taken)
            if len(taken) == room:
                self._finish_part()
        self._raise_late()
        due = self.written_n - self._synced_n >= self._sync_n
        if self._sink is not None and due and not self._waits:
            self._synced_n = self.written_n
            self._wait_for(self._sink.sync)

    def close(self) -> None:
        """Finish the running part and wait for the medium; safe to call twice."""
        try:
            self._finish_part()
        finally:
            waits, self._waits = self._waits, []
            for future in waits:
                future.exception()
        for future in waits:
            future.result()

    def _wait_for(self, work: Callable[[], None]) -> None:
        """Wait for the medium: beside the writing, or in place."""
        if self._beside is None:
            work()
        else:
            self._waits.append(self._beside.submit(work))

    def _raise_late(self) -> None:
        """Raise what went wrong beside the writing."""
        done = [future for future in self._waits if future.done()]
        self._waits = [future for future in self._waits if not future.done()]
        for future in done:
            future.result()

    def _finish_part(self) -> None:
        sound, sink = self._sound, self._sink
        self._sound = self._sink = None
        if sound is None or sink is None:
            return
        failed: Exception | None = None
        try:
            sound.close()
        except sf.SoundFileError as error:
            failed = error
        if sink.error is not None or failed is not None:
            sink.close()
            raise sink.error or OSError(errno.EIO, str(failed))
        self._synced_n = self.written_n
        self._wait_for(sink.sync_and_close)

    def _open_next(self) -> None:
        path = self.folder / f"part {len(self.parts) + 1:04}.flac"
        self._sink = _Sink(path)
        try:
            self._sound = sf.SoundFile(
                self._sink, "w", samplerate=self.rate_hz, channels=1, format="FLAC", subtype="PCM_24"
            )
        except sf.SoundFileError as error:
            sink, self._sink = self._sink, None
            sink.close()
            raise sink.error or OSError(errno.EIO, str(error)) from error
        self.parts.append(Part(path, self.written_n))
        self._wait_for(partial(sync_folder, self.folder))

    def _put(self, codes: NDArray[np.int32]) -> None:
        assert self._sound is not None
        assert self._sink is not None
        try:
            self._sound.write(codes)
        except (sf.SoundFileError, AssertionError) as error:
            raise self._sink.error or OSError(errno.EIO, str(error)) from error
        if self._sink.error is not None:
            raise self._sink.error
        self.written_n += len(codes)


def read_stretch(
    parts: Sequence[Part], start_n: int, end_n: int, *, channel: int | None = 1
) -> NDArray[np.int32]:
    """Codes at stream positions ``[start_n, end_n)``, shape (n,), as far as the parts hold them.

    A part that is still being written, or that a crash left unfinished, is read up to its last whole frame.
    """
    found: list[NDArray[np.int32]] = []
    ends = [*(part.start_n for part in parts[1:]), None]
    # Before the first sample there is no part yet.
    for part, after in zip(parts, ends[: len(parts)], strict=True):
        if part.start_n >= end_n or (after is not None and after <= start_n):
            continue
        at_n = part.start_n
        try:
            source = open_recording(part.path, channel)
        except FileError:
            continue
        try:
            for block in source.blocks():
                low, high = max(start_n - at_n, 0), max(end_n - at_n, 0)
                if low < len(block.samples):
                    found.append(codes_24(block.samples[low:high]))
                at_n += len(block.samples)
                if at_n >= end_n:
                    break
        except FileError:
            pass
        finally:
            source.close()
    return np.concatenate(found) if found else np.zeros(0, dtype=np.int32)


def find_parts(folder: Path) -> list[Part]:
    """The parts in a recording's folder in order, with their stream positions.

    The positions come from the lengths of the parts themselves, so a recording that a crash ended can be
    read without its journal.
    """
    parts: list[Part] = []
    start_n = 0
    for path in sorted(folder.glob("part [0-9]*.flac")):
        parts.append(Part(path, start_n))
        start_n += _length_n(path)
    return parts


def _length_n(path: Path) -> int:
    """Samples that a part holds; one that was never finished has to be decoded to know."""
    try:
        said: int = sf.info(path).frames
    except sf.SoundFileError:
        return 0
    return said if said < LENGTH_UNKNOWN_N else len(read_stretch([Part(path, 0)], 0, LENGTH_UNKNOWN_N))
