"""The continuous recorder: every sample into lossless parts, every over cut out of them with its readings.

A recording is a folder of its own. In it: ``part 0001.flac`` and so on, the whole stream; ``over
0001.flac`` with ``over 0001.json``, each over with half a second around it; ``recording.jsonl``, a line
for everything that happened. Names carry numbers, so a clock that is set meanwhile confuses nothing.
"""

import errno
import json
import os
import queue
import shutil
import threading
import time
from collections.abc import Callable
from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import suppress
from dataclasses import asdict, dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from audiotest.errors import AudiotestError, FileError
from audiotest.keep.clips import AROUND_S, clip_start_n, save_clip
from audiotest.keep.durable import new_folder, write_new
from audiotest.keep.parts import BLOCK_N, PART_S, Part, PartWriter, codes_24, read_stretch
from audiotest.records import Advice, Feed, Over

RECORDING_SCHEMA = "audiotest-recording-1"
OVER_SCHEMA = "audiotest-over-1"
RESERVE_BYTES = 64 * 1024 * 1024
"""Room left on the disk for everything else: recording stops before the disk is full to the brim."""
LONGEST_QUEUE_S = 30.0
CLOCK_MOVED_S = 2.0
STOP_LONGEST_S = 30.0
FULL = (errno.ENOSPC, getattr(errno, "EDQUOT", errno.ENOSPC))


@dataclass(frozen=True, slots=True, kw_only=True)
class RecorderState:
    """How a recording stands; ``trouble`` says why it stopped by itself, None while all is well.

    ``gone`` when its folder went: nothing of it is to be found where it was.
    """

    folder: Path
    written_s: float
    overs: int
    lost_n: int
    trouble: str | None
    gone: bool


@dataclass(frozen=True, slots=True)
class _Gap:
    lost_n: int


@dataclass(frozen=True, slots=True)
class _Missing:
    lost_n: int


@dataclass(frozen=True, slots=True)
class _Cut:
    over: Over
    advice: Advice | None


_Item = NDArray[np.float32] | _Gap | _Missing | _Cut


class Recorder:
    """Keeps a stream on disk, in a thread of its own: nobody who pushes audio waits for the disk.

    Parameters
    ----------
    parent : Path
        Where the recording's own folder is made.
    rate_hz : int
        Sample rate.
    feed : Feed or None
        The scale that the overs were measured with, written beside each.
    limits_id : str
        The limits that the advice was given for.
    reserve_bytes : int
        Free space at which recording stops.
    now, steady_s : callable
        The clock on the wall and the one that nobody sets.

    Raises
    ------
    FileError
        The folder cannot be made or has no room.
    """

    def __init__(
        self,
        parent: Path,
        rate_hz: int,
        *,
        feed: Feed | None = None,
        limits_id: str = "",
        reserve_bytes: int = RESERVE_BYTES,
        part_s: float = PART_S,
        now: Callable[[], datetime] = lambda: datetime.now(UTC),
        steady_s: Callable[[], float] = time.monotonic,
    ) -> None:
        self._now, self._steady_s = now, steady_s
        self._rate = rate_hz
        self._feed, self._limits_id = feed, limits_id
        self._reserve_bytes = reserve_bytes
        self._start_n = 0
        _refuse_unwritable_name(parent)
        try:
            self.folder = new_folder(parent, f"recording {now().astimezone():%Y-%m-%d %H-%M-%S}")
            try:
                self._refuse_full()
                self._journal = open(self.folder / "recording.jsonl", "xb", buffering=0)  # noqa: SIM115
            except OSError:
                # Nobody is to find a folder that holds nothing for every time it was tried.
                with suppress(OSError):
                    self.folder.rmdir()
                raise
        except OSError as error:
            raise FileError(
                f"{parent}: nothing can be recorded there: {error.strerror}", "choose another folder"
            ) from error
        # Beside the writing: one thread waits for the medium, another cuts overs out of what is written.
        self._medium = ThreadPoolExecutor(1, thread_name_prefix="audiotest-medium")
        self._cutter = ThreadPoolExecutor(1, thread_name_prefix="audiotest-cutter")
        self._cutting: list[Future[None]] = []
        self._writer = PartWriter(self.folder, rate_hz, part_s=part_s, beside=self._medium)
        self._items: queue.SimpleQueue[NDArray[np.float32] | _Gap | _Missing | _Cut | None] = (
            queue.SimpleQueue()
        )
        self._thread = threading.Thread(target=self._run, name="audiotest-recorder", daemon=True)
        self._waiting: list[_Cut] = []
        self._closed = False
        self._pushed_n = self._taken_n = self._lost_n = 0
        self._overs = self._parts_told = 0
        self._checked_n = 0
        self._trouble: str | None = None
        self._gone = False
        self._clock_offset_s = now().timestamp() - steady_s()

    def start(self, start_n: int = 0) -> None:
        """Begin to write what is pushed; its first sample has the place ``start_n`` in the overs' stream."""
        self._start_n = start_n
        self._thread.start()

    def push(self, samples: NDArray[np.floating]) -> None:
        """Take the next samples, shape (n,), full scale 1.0; returns at once. Fits `Worker.on_samples`."""
        if self._closed or self._trouble is not None:
            return
        if self._pushed_n - self._taken_n > LONGEST_QUEUE_S * self._rate:
            # The disk has hung for half a minute: silence stands for what is lost, so that times stay right.
            self._items.put(_Gap(len(samples)))
            return
        self._pushed_n += len(samples)
        self._items.put(np.array(samples, dtype=np.float32))

    def missing(self, lost_n: int) -> None:
        """Note in the journal that the input lost so many samples, or more, just before the next ones."""
        if not self._closed:
            self._items.put(_Missing(lost_n))

    def cut(self, over: Over, advice: Advice | None = None) -> None:
        """Keep an over by itself, readings beside it, as soon as the half second after it is there.

        One that had ended before the first sample is left out: nothing of it was recorded.
        """
        if not self._closed and self._place_n(over.end_s) > 0:
            self._items.put(_Cut(over, advice))

    def close(self) -> None:
        """Write what has been pushed, cut what is waiting, finish the files. Safe to call twice.

        Raises `AudiotestError` when the disk does not answer, `FileError` when it refuses.
        """
        if self._closed:
            return
        self._closed = True
        self._items.put(None)
        if self._thread.ident is not None:
            self._thread.join(STOP_LONGEST_S)
            if self._thread.is_alive():
                raise AudiotestError(f"{self.folder}: the disk does not answer", "what it has is kept")
        else:
            self._journal.close()

    @property
    def state(self) -> RecorderState:
        """How it stands, from any thread."""
        return RecorderState(
            folder=self.folder, written_s=self._writer.written_n / self._rate, overs=self._overs,
            lost_n=self._lost_n, trouble=self._trouble, gone=self._gone,
        )  # fmt: skip

    # -- in the thread ----------------------------------------------------------------------------

    def _run(self) -> None:
        try:
            self._tell("started", schema=RECORDING_SCHEMA, sample_rate_hz=self._rate)
            while (item := self._items.get()) is not None:
                if isinstance(item, _Cut):
                    self._waiting.append(item)
                elif isinstance(item, _Missing):
                    self._tell("input lost", at_n=self._writer.written_n, lost_n=item.lost_n)
                elif isinstance(item, _Gap):
                    self._write(np.zeros(item.lost_n, dtype=np.float32))
                    self._tell("lost", at_n=self._writer.written_n, lost_n=item.lost_n)
                    self._lost_n += item.lost_n
                else:
                    self._taken_n += len(item)
                    self._write(item)
                self._cut_ready()
            self._writer.close()
            self._cut_ready(all_of_it=True)
            self._raise_from_cutting(wait=True)
            # Files that were taken away can be written to the end, and nobody finds them.
            os.stat(self.folder)
            self._tell("stopped", why="asked to", at_n=self._writer.written_n)
        except OSError as error:
            self._stop_for(error)
        except Exception as error:
            self._stop_for(OSError(errno.EIO, f"{type(error).__name__}: {error}, a fault of the program"))
        finally:
            self._cutter.shutdown()
            self._medium.shutdown()
            self._journal.close()

    def _write(self, samples: NDArray[np.float32]) -> None:
        if self._writer.written_n >= self._checked_n:
            self._checked_n = self._writer.written_n + self._rate
            self._refuse_full()
            self._look_at_clock()
        self._writer.write(codes_24(np.nan_to_num(samples, nan=0.0, posinf=1.0, neginf=-1.0)))
        while self._parts_told < len(self._writer.parts):
            part = self._writer.parts[self._parts_told]
            self._parts_told += 1
            self._tell("part", number=self._parts_told, file=part.path.name, start_n=part.start_n)

    def _refuse_full(self) -> None:
        if shutil.disk_usage(self.folder).free < self._reserve_bytes:
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    def _look_at_clock(self) -> None:
        offset_s = self._now().timestamp() - self._steady_s()
        if abs(offset_s - self._clock_offset_s) > CLOCK_MOVED_S:
            moved_s = round(offset_s - self._clock_offset_s, 1)
            self._tell("clock", moved_s=moved_s, at_n=self._writer.written_n)
            self._clock_offset_s = offset_s

    def _cut_ready(self, *, all_of_it: bool = False) -> None:
        # What the encoder holds back has not reached the file yet.
        there_n = self._writer.written_n - (0 if all_of_it else BLOCK_N)
        for cut in list(self._waiting):
            if all_of_it or self._place_n(cut.over.end_s + AROUND_S) <= there_n:
                self._waiting.remove(cut)
                self._cutting.append(
                    self._cutter.submit(
                        self._keep_over, cut, list(self._writer.parts), self._writer.written_n
                    )
                )
        self._raise_from_cutting(wait=False)

    def _raise_from_cutting(self, *, wait: bool) -> None:
        """Raise what went wrong while an over was cut."""
        done = [future for future in self._cutting if wait or future.done()]
        self._cutting = [future for future in self._cutting if future not in done]
        for future in done:
            future.result()

    def _place_n(self, stream_s: float) -> int:
        """Sample in the recording that stands at a time in the overs' stream."""
        return max(round(stream_s * self._rate) - self._start_n, 0)

    def _keep_over(self, cut: _Cut, parts: list[Part], written_n: int) -> None:
        start_n = max(clip_start_n(cut.over.start_s, self._rate) - self._start_n, 0)
        codes = read_stretch(parts, start_n, self._place_n(cut.over.end_s + AROUND_S))
        number = self._overs + 1
        began = self._now().timestamp() - (written_n - start_n) / self._rate
        sentence = "" if cut.advice is None else cut.advice.sentence
        try:
            clip = save_clip(self.folder, f"over {number:04}", codes, self._rate, comment=sentence)
            document = {
                "schema": OVER_SCHEMA, "number": number, "clip": clip.name, "sample_rate_hz": self._rate,
                "clip_start_s": (start_n + self._start_n) / self._rate,
                "clip_length_s": len(codes) / self._rate,
                "clock": datetime.fromtimestamp(began, UTC).isoformat(timespec="seconds"),
                "limits": self._limits_id, "feed": None if self._feed is None else self._feed.figures(),
                "over": asdict(cut.over), "advice": None if cut.advice is None else asdict(cut.advice),
            }  # fmt: skip
            text = json.dumps(document, indent=1, allow_nan=False)
            write_new(self.folder, f"over {number:04}", ".json", text.encode())
        except FileError as error:
            self._refuse_full()
            raise OSError(errno.EIO, str(error)) from error
        self._overs = number
        self._tell("over", number=number, file=clip.name, start_n=start_n, length_n=len(codes))

    def _tell(self, event: str, **facts: Any) -> None:
        """Write one line to the journal and have it on the medium, in the thread that waits for that."""
        line = {"event": event, "clock": self._now().isoformat(timespec="milliseconds"), **facts}
        self._medium.submit(self._write_line, json.dumps(line, allow_nan=False).encode() + b"\n")

    def _write_line(self, line: bytes) -> None:
        # A journal that cannot be written must not stop the audio; a full disk stops that by itself.
        with suppress(OSError):
            self._journal.write(line)
            os.fsync(self._journal.fileno())

    def _stop_for(self, error: OSError) -> None:
        """Say why recording stopped, and finish what there is as well as the disk allows."""
        at_s = self._writer.written_n / self._rate
        why, rest = f"the disk refuses: {error.strerror or error}", ": what was recorded is kept"
        if error.errno in FULL:
            why = "the disk is full"
        elif not os.path.exists(self.folder):
            self._gone, why = True, "the folder is gone"
            rest = ", and what it held with it, unless it was moved or its disk unplugged"
        self._trouble = f"{self.folder}: recording stopped at {at_s:.1f} s: {why}{rest}"
        for finish in (
            self._writer.close,
            lambda: self._cut_ready(all_of_it=True),
            lambda: self._raise_from_cutting(wait=True),
            lambda: self._tell("stopped", why=why, at_n=self._writer.written_n),
        ):
            try:
                finish()
            except OSError:
                continue


def _refuse_unwritable_name(parent: Path) -> None:
    """Refuse at once a folder that takes the stream and no over: its name is no text (UTF-8, RFC 3629)."""
    try:
        str(parent.absolute()).encode()
    except UnicodeEncodeError as error:
        shown = os.fsencode(parent).decode(errors="replace")
        raise FileError(
            f"{shown}: nothing can be recorded there: its name is not written in UTF-8",
            "choose another folder or name it anew",
        ) from error
