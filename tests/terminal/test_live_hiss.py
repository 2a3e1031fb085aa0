"""While listening in the terminal: a volume control that was moved is named once, in one line."""

import queue

import numpy as np
import pytest

from audiotest.feeds.simulated import SimulatedSource
from audiotest.radio.link import laboratory_hiss
from audiotest.radio.settings import Receiver, SoundCard
from audiotest.records import Feed
from audiotest.session.engine import Engine
from audiotest.session.guard import hiss_level, judge_hiss
from audiotest.session.worker import Worker
from audiotest.standards.limits import get_limits
from audiotest.terminal.live import PAUSE_ENDS_OVER_S, follow, watch_hiss
from audiotest.terminal.screen import Screen

RATE_HZ = 48000
LIMITS = get_limits("uk-27fm")


@pytest.fixture(scope="module")
def hiss() -> np.ndarray:
    return laboratory_hiss(6.0, Receiver(), SoundCard(), seed=5).audio.astype(np.float32)


def scaled(hiss: np.ndarray) -> Feed:
    return Feed(
        name="monitor", method="hiss", scale_khz_per_fs=8.0, scale_uncertainty_db=1.5, deemphasis_us=None,
        tone_hz=None, deviation_khz=None, if_bandwidth_khz=8.0,
        hiss_dbfs=hiss_level(hiss[: RATE_HZ // 2], RATE_HZ)[0], learned="invented",
    )  # fmt: skip


def listen(audio: np.ndarray, feed: Feed | None) -> None:
    source = SimulatedSource(audio, RATE_HZ)
    engine = Engine(RATE_HZ, feed=feed, limits=LIMITS, pause_ends_over_s=PAUSE_ENDS_OVER_S)
    events: queue.SimpleQueue = queue.SimpleQueue()
    watch = watch_hiss(engine, RATE_HZ, feed)
    worker = Worker(source, engine, events.put, on_samples=None if watch is None else watch.push)
    assert follow(worker, events, Screen(LIMITS, feed), watch) == 0


@pytest.mark.parametrize(("gain_db", "words"), [(-3.0, "3 dB down"), (4.0, "4 dB up"), (0.3, None)])
def test_a_moved_volume_control_is_named(capsys, hiss, gain_db, words):
    feed = scaled(hiss)
    listen(np.concatenate([hiss, 10.0 ** (gain_db / 20.0) * np.tile(hiss, 2)]), feed)
    out = " ".join(capsys.readouterr().out.split())
    if words is None:
        assert "hiss is" not in out
    else:
        assert f"The feed's hiss is {words} since the scale was learned" in out
        assert "learn it again" in out
        assert out.count("hiss is") == 1


def test_without_a_scale_there_is_nothing_to_guard(capsys, hiss):
    listen(np.concatenate([hiss, 2.0 * hiss]), None)
    assert "hiss is" not in capsys.readouterr().out


def test_it_is_said_again_only_when_it_moved_again(capsys):
    screen = Screen(LIMITS, None)
    for level in (-14.5, -11.5, -11.4, -11.5, -6.5, -14.5, -11.5):
        screen.hiss(judge_hiss([(0.5 * k, level) for k in range(3)], -14.5))
    out = " ".join(capsys.readouterr().out.split())
    assert out.count("3 dB up") == 2
    assert out.count("8 dB up") == 1
