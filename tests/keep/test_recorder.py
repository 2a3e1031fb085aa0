"""The recorder keeps every sample, and cuts overs where they are."""

import json
from datetime import datetime, timedelta
from pathlib import Path

import numpy as np
import pytest
import soundfile

from audiotest.advise.rules import advise
from audiotest.feeds.simulated import SimulatedSource
from audiotest.keep.parts import PartWriter, codes_24, find_parts, read_stretch
from audiotest.keep.recorder import Recorder
from audiotest.radio.link import simulate
from audiotest.radio.settings import SoundCard, Timing, Transmitter
from audiotest.radio.voices import load_voice
from audiotest.records import Over
from audiotest.session.engine import Engine
from audiotest.session.worker import OverHeard, Worker, WorkerEvent
from audiotest.standards.limits import get_limits
from tests.keep.benchjob import FEED, RECEIVER, SETTINGS
from tests.keep.killing import known
from tests.keep.taped import RATE_HZ, WHEN, journal, whole


@pytest.mark.parametrize("block_n", [160, 4096, 30000])
def test_every_sample_comes_back_exactly(tmp_path: Path, block_n: int) -> None:
    samples = known(RATE_HZ, 6.3)
    recorder = Recorder(tmp_path, RATE_HZ, part_s=2.0, reserve_bytes=0)
    recorder.start()
    for start_n in range(0, len(samples), block_n):
        recorder.push(samples[start_n : start_n + block_n])
    recorder.close()
    assert recorder.state.trouble is None
    assert [part.start_n for part in find_parts(recorder.folder)] == [0, 16000, 32000, 48000]
    np.testing.assert_array_equal(whole(recorder.folder), codes_24(samples))
    # A reader that knows nothing of parts reads them too.
    first, rate_hz = soundfile.read(recorder.folder / "part 0001.flac", dtype="float32")
    assert rate_hz == RATE_HZ
    np.testing.assert_array_equal(first, samples[:16000])


def test_samples_that_are_no_numbers_do_not_stop_it(tmp_path: Path) -> None:
    recorder = Recorder(tmp_path, RATE_HZ, reserve_bytes=0)
    recorder.start()
    recorder.push(np.array([0.5, np.nan, np.inf, -np.inf] * 2000, dtype=np.float32))
    recorder.close()
    assert recorder.state.trouble is None
    assert whole(recorder.folder)[:4].tolist() == [2**30, 0, 2**31 - 256, -(2**31)]


def test_an_over_is_cut_with_half_a_second_around_it(tmp_path: Path, over: Over) -> None:
    samples = known(RATE_HZ, 5.0)
    recorder = Recorder(tmp_path, RATE_HZ, part_s=1.0, reserve_bytes=0, limits_id="uk-27fm", now=lambda: WHEN)
    recorder.start()
    recorder.push(samples[: 2 * RATE_HZ])
    recorder.cut(over)
    recorder.push(samples[2 * RATE_HZ :])
    recorder.close()
    beside = json.loads((recorder.folder / "over 0001.json").read_text())
    clip, _ = soundfile.read(recorder.folder / beside["clip"], dtype="float32")
    np.testing.assert_array_equal(clip, samples[round(0.48 * RATE_HZ) : round(2.5 * RATE_HZ)])
    # From the engine's last decision before it, which falls every 80 ms.
    assert beside["clip_start_s"] == 0.48
    assert beside["over"]["limiter"]["drive_db"] == 13.1
    assert beside["limits"] == "uk-27fm"
    events = [line["event"] for line in journal(recorder.folder)]
    assert events.count("over") == 1
    assert events[0] == "started"
    assert events[-1] == "stopped"


def test_an_over_at_the_very_end_is_cut_with_what_there_is(tmp_path: Path, over: Over) -> None:
    samples = known(RATE_HZ, 2.2)
    recorder = Recorder(tmp_path, RATE_HZ, reserve_bytes=0)
    recorder.start(start_n=4000)
    recorder.push(samples)
    recorder.cut(over)
    recorder.close()
    clip, _ = soundfile.read(recorder.folder / "over 0001.flac", dtype="float32")
    # The recording began half a second after the stream did.
    np.testing.assert_array_equal(clip, samples[: 2 * RATE_HZ])


def test_an_over_that_ended_before_the_recording_began_is_left_out(tmp_path: Path, over: Over) -> None:
    recorder = Recorder(tmp_path, RATE_HZ, reserve_bytes=0)
    recorder.start(start_n=round(2.1 * RATE_HZ))
    recorder.cut(over)
    recorder.push(known(RATE_HZ, 2.0))
    recorder.close()
    assert recorder.state.trouble is None
    assert recorder.state.overs == 0
    assert not list(recorder.folder.glob("over *"))
    assert len(whole(recorder.folder)) == 2 * RATE_HZ


def test_before_the_first_sample_there_is_nothing_to_read(tmp_path: Path) -> None:
    assert len(read_stretch(find_parts(tmp_path), 0, RATE_HZ)) == 0


def test_a_second_recording_in_the_same_second_gets_its_own_folder(tmp_path: Path) -> None:
    folders = []
    for _ in range(3):
        recorder = Recorder(tmp_path, RATE_HZ, reserve_bytes=0, now=lambda: WHEN)
        recorder.start()
        recorder.push(known(RATE_HZ, 0.5))
        recorder.close()
        folders.append(recorder.folder)
    assert len(set(folders)) == 3
    assert all(len(whole(folder)) == RATE_HZ // 2 for folder in folders)


def test_parts_are_never_written_over(tmp_path: Path) -> None:
    (tmp_path / "part 0001.flac").write_bytes(b"somebody's")
    with pytest.raises(FileExistsError):
        PartWriter(tmp_path, RATE_HZ).write(codes_24(known(RATE_HZ, 1.0)))
    assert (tmp_path / "part 0001.flac").read_bytes() == b"somebody's"


def test_a_clock_that_is_set_back_is_noted_and_harms_nothing(tmp_path: Path, over: Over) -> None:
    # The wall goes back an hour while the steady clock goes on; each reading of a clock takes 10 ms.
    readings = {"wall": 0, "steady": 0}

    def now() -> datetime:
        readings["wall"] += 1
        back = timedelta(hours=-1) if readings["wall"] > 8 else timedelta()
        return WHEN + timedelta(milliseconds=10 * readings["wall"]) + back

    def steady_s() -> float:
        readings["steady"] += 1
        return 0.01 * readings["steady"]

    samples = known(RATE_HZ, 12.0)
    recorder = Recorder(tmp_path, RATE_HZ, part_s=2.0, reserve_bytes=0, now=now, steady_s=steady_s)
    recorder.start()
    recorder.cut(over)
    for start_n in range(0, len(samples), RATE_HZ):
        recorder.push(samples[start_n : start_n + RATE_HZ])
    recorder.close()
    moved = [line for line in journal(recorder.folder) if line["event"] == "clock"]
    assert len(moved) == 1
    assert moved[0]["moved_s"] == pytest.approx(-3600.0, abs=1.0)
    np.testing.assert_array_equal(whole(recorder.folder), codes_24(samples))
    assert (recorder.folder / "over 0001.flac").is_file()


def test_a_run_through_the_worker_keeps_each_over_where_it_was(tmp_path: Path) -> None:
    drive_db, ceiling_khz = SETTINGS["found"]
    voice, voice_hz = load_voice("english_reading")
    radio = simulate(
        voice[: 5 * voice_hz], voice_hz, Transmitter(drive_db=drive_db, ceiling_khz=ceiling_khz), RECEIVER,
        SoundCard(sample_rate_hz=16000), Timing(before_s=1.0, end_s=1.0), seed=3,
    )  # fmt: skip
    limits = get_limits("uk-27fm")
    source = SimulatedSource(radio.audio, radio.sample_rate_hz)
    recorder = Recorder(tmp_path, source.sample_rate_hz, feed=FEED, limits_id=limits.id, reserve_bytes=0)
    overs: list[Over] = []

    def on_event(event: WorkerEvent) -> None:
        if isinstance(event, OverHeard):
            overs.append(event.over)
            recorder.cut(event.over, advise(event.over, limits))

    engine = Engine(source.sample_rate_hz, feed=FEED, limits=limits)
    worker = Worker(source, engine, on_event, on_samples=recorder.push)
    recorder.start()
    worker.start()
    assert worker.join(120.0)
    recorder.close()
    assert recorder.state.trouble is None
    assert recorder.state.overs == len(overs) == 1
    beside = json.loads((recorder.folder / "over 0001.json").read_text())
    clip, _ = soundfile.read(recorder.folder / beside["clip"], dtype="float32")
    start_n = round(beside["clip_start_s"] * 16000)
    np.testing.assert_array_equal(clip, radio.audio.astype(np.float32)[start_n : start_n + len(clip)])
    assert overs[0].start_s - 0.58 < beside["clip_start_s"] <= overs[0].start_s - 0.5
    # The clip by itself is the same over, in less hiss.
    again = Engine(16000, feed=FEED, limits=limits)
    (found,) = [*again.push(clip), *again.finish()]
    assert found.end_s - found.start_s == pytest.approx(overs[0].end_s - overs[0].start_s, abs=0.05)
    assert advise(found, limits).mic_gain == beside["advice"]["mic_gain"] == "lower"
    assert beside["feed"]["scale_khz_per_fs"] == 8.0
