"""The live path through a real sound server: PortAudio captures what was played, sample for sample."""

import pickle
import time
from dataclasses import asdict
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile
from numpy.typing import NDArray
from scipy.signal import correlate

from audiotest.advise.rules import advise
from audiotest.feeds.feedfile import save_feed
from audiotest.feeds.file import open_recording
from audiotest.radio.link import laboratory_hiss, simulate_session
from audiotest.radio.settings import Receiver, SoundCard, Timing, Transmitter
from audiotest.radio.voices import load_voice
from audiotest.records import Feed, Over
from audiotest.session.engine import Engine
from audiotest.standards.limits import get_limits

pytestmark = pytest.mark.soundcard

RATE_HZ = 48000
SCALE_KHZ = 8.0
HISS_S = 5.0
"""Played first, so that the input is opened in running hiss, as at a bench."""
FEED = Feed(
    name="bench", method="tone", scale_khz_per_fs=SCALE_KHZ, scale_uncertainty_db=0.2, deemphasis_us=750.0,
    tone_hz=1000.0, deviation_khz=1.5, if_bandwidth_khz=None, hiss_dbfs=None, learned="for the test",
)  # fmt: skip


@pytest.fixture(scope="module")
def codes() -> NDArray[np.int16]:
    """Two overs of one voice on open squelch, one driven hard, one easily; as 16-bit codes."""
    voice, rate_hz = load_voice("english_reading")
    overs = [
        (voice[: 3 * rate_hz], rate_hz, Transmitter(drive_db=18.0, ceiling_khz=2.0)),
        (voice[: 3 * rate_hz], rate_hz, Transmitter(drive_db=3.0, ceiling_khz=1.2)),
    ]
    receiver = Receiver(scale_khz_per_fs=SCALE_KHZ)
    audio = simulate_session(overs, receiver, SoundCard(), Timing(), seed=11).audio
    hiss = laboratory_hiss(HISS_S, receiver, SoundCard(), seed=12).audio
    whole = np.clip(np.concatenate([hiss, audio]), -1.0, 32767 / 32768)
    return np.round(whole * 32768.0).astype(np.int16)


def start_of(codes: NDArray[np.int16], caught: NDArray[np.float32]) -> int:
    """Position in `codes` of the first sample caught; found by its hiss, which is like nothing else."""
    sample = caught[:4800].astype(np.float64)
    return int(np.argmax(correlate(codes.astype(np.float64), sample, "valid", method="fft")))


def close(value: Any) -> Any:
    """`value` with every figure in it made to equal what is the same to nine digits."""
    if isinstance(value, dict):
        return {key: close(part) for key, part in value.items()}
    return pytest.approx(value, rel=1e-9) if isinstance(value, float) else value


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


def play_and_listen(card: Any, listener: Any, path: Path) -> Any:
    """Start to play, let the stream settle, and have the listener open the input in its midst."""
    player = card.play(path)
    time.sleep(0.5)
    listener.stdin.write("go\n")
    listener.stdin.flush()
    return player


def wait_for(listener: Any, line: str, count: int = 1) -> None:
    for _ in range(count):
        assert listener.stdout.readline().strip() == line


def test_live_gives_what_the_file_gives(card: Any, codes: NDArray[np.int16], tmp_path: Path) -> None:
    """Second start of the same input; then the samples, the overs and the advice are those of the file."""
    played_path, heard_path = tmp_path / "played.wav", tmp_path / "heard.wav"
    feed_path, result_path = tmp_path / "bench.toml", tmp_path / "result"
    soundfile.write(played_path, codes, RATE_HZ)
    save_feed(FEED, feed_path)
    listener = card.listen("pulse", str(result_path), str(feed_path), "2")
    player = play_and_listen(card, listener, played_path)
    wait_for(listener, "listening", 2)
    assert player.wait(60.0) == 0
    time.sleep(0.7)
    live = result_of(listener, result_path)

    assert live["error"] is None
    assert "pulse" in live["names"]
    assert live["stop_s"] < 2.0
    assert live["lost_n"] == 0
    caught = live["samples"]
    start_n = start_of(codes, caught)
    assert start_n < (HISS_S - 0.2) * RATE_HZ, "the listener came too late"
    np.testing.assert_array_equal(caught[: len(codes) - start_n] * 32768.0, codes[start_n:])

    # The recording from where the listener came in, measured from its file: the same in every figure.
    soundfile.write(heard_path, codes[start_n:], RATE_HZ)
    overs = engine_on_file(heard_path)
    # But for the last bits: how a sum is vectorised depends on where its samples lie in memory.
    assert [close(asdict(over)) for over in live["overs"]] == [asdict(over) for over in overs]
    assert [over.kind for over in overs] == ["voice", "voice"]
    limits = get_limits("uk-27fm")
    advices = [advise(over, limits, scale_uncertainty_db=0.2) for over in overs]
    assert [advise(over, limits, scale_uncertainty_db=0.2) for over in live["overs"]] == advices


def test_a_vanished_device_is_reported_soon_and_what_was_heard_is_kept(
    card: Any, codes: NDArray[np.int16], tmp_path: Path
) -> None:
    played_path, result_path = tmp_path / "played.wav", tmp_path / "result"
    over_n = codes[round((HISS_S - 3.0) * RATE_HZ) :]
    soundfile.write(played_path, over_n, RATE_HZ)
    listener = card.listen("pulse", str(result_path), "-", "1")
    player = play_and_listen(card, listener, played_path)
    wait_for(listener, "listening")
    time.sleep(5.0)
    card.vanish()
    vanished_s = time.time()
    assert "stopped delivering" in listener.stdout.readline()
    player.wait(10.0)
    live = result_of(listener, result_path)
    assert live["ended_s"] - vanished_s < 3.0
    heard = live["samples"] * 32768.0
    start_n = start_of(over_n, live["samples"])
    assert len(heard) > 4.0 * RATE_HZ
    np.testing.assert_array_equal(heard, over_n[start_n : start_n + len(heard)])
    assert len(live["overs"]) == 1, "the over that was running is measured as far as it was heard"
