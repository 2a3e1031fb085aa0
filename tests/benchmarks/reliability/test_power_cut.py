"""The power cut at random instants of recording and of writing sheets, on real file systems. Run by hand.

A kill leaves what the kernel holds in memory; a power cut does not. So the file system stands on a disk that
writes down every write and every emptying of its cache (`writelog`). For each instant the disk is made anew
as it was then, in three ways: with all that it had been given, with nothing that came after its cache was
last emptied, and with a random half of that. The copy is mounted, which replays the file system's own
journal, and looked at. Needs the right to mount loop devices, and ``pip install fusepy``; a few minutes.
"""

import json
import os
import random
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest
import soundfile

from audiotest.errors import FileError
from audiotest.keep.parts import codes_24, find_parts, read_stretch
from audiotest.keep.sheetfile import find_faults
from audiotest.keep.sheets import Sheets
from tests.benchmarks.reliability.writelog import CACHES, Replayed
from tests.keep.killing import REPOSITORY, known

CUTS = int(os.environ.get("AUDIOTEST_CUTS", "40"))
LINES = 500
"""Blocks of 20 ms that are recorded, or changes to the sheets."""
PROMISE_S = 1.0
MIB = 2**20
SYSTEMS = {
    "ext4": (128 * MIB, ["-q", "-F", "-E", "nodiscard,lazy_itable_init=0,lazy_journal_init=0"]),
    "ext2": (128 * MIB, ["-q", "-F"]),
    "xfs": (320 * MIB, ["-q", "-K"]),
    "btrfs": (256 * MIB, ["-q", "-K"]),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Run:
    """What a run left: the log of its disk, the disk as it was before, and what was promised when."""

    log: Path
    before: Path
    said: tuple[tuple[float, str], ...]

    def by(self, at_s: float) -> list[str]:
        """What had been said by an instant; what is said later may be lost."""
        return [line for when_s, line in self.said if when_s <= at_s]


def must(*command: str) -> str:
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    if done.returncode:
        raise OSError(f"{' '.join(command)}: {done.stderr.strip()}")
    return done.stdout.strip()


@contextmanager
def mounted(image: Path, folder: Path) -> Iterator[Path]:
    """A file system in a file, mounted; its device is let go at the end."""
    folder.mkdir(exist_ok=True)
    device = must("losetup", "--find", "--show", str(image))
    try:
        must("mount", "-o", "noatime", device, str(folder))
        try:
            yield folder
        finally:
            must("umount", str(folder))
    finally:
        must("losetup", "--detach", device)


@contextmanager
def written_down(before: Path, log: Path, folder: Path) -> Iterator[Path]:
    """The disk that writes down what it is given, served as a file."""
    folder.mkdir()
    command = [
        sys.executable,
        "-m",
        "tests.benchmarks.reliability.writelog",
        str(folder),
        str(log),
        str(before),
    ]
    server = subprocess.Popen(command, cwd=REPOSITORY)
    try:
        for _ in range(200):
            if (folder / "disk").exists():
                break
            time.sleep(0.05)
        yield folder / "disk"
    finally:
        subprocess.run(["umount", str(folder)], check=False)
        if server.poll() is None:
            server.send_signal(signal.SIGTERM)
        server.wait(20.0)


def run_on(system: str, tmp_path: Path, module: str, *arguments: str) -> Run:
    """Run a child on the watched disk until it has said its lines, each with the steady clock in front."""
    size, options = SYSTEMS[system]
    before, log = tmp_path / "before", tmp_path / "log"
    with before.open("wb") as image:
        image.truncate(size)
    try:
        must(f"mkfs.{system}", *options, str(before))
        with written_down(before, log, tmp_path / "served") as disk, mounted(disk, tmp_path / "top") as top:
            command = [sys.executable, "-m", module, str(top / "kept"), *arguments]
            child = subprocess.Popen(command, stdout=subprocess.PIPE, text=True, cwd=REPOSITORY)
            assert child.stdout is not None
            lines = [child.stdout.readline() for _ in range(LINES)]
            child.kill()
            child.stdout.close()
            child.wait()
    except OSError as error:
        pytest.skip(f"no file system can be watched here: {error}")
    said = [line.split(maxsplit=1) for line in lines]
    return Run(log=log, before=before, said=tuple((float(at_s), text) for at_s, text in said))


def after_each_cut(
    run: Run, tmp_path: Path, look: Callable[[Path, list[str]], float]
) -> dict[str, list[float]]:
    """Cut the power at random instants, mount what is left, look at it; what `look` found, by cache."""
    rng = random.Random(1)
    # Between two lines, each pair as likely: so a machine that is busy elsewhere does not come into it.
    chosen = sorted(rng.sample(range(LINES - 1), CUTS))
    instants = [rng.uniform(run.said[at][0], run.said[at + 1][0]) for at in chosen]
    image, copy = tmp_path / "image", tmp_path / "copy"
    shutil.copy(run.before, image)
    replayed = Replayed(image, run.log)
    found: dict[str, list[float]] = {cache: [] for cache in CACHES}
    for at_s in instants:
        replayed.advance(at_s)
        for cache in CACHES:
            must("cp", "--sparse=always", str(image), str(copy))
            replayed.cut(cache, copy, rng)
            with mounted(copy, tmp_path / "left") as left:
                found[cache].append(look(left / "kept", run.by(at_s)))
    return found


@pytest.fixture(autouse=True)
def fuse_is_there() -> None:
    pytest.importorskip("fuse")
    if not Path("/dev/fuse").exists():
        pytest.skip("there is no /dev/fuse")


@pytest.mark.parametrize("system", list(SYSTEMS))
@pytest.mark.parametrize("rate_hz", [8000, 48000])
def test_a_recording_loses_a_second_at_most(tmp_path: Path, system: str, rate_hz: int) -> None:
    found = lost_by_cuts(tmp_path, system, rate_hz, "tests.keep.killing")
    assert max(max(lost) for lost in found.values()) <= PROMISE_S


def test_a_recording_that_waits_for_no_medium_is_found_out(tmp_path: Path) -> None:
    found = lost_by_cuts(tmp_path, "ext4", 48000, "tests.benchmarks.reliability.unsynced")
    assert max(found["lost"]) > 2.0 * PROMISE_S


def lost_by_cuts(tmp_path: Path, system: str, rate_hz: int, module: str) -> dict[str, list[float]]:
    """Seconds that each cut costs a recording, by what becomes of the disk's cache."""
    run = run_on(system, tmp_path, module, str(rate_hz), "7.0", "settled")
    expected = codes_24(known(rate_hz, 120.0))
    overs: set[int] = set()

    def lost_s(kept: Path, said: list[str]) -> float:
        parts = [part for folder in kept.glob("recording *") for part in find_parts(folder)]
        codes = read_stretch(parts, 0, 2**62)
        assert np.array_equal(codes, expected[: len(codes)])
        for beside in kept.glob("recording */over *.json"):
            # An over is there whole, with its clip, or not at all.
            document = json.loads(beside.read_text())
            clip, _ = soundfile.read(beside.with_name(document["clip"]), dtype="int32")
            start_n = round(document["clip_start_s"] * rate_hz)
            assert len(clip) == round(document["clip_length_s"] * rate_hz) > 0
            assert np.array_equal(clip, expected[start_n : start_n + len(clip)])
            overs.add(document["number"])
        return max(int(said[-1]) - len(codes), 0) / rate_hz

    found = after_each_cut(run, tmp_path, lost_s)
    for cache, lost in found.items():
        print(f"\n{system} {rate_hz} Hz, cache {cache}, {CUTS} cuts: lost {np.mean(lost):.2f} s on average, "
              f"{max(lost):.2f} s at most", end="")  # fmt: skip
    print(f"; overs up to number {max(overs, default=0)} among them", end="")
    return found


@pytest.mark.parametrize("system", list(SYSTEMS))
def test_sheets_keep_every_change_that_was_made(tmp_path: Path, system: str) -> None:
    run = run_on(system, tmp_path, "tests.benchmarks.reliability.sheetwork")

    def missing(kept: Path, said: list[str]) -> float:
        promised = [line.split() for line in said]
        with Sheets(kept / "sheets.sqlite") as sheets:
            assert find_faults(sheets.base) == []
            readings = {
                reading.id: reading.value
                for visit in sheets.visits()
                for reading in sheets.sheet(visit.id).readings
            }
            files = {
                file.id: file for visit in sheets.visits() for file in sheets.sheet(visit.id).attachments
            }
            gone = 0
            for kind, number, value in promised:
                if kind == "reading":
                    gone += readings.get(int(number)) != float(value)
                if kind == "file":
                    gone += int(number) not in files
            # A row of a file that is not whole would be a promise broken, too.
            for file in files.values():
                try:
                    sheets.attachment_bytes(file)
                except FileError:
                    gone += 1
        return float(gone)

    found = after_each_cut(run, tmp_path, missing)
    changes = sum(line.startswith(("reading", "file")) for _, line in run.said)
    for cache, gone in found.items():
        print(f"\n{system}, cache {cache}, {CUTS} cuts in {changes} changes: {sum(gone):.0f} missing", end="")
    assert sum(sum(gone) for gone in found.values()) == 0
