"""The live path through a real sound server: PortAudio captures what was played, sample for sample."""

import pickle
import time
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile
from audiotest.standards.limits import get_limits
from numpy.typing import NDArray

from audiotest.advise.rules import advise
from audiotest.feeds.feedfile import save_feed
from audiotest.feeds.file import open_recording
from audiotest.radio.link import simulate_session
from audiotest.radio.settings import Receiver, SoundCard, Timing, Transmitter
from audiotest.radio.voices import load_voice
from audiotest.records import Feed, Over
from audiotest.session.engine import Engine

pytestmark = pytest.mark.soundcard

RATE_HZ = 48000
SCALE_KHZ = 8.0
FEED = Feed(
    name="bench", method="tone", scale_khz_per_fs=SCALE_KHZ, scale_uncertainty_db=0.2, deemphasis_us=750.0,
    tone_hz=1000.0, deviation_khz=1.5, if_bandwidth_khz=None, hiss_dbfs=None, learned="for the test",
)  # fmt: skip


@pytest.fixture(scope="module")
def codes() -> NDArray[np.int16]:
    """Two overs of one voice on open squelch, one driven hard, one easily; as 16-bit codes.

    Half a second of zeros leads: the server drops the first milliseconds of a stream it starts.
    """
    voice, rate_hz = load_voice("english_reading")
    overs = [
        (voice[: 3 * rate_hz], rate_hz, Transmitter(drive_db=18.0, ceiling_khz=2.0)),
        (voice[: 3 * rate_hz], rate_hz, Transmitter(drive_db=-8.0, ceiling_khz=2.0)),
    ]
    receiver = Receiver(scale_khz_per_fs=SCALE_KHZ)
    audio = simulate_session(overs, receiver, SoundCard(), Timing(), seed=11).audio
    played = np.round(np.clip(audio, -1.0, 32767 / 32768) * 32768.0).astype(np.int16)
    return np.concatenate([np.zeros(RATE_HZ // 2, dtype=np.int16), played])


def engine_on_file(path: Path) -> list[Over]:
    source = open_recording(path)
    engine = Engine(source.sample_rate_hz, feed=FEED, limits=get_limits("uk-27fm"))
    overs = [over for block in source.blocks() for over in engine.push(block.samples)] + engine.finish()
    source.close()
    return overs


def result_of(listener: Any, path: Path) -> dict[str, Any]:
    listener.stdin.close()
    listener.wait(20.0)
    found: dict[str, Any] = pickle.loads(path.read_bytes())
    return found


def wait_for(listener: Any, line: str, count: int = 1) -> None:
    for _ in range(count):
        assert listener.stdout.readline().strip() == line


def test_live_gives_what_the_file_gives(card: Any, codes: NDArray[np.int16], tmp_path: Path) -> None:
    """Second start of the same input; then the samples, the overs and the advice are those of the file."""
    played_path, caught_path = tmp_path / "played.wav", tmp_path / "caught.wav"
    soundfile.write(played_path, codes, RATE_HZ)
    feed_path, result_path = tmp_path / "bench.toml", tmp_path / "result"
    save_feed(FEED, feed_path)
    listener = card.listen("pulse", str(result_path), str(feed_path), "2")
    wait_for(listener, "listening", 2)
    player = card.play(played_path)
    assert player.wait(60.0) == 0
    time.sleep(0.7)
    live = result_of(listener, result_path)

    assert live["error"] is None
    assert "pulse" in live["names"]
    assert live["stop_s"] < 2.0
    assert live["lost_n"] == 0
    caught = live["samples"]
    start_n = int(np.flatnonzero(caught)[0]) - int(np.flatnonzero(codes)[0])
    caught_codes = caught[start_n : start_n + len(codes)] * 32768.0
    np.testing.assert_array_equal(caught_codes, codes)

    # What was captured, measured again from a file: the same in every figure.
    soundfile.write(caught_path, caught, RATE_HZ, subtype="FLOAT")
    assert engine_on_file(caught_path) == live["overs"]

    # What was played, measured from its own file: the same overs, in the time of the stream.
    played = engine_on_file(played_path)
    overs = live["overs"]
    assert len(played) == len(overs) == 2
    for one, other in zip(played, overs, strict=True):
        assert other.kind == one.kind == "voice"
        assert other.start_s - start_n / RATE_HZ == pytest.approx(one.start_s, abs=0.02)
        assert other.end_s - start_n / RATE_HZ == pytest.approx(one.end_s, abs=0.02)
        assert other.deviation.peak_khz == pytest.approx(one.deviation.peak_khz, rel=0.03)
        assert other.limiter.drive_db == pytest.approx(one.limiter.drive_db, abs=0.5)
        advices = [advise(over, get_limits("uk-27fm"), scale_uncertainty_db=0.2) for over in (one, other)]
        assert (advices[0].mic_gain, advices[0].deviation) == (advices[1].mic_gain, advices[1].deviation)


def test_a_vanished_device_is_reported_soon_and_what_was_heard_is_kept(
    card: Any, codes: NDArray[np.int16], tmp_path: Path
) -> None:
    played_path, result_path = tmp_path / "played.wav", tmp_path / "result"
    soundfile.write(played_path, codes, RATE_HZ)
    listener = card.listen("pulse", str(result_path), "-", "1")
    wait_for(listener, "listening")
    player = card.play(played_path)
    time.sleep(3.0)
    card.vanish()
    vanished_s = time.time()
    line = listener.stdout.readline()
    assert "stopped delivering" in line
    player.wait(10.0)
    live = result_of(listener, result_path)
    assert live["ended_s"] - vanished_s < 3.0
    caught = live["samples"]
    start_n = int(np.flatnonzero(caught)[0]) - int(np.flatnonzero(codes)[0])
    heard = caught[start_n:] * 32768.0
    assert len(heard) > 1.5 * RATE_HZ
    np.testing.assert_array_equal(heard, codes[: len(heard)])
    assert len(live["overs"]) == 1, "the over that was running is measured as far as it was heard"
