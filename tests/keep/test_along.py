"""A recording switched on while an input is heard holds what was measured: the command says it again."""

from pathlib import Path

import numpy as np
import pytest
import soundfile
from numpy.typing import NDArray

from audiotest.feeds.file import open_recording
from audiotest.keep.along import Along
from audiotest.measure.beat import quantum_n
from audiotest.radio.link import laboratory_hiss, simulate_session
from audiotest.radio.settings import Receiver, SoundCard, Timing, Transmitter
from audiotest.radio.voices import load_voice
from audiotest.records import Feed, Over
from audiotest.session.engine import Engine
from audiotest.session.worker import OverHeard
from audiotest.standards.limits import get_limits

BLOCK_N = 1024
LIMITS = get_limits("uk-27fm")
FEED = Feed(
    name="bench", method="tone", scale_khz_per_fs=8.0, scale_uncertainty_db=0.2, deemphasis_us=750.0,
    tone_hz=1000.0, deviation_khz=1.5, if_bandwidth_khz=None, hiss_dbfs=None, learned="for the test",
)  # fmt: skip


class Input:
    """As much of a source as a recording asks for."""

    name = "bench card"
    lost_n = 0

    def __init__(self, sample_rate_hz: int) -> None:
        self.sample_rate_hz = sample_rate_hz


def heard_stream(rate_hz: int) -> NDArray[np.float32]:
    """Three seconds of hiss, one over, hiss, in steps of 24 bits."""
    receiver, card = Receiver(scale_khz_per_fs=8.0), SoundCard(sample_rate_hz=rate_hz)
    voice, voice_hz = load_voice("english_reading")
    sent = (voice[: 4 * voice_hz], voice_hz, Transmitter(drive_db=12.0, ceiling_khz=2.0))
    session = simulate_session([sent], receiver, card, Timing(), seed=31)
    hiss = laboratory_hiss(3.0, receiver, card, seed=32).audio
    whole = np.clip(np.concatenate([hiss, session.audio, hiss]), -1.0, 1.0 - 2.0**-23)
    return (np.round(whole * 2.0**23) / 2.0**23).astype(np.float32)


def voice_of(overs: list[Over]) -> Over:
    (over,) = [over for over in overs if over.kind == "voice"]
    return over


def measured_again(path: Path) -> Over:
    """The over in a file, measured as the command does."""
    source = open_recording(path)
    engine = Engine(source.sample_rate_hz, feed=FEED, limits=LIMITS)
    overs = [over for block in source.blocks() for over in engine.push(block.samples)] + engine.finish()
    source.close()
    return voice_of(overs)


@pytest.mark.parametrize("rate_hz", [48000, 44100])
@pytest.mark.parametrize("before", [1, 37, 60])
def test_a_recording_begun_at_any_block_reads_as_what_was_heard(
    tmp_path: Path, rate_hz: int, before: int
) -> None:
    stream = heard_stream(rate_hz)
    engine = Engine(rate_hz, feed=FEED, limits=LIMITS)
    along = Along(tmp_path, Input(rate_hz), feed=FEED, limits=LIMITS)  # type: ignore[arg-type]
    heard: list[Over] = []
    for k, start_n in enumerate(range(0, len(stream), BLOCK_N)):
        block = stream[start_n : start_n + BLOCK_N]
        if k >= before:
            along.push(block, start_n)
        for over in engine.push(block):
            along.hear(OverHeard(over=over))
            heard.append(over)
    heard += engine.finish()
    along.close()
    part, cut = along.folder / "part 0001.flac", along.folder / "over 0001.flac"
    start_n = len(stream) - soundfile.info(part).frames
    assert start_n % quantum_n(rate_hz) == 0
    assert 0 <= start_n - before * BLOCK_N < quantum_n(rate_hz)
    live, kept, alone = voice_of(heard), measured_again(part), measured_again(cut)
    assert live.start_s - kept.start_s == pytest.approx(start_n / rate_hz, abs=1e-9)
    assert live.limiter.drive_db is not None
    assert kept.limiter == live.limiter
    assert kept.deviation == live.deviation
    assert kept.level == live.level
    assert kept.noise == live.noise
    # By itself it has half of the hiss around it, from which the receiver's high-pass is told: up to 0.2 dB
    # were seen in 66 starts of two overs.
    assert alone.end_s - alone.start_s == pytest.approx(live.end_s - live.start_s, abs=1e-9)
    assert alone.limiter.drive_db == pytest.approx(live.limiter.drive_db, abs=0.3)
    assert alone.deviation.p999_khz == pytest.approx(live.deviation.p999_khz, rel=0.03)
