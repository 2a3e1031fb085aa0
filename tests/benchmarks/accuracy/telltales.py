"""A few overs that anybody can render in seconds, by which it shows that the measuring has changed.

They are made of the voices in ``fixtures/speech`` and judge nothing: what the tool said of them is kept with
the figures of the rendered set, and when it says something else now, the set has to be measured again.
"""

from dataclasses import asdict
from typing import Any

from audiotest.radio.link import simulate
from audiotest.radio.settings import Receiver, SoundCard, Timing, Transmitter
from audiotest.radio.voices import load_voice
from tests.benchmarks.accuracy.listening import measured
from tests.benchmarks.accuracy.overs import rounded
from tests.benchmarks.accuracy.score import Prediction

SECONDS = 8
BASEBAND_HZ = 96000
LIMIT_KHZ = 2.5
FIGURES = ("drive_db", "low_db", "high_db", "p999_khz", "peak_khz", "rms_khz")
WORDS = ("overs", "kind", "mic_gain", "deviation", "conditions")
TIMING = Timing(before_s=0.6, bare_carrier_s=0.4, after_s=0.2, end_s=0.4)
CASES: tuple[tuple[str, Transmitter, Receiver, SoundCard], ...] = (
    ("english_reading", Transmitter(drive_db=18.0), Receiver(), SoundCard()),
    (
        "arabic_male", Transmitter(drive_db=4.0, ceiling_khz=1.3, limiter="soft"),
        Receiver(scale_khz_per_fs=3.0), SoundCard(),
    ),
    (
        "italian_male", Transmitter(drive_db=-9.0, ambient_db=-30.0),
        Receiver(squelch="closed", deemphasis_us=0.0, highpass_hz=None), SoundCard(sample_rate_hz=44100),
    ),
    (
        "english_address",
        Transmitter(drive_db=10.0, ceiling_khz=3.2, subaudible_hz=88.5, subaudible_khz=0.2),
        Receiver(cnr_db=14.0, if_bandwidth_khz=12.0), SoundCard(),
    ),
    ("german_male", Transmitter(drive_db=7.0), Receiver(), SoundCard(sample_rate_hz=8000)),
    ("russian_female", Transmitter(drive_db=12.0, limiter="diode"), Receiver(), SoundCard(gain_db=14.0)),
    ("english_reading", Transmitter(drive_db=-4.0), Receiver(scale_khz_per_fs=3.0), SoundCard(codec=True)),
    ("english_reading", Transmitter(drive_db=9.0), Receiver(scale_khz_per_fs=3.0), SoundCard(agc=True)),
    (
        "italian_male", Transmitter(drive_db=9.0, ceiling_khz=3.8), Receiver(if_bandwidth_khz=6.0),
        SoundCard(),
    ),
)  # fmt: skip


def said(number: int) -> Prediction:
    """What the tool says of one of them now."""
    voice, transmitter, receiver, card = CASES[number]
    speech, rate_hz = load_voice(voice)
    made = simulate(
        speech[: SECONDS * rate_hz], rate_hz, transmitter, receiver, card, TIMING,
        seed=number, baseband_rate_hz=BASEBAND_HZ,
    )  # fmt: skip
    record: dict[str, Any] = {
        "sample_rate_hz": made.sample_rate_hz, "limit_khz": LIMIT_KHZ,
        "receiver": asdict(receiver), "truth": asdict(made.truth[0]),
    }  # fmt: skip
    found = measured(record, made.audio)
    kept: Prediction = rounded({key: found.get(key) for key in (*FIGURES, *WORDS)})
    return kept


def all_said() -> list[Prediction]:
    """What the tool says of all of them now."""
    return [said(number) for number in range(len(CASES))]
