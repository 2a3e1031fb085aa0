"""A hand at the receiver's volume between overs: hiss at another level is hiss, and no carrier."""

from functools import cache
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from audiotest.radio.link import Simulation, laboratory_hiss, simulate_session
from audiotest.radio.settings import Receiver, SoundCard, Timing, Transmitter
from audiotest.radio.voices import load_voice
from audiotest.session.engine import Engine
from audiotest.standards.limits import get_limits

RATE_HZ = 48000
RECEIVER = Receiver(scale_khz_per_fs=40.0, highpass_hz=200.0, cnr_db=30.0)
STANDS_S = 1.2


@cache
def two_overs(bare_carrier_s: float) -> Simulation:
    first, source_hz = load_voice("english_reading")
    second, _ = load_voice("russian_female")
    return simulate_session(
        [(first[: 3 * source_hz], source_hz, Transmitter(drive_db=8.0)),
         (second[: 3 * source_hz], source_hz, Transmitter(drive_db=4.0))],
        RECEIVER, SoundCard(), Timing(before_s=0.8, bare_carrier_s=bare_carrier_s, after_s=0.2, end_s=1.2),
        seed=3, baseband_rate_hz=96000,
    )  # fmt: skip


@cache
def more_hiss() -> NDArray[np.float64]:
    return laboratory_hiss(6.0, RECEIVER, SoundCard(), seed=9).audio


def turned(
    bare_carrier_s: float, before: int, volumes: tuple[float, ...], ramp_s: float
) -> tuple[NDArray[np.float32], list[tuple[float, float]]]:
    """The two overs with the volume moved through `volumes` in the hiss before over `before`; true edges."""
    made = two_overs(bare_carrier_s)
    cut = round((made.truth[before].start_s - 0.4) * RATE_HZ)
    parts, volume, taken, ramp_n = [made.audio[:cut]], 1.0, 0, round(ramp_s * RATE_HZ)
    for wanted in volumes:
        hiss = more_hiss()[taken : taken + ramp_n + round(STANDS_S * RATE_HZ)]
        gain = np.full(len(hiss), wanted)
        gain[:ramp_n] = np.linspace(volume, wanted, ramp_n)
        parts.append(gain * hiss)
        volume, taken = wanted, taken + len(hiss)
    parts.append(volume * made.audio[cut:])
    true = [
        (t.start_s + (k >= before) * taken / RATE_HZ, t.end_s + (k >= before) * taken / RATE_HZ)
        for k, t in enumerate(made.truth)
    ]
    return np.concatenate(parts).astype(np.float32), true


def overs_of(audio: NDArray[np.float32]) -> list[Any]:
    engine = Engine(RATE_HZ, feed=None, limits=get_limits("uk-27fm"))
    found = []
    for at in range(0, len(audio), 4096):
        found += engine.push(audio[at : at + 4096])
    return found + engine.finish()


@pytest.mark.parametrize("ramp_s", [0.0, 0.5])
@pytest.mark.parametrize("bare_carrier_s", [0.4, 0.05])
@pytest.mark.parametrize(
    ("before", "volumes"),
    [
        (0, (0.6,)), (0, (0.2,)), (0, (3.0,)), (0, (0.5, 0.25)),
        (1, (0.5,)), (1, (2.0,)), (1, (4.0,)), (1, (0.5, 1.0)), (1, (2.0, 1.0)),
    ],
)  # fmt: skip
def test_the_volume_may_be_turned_between_overs(before, volumes, bare_carrier_s, ramp_s):
    audio, true = turned(bare_carrier_s, before, volumes, ramp_s)
    overs = overs_of(audio)
    assert [over.kind for over in overs] == ["voice", "voice"]
    for over, (start_s, end_s) in zip(overs, true, strict=True):
        assert over.start_s == pytest.approx(start_s, abs=0.05)
        assert over.end_s == pytest.approx(end_s, abs=0.05)
        assert over.noise.quieting_db is not None


def test_hiss_turned_down_before_a_stream_ends_is_no_over():
    audio, _ = turned(0.4, 0, (0.4,), 0.3)
    hiss = audio[: round((0.4 + 0.3 + STANDS_S) * RATE_HZ)]
    assert overs_of(hiss) == []
