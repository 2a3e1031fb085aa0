"""Recording what the window hears: one switch, a folder for each run, and a disk that nobody waits for."""

import errno
import json
import shutil
import threading
import time
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile
from numpy.typing import NDArray

from audiotest.errors import FileError
from audiotest.keep.along import Along
from audiotest.keep.parts import PartWriter, codes_24
from audiotest.measure.beat import quantum_n
from audiotest.records import LimitSet
from audiotest.window.practice import PRACTICE_FEED
from audiotest.window.recording import LINGER_S
from audiotest.window.settings import Settings
from audiotest.window.sitting import Sitting
from tests.keep.conftest import disk_of
from tests.window.handed import RATE_HZ, Handed, heard_all, journal, listen, noise, recordings, whole
from tests.window.test_sitting import wait

pytestmark = pytest.mark.window


@pytest.fixture
def tapes(tmp_path: Path) -> Path:
    return tmp_path / "tapes"


@pytest.fixture
def sitting(limits: LimitSet, tapes: Path) -> Iterator[Sitting]:
    made = Sitting(limits=limits, feed=PRACTICE_FEED, settings=Settings(recordings_folder=str(tapes)))
    yield made
    made.close()


def stop(sitting: Sitting, source: Handed, audio: NDArray[np.float32] | None = None) -> None:
    """Switch it off and let it hear what it goes on for."""
    sitting.recording.stop()
    assert sitting.recording.line().text.startswith("● finishing")
    source.hand(noise(LINGER_S, source.sample_rate_hz) if audio is None else audio)
    wait(sitting, lambda: "recorded" in sitting.message)


def test_what_is_heard_from_the_switch_on_is_kept_with_each_over_as_the_terminal_does(
    sitting: Sitting, tapes: Path, audio: NDArray[np.float32]
) -> None:
    source = listen(sitting)
    source.hand(noise(1.6))
    heard_all(sitting, source)
    assert not tapes.exists()
    assert sitting.recording.line().text == ""
    sitting.recording.switch()
    wait(sitting, lambda: sitting.message.startswith("recording to "))
    source.hand(audio)
    heard_all(sitting, source)
    # The over that has just ended when it is switched off is still found, measured and cut.
    stop(sitting, source, np.resize(audio[: RATE_HZ // 2], round(LINGER_S * RATE_HZ)))
    (folder,) = recordings(tapes)
    assert str(folder) in sitting.message
    assert "1 over cut out" in sitting.message
    stream = whole(folder)
    np.testing.assert_array_equal(stream[: len(audio)], codes_24(audio))
    assert len(stream) == len(audio) + round(LINGER_S * RATE_HZ)
    beside = json.loads((folder / "over 0001.json").read_text())
    heard = sitting.log.heard[0]
    assert beside["over"]["limiter"]["drive_db"] == heard.over.limiter.drive_db
    assert beside["advice"]["sentence"] == heard.advice.sentence
    assert beside["feed"]["scale_khz_per_fs"] == PRACTICE_FEED.scale_khz_per_fs
    # Its place is that in what was heard, of which the recording has not the beginning.
    clip, rate_hz = soundfile.read(folder / beside["clip"], dtype="float32")
    assert rate_hz == RATE_HZ
    clip_n = round(beside["clip_start_s"] * RATE_HZ)
    assert clip_n % quantum_n(RATE_HZ) == 0
    start_n = clip_n - round(1.6 * RATE_HZ)
    np.testing.assert_array_equal(clip, audio[start_n : start_n + len(clip)])
    assert heard.over.start_s - 0.58 < beside["clip_start_s"] <= heard.over.start_s - 0.5
    assert sitting.recording.line().text == ""
    assert [line["event"] for line in journal(folder)][-1] == "stopped"


def test_an_input_that_comes_back_at_another_rate_gets_a_folder_of_its_own(
    sitting: Sitting, tapes: Path
) -> None:
    sitting.recording.start()
    assert sitting.message.startswith("recording begins when an input is listened to")
    assert sitting.recording.line().text == "○ recording waits"
    first = listen(sitting)
    first.hand(noise(1.0))
    first.unplug()
    wait(sitting, lambda: sitting.trouble is not None)
    wait(sitting, lambda: "recorded" in sitting.message)
    assert sitting.recording.line().text == "○ recording waits"
    before = {path: path.read_bytes() for path in tapes.rglob("*") if path.is_file()}
    second = listen(sitting, 44100)
    second.hand(noise(2.0, 44100)[:44100])
    second.hand(noise(2.0, 44100)[44100:], lost_n=441)
    heard_all(sitting, second)
    sitting.set_feed(None)
    wait(sitting, lambda: sitting.recording.line().text.startswith("● recording 0:00"))
    assert {path: path.read_bytes() for path in before} == before
    sitting.close()
    found = {soundfile.info(folder / "part 0001.flac").samplerate: folder for folder in recordings(tapes)[:2]}
    np.testing.assert_array_equal(whole(found[RATE_HZ]), codes_24(noise(1.0)))
    np.testing.assert_array_equal(whole(found[44100]), codes_24(noise(2.0, 44100)))
    # What the input lost is noted where it is missing; the lost samples are not in the stream.
    (lost,) = [line for line in journal(found[44100]) if line["event"] == "input lost"]
    assert lost["lost_n"] == 441
    assert lost["at_n"] == 44100
    assert len(recordings(tapes)) == 3, "another scale opened the input anew"


def test_the_simulated_set_is_not_recorded(limits: LimitSet, tapes: Path) -> None:
    with ThreadPoolExecutor(1) as renderer:
        sitting = Sitting(limits=limits, settings=Settings(recordings_folder=str(tapes)), renderer=renderer)
        try:
            sitting.recording.start()
            source = listen(sitting)
            source.hand(noise(0.5))
            heard_all(sitting, source)
            sitting.open_practice()
            wait(sitting, lambda: sitting.practice is not None)
            wait(sitting, lambda: "recorded" in sitting.message)
            assert sitting.recording.line().text == "○ recording waits"
            assert "simulated set is not recorded" in sitting.recording.line().tip
            assert len(recordings(tapes)) == 1
        finally:
            sitting.close()
    np.testing.assert_array_equal(whole(recordings(tapes)[0]), codes_24(noise(0.5)))


def test_while_the_bench_has_the_input_the_recording_waits(sitting: Sitting, tapes: Path) -> None:
    sitting.recording.start()
    listen(sitting)
    until_free = sitting.lend()
    until_free()
    wait(sitting, lambda: "recorded" in sitting.message)
    assert sitting.recording.line().text == "○ recording waits"
    sitting.take_back()
    wait(sitting, lambda: sitting.recording.line().text.startswith("● recording 0:"))
    assert len(recordings(tapes)) == 2


def test_switched_on_again_before_it_has_ended_it_goes_on_in_the_same_folder(
    sitting: Sitting, tapes: Path
) -> None:
    source = listen(sitting)
    for _ in range(3):
        # While the folder is still being made, too.
        sitting.recording.switch()
    wait(sitting, lambda: sitting.message.startswith("recording to "))
    source.hand(noise(1.0, seed=1))
    heard_all(sitting, source)
    sitting.recording.switch()
    sitting.recording.switch()
    assert sitting.message == "recording goes on"
    source.hand(noise(4.0, seed=2))
    heard_all(sitting, source)
    stop(sitting, source)
    (folder,) = recordings(tapes)
    expected = codes_24(np.concatenate([noise(1.0, seed=1), noise(4.0, seed=2), noise(LINGER_S)]))
    np.testing.assert_array_equal(whole(folder), expected)


def test_closing_finishes_the_files_and_cuts_the_running_over(
    sitting: Sitting, tapes: Path, audio: NDArray[np.float32]
) -> None:
    sitting.recording.start()
    source = listen(sitting)
    source.hand(audio[: 5 * RATE_HZ])
    heard_all(sitting, source)
    sitting.close()
    (folder,) = recordings(tapes)
    np.testing.assert_array_equal(whole(folder), codes_24(audio[: 5 * RATE_HZ]))
    assert (folder / "over 0001.json").is_file()
    assert journal(folder)[-1]["event"] == "stopped"
    assert not [thread for thread in threading.enumerate() if thread.name.startswith("audiotest-rec")]


def test_a_disk_that_fills_ends_the_recording_with_a_sentence_and_the_listening_goes_on(
    sitting: Sitting, tapes: Path, audio: NDArray[np.float32]
) -> None:
    with disk_of(tapes, "80m") as disk:
        sitting.recording.start()
        source = listen(sitting)
        source.hand(noise(2.0))
        heard_all(sitting, source)
        (disk / "somebody's").write_bytes(bytes(20 * 2**20))
        source.hand(audio)
        fresh = wait(sitting, lambda: not sitting.recording.wanted)
        assert "the disk is full: what was recorded is kept. Listening goes on." in sitting.message
        line = sitting.recording.line()
        assert line.text == "⚠ recording stopped"
        assert line.trouble
        assert "the disk is full" in line.tip
        source.hand(noise(1.0))
        fresh += wait(sitting, lambda: bool(sitting.log.heard))
        assert fresh
        (folder,) = recordings(disk)
        wait(sitting, lambda: journal(folder)[-1]["event"] == "stopped")
        kept = whole(folder)
        assert len(kept) >= 2 * RATE_HZ
        np.testing.assert_array_equal(kept, codes_24(np.concatenate([noise(2.0), audio]))[: len(kept)])
        assert soundfile.info(folder / "part 0001.flac").frames == len(kept)
        sitting.close()


def test_a_disk_without_room_is_refused_with_a_sentence(sitting: Sitting, tapes: Path) -> None:
    with disk_of(tapes, "1m"):
        listen(sitting)
        sitting.recording.switch()
        wait(sitting, lambda: not sitting.recording.wanted)
        assert "nothing can be recorded there: No space left on device" in sitting.message
        assert sitting.recording.line().text == "⚠ recording stopped"
        # Another folder, and it works.
        sitting.settings = Settings(recordings_folder=str(tapes.parent / "elsewhere"))
        sitting.recording.switch()
        wait(sitting, lambda: sitting.recording.line().text.startswith("● recording 0:"))


def test_trouble_that_comes_while_the_files_are_finished_stays_in_the_line(
    sitting: Sitting, tapes: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    sitting.recording.start()
    source = listen(sitting)
    source.hand(noise(1.0))
    heard_all(sitting, source)

    def refuse(_: PartWriter) -> None:
        raise OSError(errno.EIO, "Input/output error")

    monkeypatch.setattr(PartWriter, "close", refuse)
    sitting.recording.stop()
    source.hand(noise(LINGER_S))
    wait(sitting, lambda: "the disk refuses: Input/output error" in sitting.message)
    line = sitting.recording.line()
    assert line.text == "⚠ recording stopped"
    assert "the disk refuses" in line.tip
    # Until it is tried again.
    monkeypatch.undo()
    sitting.recording.start()
    wait(sitting, lambda: sitting.recording.line().text.startswith("● recording 0:"))


def test_what_failed_for_an_input_that_is_gone_does_not_stop_the_one_after_it(
    sitting: Sitting, tapes: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    answer = threading.Event()
    real = Along.__init__
    fails = [FileError("tapes: nothing can be recorded there", "choose another folder")]

    def hang(self: Along, *arguments: Any, **more: Any) -> None:
        if fails:
            answer.wait(60.0)
            raise fails.pop()
        real(self, *arguments, **more)

    monkeypatch.setattr(Along, "__init__", hang)
    listen(sitting)
    sitting.recording.switch()
    source = Handed()
    sitting.open_source(lambda: source)
    wait(sitting, lambda: sitting.listening is not None and sitting.listening.source is source)
    answer.set()
    wait(sitting, lambda: sitting.recording.line().text.startswith("● recording 0:"))
    assert sitting.recording.wanted
    assert not fails


def test_a_folder_that_goes_ends_the_recording_with_a_sentence(sitting: Sitting, tapes: Path) -> None:
    sitting.recording.start()
    source = listen(sitting)
    source.hand(noise(1.0))
    heard_all(sitting, source)
    wait(sitting, lambda: bool(list(tapes.rglob("part 0001.flac"))))
    shutil.rmtree(tapes)
    source.hand(noise(2.0))
    wait(sitting, lambda: not sitting.recording.wanted)
    assert sitting.message.endswith(
        ": the folder is gone, and what it held with it, unless it was moved or its disk unplugged. "
        "Listening goes on."
    )
    source.hand(noise(1.0))
    heard_all(sitting, source)
    assert sitting.trouble is None


def test_nobody_waits_for_a_disk_that_hangs(
    sitting: Sitting, tapes: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    answer = threading.Event()
    real = Along.__init__

    def hang(self: Along, *arguments: Any, **more: Any) -> None:
        answer.wait(60.0)
        real(self, *arguments, **more)

    monkeypatch.setattr(Along, "__init__", hang)
    listen(sitting)
    began_s = time.monotonic()
    sitting.recording.switch()
    sitting.poll()
    assert sitting.recording.line().text == "● recording starts"
    # Another input is opened meanwhile.
    source = Handed()
    sitting.open_source(lambda: source)
    wait(sitting, lambda: sitting.listening is not None and sitting.listening.source is source)
    assert time.monotonic() - began_s < 30.0
    assert not tapes.exists()
    answer.set()
    wait(sitting, lambda: sitting.recording.line().text.startswith("● recording 0:"))
    source.hand(noise(0.5))
    heard_all(sitting, source)
    sitting.close()
    # The one that was asked for an input that is gone holds nothing, and says so.
    lengths = sorted(len(whole(folder)) for folder in recordings(tapes))
    assert lengths == [0, RATE_HZ // 2]
    assert all(journal(folder)[-1]["event"] == "stopped" for folder in recordings(tapes))


def test_a_fault_nobody_foresaw_is_said_and_ends_the_recording(
    sitting: Sitting, monkeypatch: pytest.MonkeyPatch
) -> None:
    def fail(*_: Any, **__: Any) -> None:
        raise ZeroDivisionError("so")

    monkeypatch.setattr(Along, "__init__", fail)
    listen(sitting)
    sitting.recording.switch()
    wait(sitting, lambda: not sitting.recording.wanted)
    assert "unexpected ZeroDivisionError: so: a fault of the program. Listening goes on." in sitting.message


def test_samples_lost_to_a_slow_disk_are_named_in_the_line(
    sitting: Sitting, monkeypatch: pytest.MonkeyPatch, tapes: Path
) -> None:
    monkeypatch.setattr("audiotest.keep.recorder.LONGEST_QUEUE_S", 0.5)
    answer = threading.Event()
    real = PartWriter.write

    def hang(writer: PartWriter, codes: NDArray[np.int32]) -> None:
        answer.wait(60.0)
        real(writer, codes)

    monkeypatch.setattr(PartWriter, "write", hang)
    sitting.recording.start()
    source = listen(sitting)
    source.hand(noise(2.0))
    heard_all(sitting, source)
    answer.set()
    wait(sitting, lambda: "has gaps" in sitting.recording.line().text)
    assert sitting.recording.line().text.startswith("⚠ recording 0:0")
    assert sitting.recording.line().trouble
    assert "lost to a slow disk" in sitting.recording.line().tip
