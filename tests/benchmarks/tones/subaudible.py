"""How surely a sub-audible tone is told in two seconds: ``python -m tests.benchmarks.tones.subaudible N``.

N overs of speech for each receiver, each with a tone and without: share told right, wrong or not at all, and
false alarms. Seeds and stretches of the voices serve no other purpose.
"""

import sys
from dataclasses import replace
from typing import Any

import numpy as np

from audiotest.measure.signalling import SubaudibleHeard, hear_subaudible
from audiotest.radio.link import simulate
from audiotest.radio.settings import Receiver, SoundCard, Timing, Transmitter
from audiotest.radio.voices import load_voice
from audiotest.standards.tones import SUBAUDIBLE_HZ

VOICES = (
    "arabic_male", "english_address", "english_reading", "german_male", "italian_male", "russian_female",
)  # fmt: skip
SECONDS = 2.0
LOW_BELOW_HZ = 90.0
AROUND = Timing(before_s=0.1, bare_carrier_s=0.1, after_s=0.1, end_s=0.1)
RECEIVERS = {
    "flat": {"deemphasis_us": 0.0, "highpass_hz": None, "lowpass_hz": None},
    "300 Hz, 2nd order": {"highpass_order": 2},
    "300 Hz, 3rd order": {"highpass_order": 3},
    "300 Hz, 4th order": {"highpass_order": 4},
    "300 Hz, 6th order": {"highpass_order": 6},
}


def over(receiver: str, seed: int) -> tuple[float, np.ndarray, np.ndarray, int]:
    """The tone, two seconds from the middle of an over with it and without, and their rate.

    Two in three tones are below 90 Hz. Hum of the set, room noise, a tone of 0.2 to 0.4 kHz (MPT 1306 for
    12.5 kHz channels) under a peak deviation of 2.4.
    """
    rng = np.random.default_rng([20261128, seed])
    voice, rate_hz = load_voice(str(rng.choice(VOICES)))
    start = rng.uniform(0.0, len(voice) / rate_hz - SECONDS - 0.6)
    part = voice[round(start * rate_hz) :][: round((SECONDS + 0.3) * rate_hz)]
    table = [hz for hz in SUBAUDIBLE_HZ if hz < LOW_BELOW_HZ] if rng.random() < 2 / 3 else SUBAUDIBLE_HZ
    sender = Transmitter(
        drive_db=float(rng.uniform(-3.0, 12.0)), ceiling_khz=2.4, preemphasis_us=750.0,
        mic_highpass_hz=float(rng.uniform(150.0, 350.0)), ambient_db=float(rng.uniform(-45.0, -25.0)),
        hum_hz=100.0, hum_khz=float(2.4 * 10 ** (rng.uniform(-65.0, -45.0) / 20)),
        subaudible_hz=float(rng.choice(table)), subaudible_khz=float(rng.uniform(0.2, 0.4)),
    )  # fmt: skip
    chain = Receiver(
        if_bandwidth_khz=9.0, cnr_db=float(rng.uniform(12.0, 35.0)), **RECEIVERS[receiver]  # type: ignore[arg-type]
    )  # fmt: skip
    card = SoundCard(noise_dbfs=float(rng.uniform(-90.0, -70.0)))
    heard = []
    for unit in (sender, replace(sender, subaudible_hz=None, subaudible_khz=0.0)):
        made = simulate(part, rate_hz, unit, chain, card, AROUND, seed=seed)
        first_n = round((AROUND.before_s + AROUND.bare_carrier_s + 0.1) * made.sample_rate_hz)
        heard.append(made.audio[first_n : first_n + round(SECONDS * made.sample_rate_hz)])
    return float(sender.subaudible_hz or 0.0), heard[0], heard[1], made.sample_rate_hz


def judged(found: SubaudibleHeard | None, true_hz: float) -> str:
    """How a reading compares with what was sent."""
    if found is None or found.nearest_hz is None:
        return "unknown"
    return "right" if found.nearest_hz == true_hz else "wrong"


def main(count: int) -> None:
    """Tell so many tones through each receiver."""
    for receiver in RECEIVERS:
        says: dict[str, list[Any]] = {"right": [], "wrong": [], "unknown": [], "false": []}
        for seed in range(count):
            true_hz, with_tone, without, rate_hz = over(receiver, seed)
            found = hear_subaudible(with_tone, rate_hz)
            says[judged(found, true_hz)].append((seed, true_hz, found))
            made_up = hear_subaudible(without, rate_hz)
            if made_up is not None and made_up.nearest_hz is not None:
                says["false"].append((seed, made_up.frequency_hz))
        off = np.array([each[2].frequency_hz - each[1] for each in says["right"]])
        print(
            f"{receiver}: {len(says['right'])} right, {len(says['wrong'])} wrong, {len(says['unknown'])} "
            f"unknown of {count}; RMS {np.sqrt(np.mean(off**2)):.3f} Hz, worst {np.max(np.abs(off)):.3f}; "
            f"without a tone {len(says['false'])} false",
            flush=True,
        )
        for kind in ("wrong", "unknown", "false"):
            for row in says[kind]:
                print(f"    {kind} {row}")


if __name__ == "__main__":
    main(int(sys.argv[1]))
