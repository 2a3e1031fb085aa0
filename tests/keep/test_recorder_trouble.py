"""A recording whose disk is cut off, slow, full or taken away stops in an orderly way and says so."""

import errno
import os
import shutil
import sys
import threading
import time
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile

from audiotest.errors import FileError
from audiotest.keep.durable import new_folder
from audiotest.keep.parts import BLOCK_N, PartWriter, codes_24, read_stretch, sync_every_s
from audiotest.keep.recorder import Recorder
from audiotest.records import Over
from tests.keep.killing import kill_once, known
from tests.keep.taped import RATE_HZ, journal, wait_for, whole


def test_a_folder_that_is_taken_away_stops_it_and_nothing_is_promised(tmp_path: Path) -> None:
    recorder = Recorder(tmp_path, RATE_HZ, reserve_bytes=0)
    recorder.start()
    recorder.push(known(RATE_HZ, 1.5))
    wait_for(lambda: (recorder.folder / "part 0001.flac").exists())
    shutil.rmtree(recorder.folder)
    recorder.push(known(RATE_HZ, 3.0))
    recorder.close()
    trouble = recorder.state.trouble or ""
    assert trouble.startswith(f"{recorder.folder}: recording stopped at ")
    assert trouble.endswith(
        ": the folder is gone, and what it held with it, unless it was moved or its disk unplugged"
    )
    assert recorder.state.gone


def test_a_folder_that_goes_in_the_last_second_is_noticed_too(tmp_path: Path) -> None:
    recorder = Recorder(tmp_path, RATE_HZ, reserve_bytes=0)
    recorder.start()
    recorder.push(known(RATE_HZ, 0.5))
    wait_for(lambda: recorder.state.written_s == 0.5)
    shutil.rmtree(recorder.folder)
    recorder.close()
    assert "the folder is gone" in (recorder.state.trouble or "")


def test_a_disk_that_answers_nothing_any_more_stops_it_with_a_sentence(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    recorder = Recorder(tmp_path, RATE_HZ, reserve_bytes=0)
    recorder.start()
    recorder.push(known(RATE_HZ, 0.5))
    wait_for(lambda: recorder.state.written_s == 0.5)
    real = os.stat

    def unplugged(path: Any, **more: Any) -> os.stat_result:
        if str(path).startswith(str(recorder.folder)):
            raise OSError(errno.EIO, "Input/output error")
        return real(path, **more)

    monkeypatch.setattr(os, "stat", unplugged)
    recorder.close()
    assert "its disk unplugged" in (recorder.state.trouble or "")


@pytest.mark.parametrize("rate_hz", [8000, 48000])
def test_a_power_cut_costs_at_most_a_second(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, rate_hz: int
) -> None:
    # What fsync has returned for is on the medium. So: look, just before each sync, at what the syncs
    # before it had made safe.
    safe: list[int] = []
    lost_s: list[float] = []
    writer = PartWriter(tmp_path, rate_hz, part_s=60.0)
    real = os.fsync

    def fsync(fd: int) -> None:
        if safe and writer.parts:
            prefix = tmp_path / "prefix.flac"
            prefix.write_bytes(writer.parts[0].path.read_bytes()[: safe[-1]])
            held = read_stretch([type(writer.parts[0])(prefix, 0)], 0, 2**62)
            lost_s.append((writer.written_n - len(held)) / rate_hz)
        real(fd)
        safe.append(os.fstat(fd).st_size)

    monkeypatch.setattr("audiotest.keep.parts.os.fsync", fsync)
    for _ in range(250):
        writer.write(codes_24(known(rate_hz, 0.02)))
    writer.close()
    assert len(lost_s) > 4
    assert max(lost_s) <= 1.0
    # Not by chance: it is near what the arithmetic says.
    assert max(lost_s) >= sync_every_s(rate_hz)


@pytest.mark.parametrize("rate_hz", [8000, 48000])
def test_killed_in_the_middle_it_loses_a_second_at_most(tmp_path: Path, rate_hz: int) -> None:
    outcome = kill_once(tmp_path, rate_hz, after_s=1.7)
    assert outcome.exact
    assert outcome.kept_n > 0.5 * rate_hz
    assert outcome.lost_s <= 1.0
    # The next recording beside it leaves the first alone.
    before = {path: path.read_bytes() for path in tmp_path.rglob("*") if path.is_file()}
    recorder = Recorder(tmp_path, rate_hz, reserve_bytes=0)
    recorder.start()
    recorder.push(known(rate_hz, 1.0))
    recorder.close()
    assert before
    assert all(path.read_bytes() == content for path, content in before.items())


def test_a_medium_that_hangs_holds_up_neither_the_audio_nor_the_writing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    answer = threading.Event()
    real = os.fsync

    def hang(fd: int) -> None:
        answer.wait(60.0)
        real(fd)

    samples = known(RATE_HZ, 8.0)
    recorder = Recorder(tmp_path, RATE_HZ, part_s=3.0, reserve_bytes=0)
    monkeypatch.setattr(os, "fsync", hang)
    recorder.start()
    recorder.push(samples)
    for _ in range(600):
        if recorder.state.written_s == 8.0:
            break
        time.sleep(0.02)
    # A kill at this moment would find all but what the encoder holds back.
    held = whole(recorder.folder)
    assert len(held) >= 8.0 * RATE_HZ - BLOCK_N
    answer.set()
    recorder.close()
    assert recorder.state.trouble is None
    np.testing.assert_array_equal(whole(recorder.folder), codes_24(samples))


def test_a_disk_that_takes_nothing_for_long_costs_silence_not_time(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    answer = threading.Event()
    real = PartWriter.write

    def hang(writer: PartWriter, codes: np.ndarray) -> None:
        answer.wait(60.0)
        real(writer, codes)

    monkeypatch.setattr(PartWriter, "write", hang)
    monkeypatch.setattr("audiotest.keep.recorder.LONGEST_QUEUE_S", 2.0)
    samples = known(RATE_HZ, 6.0)
    recorder = Recorder(tmp_path, RATE_HZ, reserve_bytes=0)
    recorder.start()
    for start_n in range(0, len(samples), 800):
        recorder.push(samples[start_n : start_n + 800])
    answer.set()
    recorder.close()
    state = recorder.state
    assert state.trouble is None
    assert state.written_s == 6.0
    assert 3.0 * RATE_HZ < state.lost_n < 4.0 * RATE_HZ
    kept = whole(recorder.folder)
    np.testing.assert_array_equal(kept[: 2 * RATE_HZ], codes_24(samples)[: 2 * RATE_HZ])
    assert not kept[len(kept) - state.lost_n :].any()
    assert sum(line["lost_n"] for line in journal(recorder.folder) if line["event"] == "lost") == state.lost_n


def test_a_full_disk_stops_it_and_keeps_what_there_is(small_disk: Path, over: Over) -> None:
    rate_hz = 48000
    samples = known(rate_hz, 25.0)
    recorder = Recorder(small_disk, rate_hz, part_s=4.0, reserve_bytes=0)
    recorder.start()
    recorder.cut(over)
    for start_n in range(0, len(samples), 960):
        recorder.push(samples[start_n : start_n + 960])
        if start_n == 3 * rate_hz:
            # The over has ended long before the disk is full, as it would have in real time.
            for _ in range(1000):
                if recorder.state.overs:
                    break
                time.sleep(0.02)
    recorder.close()
    state = recorder.state
    assert state.trouble is not None
    assert "the disk is full" in state.trouble
    kept = whole(recorder.folder)
    # The encoder's last unfinished frame is all that may be missing of what counted as written.
    assert state.written_s - len(kept) / rate_hz <= 1.0
    assert len(kept) > 4 * rate_hz
    np.testing.assert_array_equal(kept, codes_24(samples)[: len(kept)])
    assert (recorder.folder / "over 0001.flac").is_file()
    # Further audio is refused in silence; the reason stays.
    recorder.push(samples[:800])
    assert recorder.state.trouble == state.trouble


def test_a_reserve_leaves_room_on_the_disk(small_disk: Path) -> None:
    rate_hz = 48000
    samples = known(rate_hz, 25.0)
    recorder = Recorder(small_disk, rate_hz, reserve_bytes=400_000)
    recorder.start()
    for start_n in range(0, len(samples), 960):
        recorder.push(samples[start_n : start_n + 960])
    recorder.close()
    assert "the disk is full" in (recorder.state.trouble or "")
    assert journal(recorder.folder)[-1]["why"] == "the disk is full"
    part = recorder.folder / "part 0001.flac"
    # Stopped in good order: the part is finished, its length stands in its header.
    assert soundfile.info(part).frames == len(whole(recorder.folder))
    free = os.statvfs(small_disk)
    assert free.f_bavail * free.f_frsize > 300_000


def test_a_disk_without_room_is_refused_at_the_start(small_disk: Path) -> None:
    with pytest.raises(FileError, match="No space left"):
        Recorder(small_disk, RATE_HZ, reserve_bytes=2**30)
    assert list(small_disk.iterdir()) == [], "no empty folder for each time it was tried"


@pytest.mark.skipif(sys.platform == "win32", reason="names are text there")
def test_a_folder_whose_name_is_no_text_is_refused_before_an_over_is_lost_for_it(tmp_path: Path) -> None:
    parent = tmp_path / os.fsdecode(b"M\xfcller")
    with pytest.raises(FileError, match="not written in UTF-8") as refused:
        Recorder(parent, 48000)
    # It can be shown on any screen.
    str(refused.value).encode()
    assert not parent.exists()


def test_a_file_in_the_way_is_named(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    with pytest.raises(FileError, match="nothing can be recorded there"):
        Recorder(tmp_path / "file", RATE_HZ)


def test_a_new_folder_and_all_above_it_are_entered_on_the_medium(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    synced: list[Path] = []
    monkeypatch.setattr("audiotest.keep.durable.sync_folder", synced.append)
    folder = new_folder(tmp_path / "a" / "b", "recording")
    # A folder's name stands in the folder above it: each of those has to be synced.
    assert folder.is_dir()
    assert set(synced) == {tmp_path, tmp_path / "a", tmp_path / "a" / "b"}
