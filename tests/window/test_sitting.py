"""The sitting without Qt: sources come and go, overs are judged, kept, discarded."""

import threading
import time
from collections.abc import Callable, Iterator
from dataclasses import replace
from datetime import datetime
from pathlib import Path

import numpy as np
import pytest
import soundfile as sf

from audiotest.errors import DeviceError
from audiotest.feeds.protocol import Source
from audiotest.feeds.simulated import SimulatedSource
from audiotest.measure import drivemodel
from audiotest.records import LimitSet
from audiotest.session.guard import hiss_level
from audiotest.standards.limits import get_limits
from audiotest.window.practice import PRACTICE_FEED, render_hiss
from audiotest.window.presenter import hiss_words
from audiotest.window.settings import Settings
from audiotest.window.sitting import Fresh, Sitting
from tests.made import flat_path


@pytest.fixture
def sitting(limits: LimitSet, tmp_path: Path) -> Iterator[Sitting]:
    made = Sitting(
        limits=limits, feed=PRACTICE_FEED, settings=Settings(clips_folder=str(tmp_path / "clips")),
        now=lambda: datetime(2026, 3, 1, 14, 5, 9),
    )  # fmt: skip
    yield made
    made.close()


def wait(sitting: Sitting, until: Callable[[], bool], seconds: float = 90.0) -> list[Fresh]:
    fresh: list[Fresh] = []
    deadline_s = time.monotonic() + seconds
    while time.monotonic() < deadline_s:
        fresh += sitting.poll()
        if until():
            return fresh
        time.sleep(0.01)
    raise AssertionError("it did not come")


def hear(sitting: Sitting, audio: np.ndarray) -> list[Fresh]:
    sitting.open_source(lambda: SimulatedSource(audio, 48000))
    return wait(sitting, lambda: sitting.trouble is not None)


def test_an_over_comes_in_with_advice_outline_and_audio(sitting: Sitting, audio: np.ndarray) -> None:
    (fresh,) = hear(sitting, audio)
    assert fresh.heard.time_of_day == "14:05:09"
    assert fresh.heard.advice.mic_gain == "lower"
    assert fresh.outline.max() > 0.1
    assert sitting.trouble == "the input has ended"
    over = fresh.heard.over
    assert len(sitting.audio(1)) == pytest.approx((over.end_s - over.start_s + 1.0) * 48000, abs=3)


def test_keep_writes_what_was_heard_and_never_over_a_file(
    sitting: Sitting, audio: np.ndarray, tmp_path: Path
) -> None:
    hear(sitting, audio)
    codes = sitting.audio(1)
    for count in (1, 2):
        sitting.keep(1)
        wait(sitting, lambda count=count: len(list((tmp_path / "clips").glob("*.flac"))) == count)
    wait(sitting, lambda: "kept as" in sitting.message)
    written = sorted((tmp_path / "clips").iterdir())
    assert [file.name for file in written] == [
        "2026-03-01 14-05-09 over 1 (2).flac", "2026-03-01 14-05-09 over 1.flac"
    ]  # fmt: skip
    for file in written:
        samples, rate_hz = sf.read(file, dtype="int16")
        assert rate_hz == 48000
        np.testing.assert_array_equal(samples, codes)


def test_keep_where_nothing_can_be_written_says_so(
    sitting: Sitting, audio: np.ndarray, tmp_path: Path
) -> None:
    hear(sitting, audio)
    (tmp_path / "clips").write_text("in the way")
    sitting.keep(1)
    wait(sitting, lambda: "choose another folder" in sitting.message)
    assert sitting.kept == {}


def test_discard_takes_the_over_and_its_audio(sitting: Sitting, audio: np.ndarray) -> None:
    hear(sitting, audio)
    sitting.discard(1)
    sitting.poll()
    assert len(sitting.log.heard) == 0
    assert len(sitting.audio(1)) == 0


def test_an_input_that_cannot_be_opened_leaves_a_word_and_a_working_sitting(
    sitting: Sitting, audio: np.ndarray
) -> None:
    def refuse() -> Source:
        raise DeviceError("line in: gone", "plug it in")

    sitting.open_source(refuse)
    wait(sitting, lambda: sitting.trouble is not None)
    assert sitting.trouble == "line in: gone: plug it in"
    assert sitting.listening is None
    assert len(hear(sitting, audio)) == 1


def test_other_limits_judge_again(sitting: Sitting, audio: np.ndarray) -> None:
    sitting.set_limits(get_limits("land-20k"))
    hear(sitting, audio)
    assert sitting.log.heard[0].advice.deviation != "lower"
    sitting.set_limits(get_limits("cept-27fm"))
    assert sitting.log.heard[0].advice.deviation == "lower"
    sitting.set_limits(get_limits("land-25k"))
    assert "25" in sitting.log.limits.id
    assert sitting.log.heard[0].advice.deviation != "lower"


def test_a_scale_is_learned_from_the_tone_that_is_heard(sitting: Sitting, tmp_path: Path) -> None:
    tone = 0.25 * np.sin(2 * np.pi * 1000 * np.arange(6 * 48000) / 48000)
    hear(sitting, tone.astype(np.float32))
    file = tmp_path / "feeds" / "bench.toml"
    sitting.learn(file, tone_hz=1000.0, deviation_khz=1.5, deemphasis_us=0.0)
    wait(sitting, file.is_file)
    wait(sitting, lambda: "full scale is 6.00 kHz" in sitting.message)
    assert sitting.input_feed is not None
    assert sitting.input_feed.scale_khz_per_fs == pytest.approx(6.0, rel=0.002)


def test_nothing_to_learn_from_says_so(sitting: Sitting, audio: np.ndarray, tmp_path: Path) -> None:
    sitting.learn(tmp_path / "f.toml", tone_hz=1000.0, deviation_khz=1.5)
    assert "choose one first" in sitting.message
    hear(sitting, np.zeros(48000 * 3, dtype=np.float32))
    sitting.learn(tmp_path / "f.toml", tone_hz=1000.0, deviation_khz=1.5)
    wait(sitting, lambda: "no clear 1000 Hz tone" in sitting.message)
    assert not (tmp_path / "f.toml").exists()


def test_close_twice_and_with_something_just_opened(limits: LimitSet, audio: np.ndarray) -> None:
    sitting = Sitting(limits=limits)
    source = SimulatedSource(audio, 48000, real_time=True)
    sitting.open_source(lambda: source)
    sitting.close()
    sitting.close()
    assert list(source.blocks()) == []


def test_a_switch_that_another_overtakes_leaves_no_input_open(sitting: Sitting, audio: np.ndarray) -> None:
    """Two settings changed at once: the first input is closed, and only the last is listened to."""
    opened: list[SimulatedSource] = []

    def make() -> SimulatedSource:
        opened.append(SimulatedSource(audio, 48000, real_time=True))
        return opened[-1]

    sitting.open_source(make)
    wait(sitting, lambda: len(opened) == 1)
    sitting.set_feed(None)
    sitting.set_limits(sitting.limits)
    wait(sitting, lambda: sitting.listening is not None and sitting.listening.source is not opened[0])
    assert sitting.listening is not None
    assert sitting.listening.source is opened[-1]
    for source in opened[:-1]:
        assert list(source.blocks()) == []
    running = [thread for thread in threading.enumerate() if thread.name == "audiotest-worker"]
    assert len(running) == 1


def test_a_moved_volume_control_is_noticed_between_overs(sitting: Sitting) -> None:
    hiss = np.tile(render_hiss(), 2)[: 6 * 48000]
    level_dbfs, steady = hiss_level(hiss[:24000], 48000)
    assert steady
    path = flat_path(ceiling_fs=0.28)
    sitting.input_feed = replace(PRACTICE_FEED, hiss_dbfs=level_dbfs, path=path)
    hear(sitting, np.concatenate([hiss, 10.0 ** (-3.0 / 20.0) * np.tile(hiss, 2)]))
    assert sitting.listening is not None
    drift = sitting.listening.hiss_drift
    assert drift.state == "moved"
    assert drift.shift_db == pytest.approx(-3.0, abs=0.4)
    assert "level moved −" in hiss_words(drift, True)
    # The limiter's ceiling moved with it.
    assert sitting.listening.feed_now is not None
    assert sitting.listening.feed_now.path == replace(path, ceiling_fs=None)


def test_the_first_over_does_not_wait_for_the_model(sitting: Sitting) -> None:
    drivemodel._model.cache_clear()
    sitting.open_source(lambda: SimulatedSource(np.zeros(4800, dtype=np.float32), 48000))
    wait(sitting, lambda: drivemodel._model.cache_info().currsize == 1)
    assert not sitting.log.heard
