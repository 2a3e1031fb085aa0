"""Pairs of overs between which a control was turned, for what `session/lastturn.py` says of them.

``python -m tests.benchmarks.accuracy.turns SET/turns.json`` (from the top of the repository; about ten
minutes on one core) renders two overs of one talker over one radio out of the voices in ``fixtures/speech``.
In a third of them each the mic gain goes down by 3 to 12 dB before a clipper, and that of a voice which was
compressed and clipped beforehand; in a sixth each it goes down before a level control, and the deviation goes
down instead. Written is, by kind, how often the advice on the first over asks for less mic gain alone, how
often the second over is then said to be cut before the mic gain, and how often it is told to lower the gain
again without and with that.
"""

import argparse
import json
from concurrent.futures import ProcessPoolExecutor
from dataclasses import replace
from pathlib import Path

import numpy as np
import soxr
from numpy.typing import NDArray

from audiotest.advise.rules import advise
from audiotest.radio.link import simulate
from audiotest.radio.settings import Receiver, SoundCard, Timing, Transmitter
from audiotest.radio.voices import load_voice, voice_names
from audiotest.records import Feed, Over
from audiotest.session.engine import Engine
from audiotest.session.lastturn import CUT_BEFORE, follow_turn
from audiotest.standards.limits import get_limits
from tests.benchmarks.accuracy.mouth import RATE_HZ, squeezed

KINDS = ("clipper", "compressed", "level control", "compressed", "clipper", "deviation")
CLIPPERS = ("hard", "soft", "lopsided", "diode")
LIMITS = get_limits("uk-27fm")
SCALE_KHZ_PER_FS, UNCERTAINTY_DB = 8.0, 0.3
BASEBAND_HZ = 96000
TIMING = Timing(before_s=0.6, bare_carrier_s=0.4, after_s=0.2, end_s=0.4)
BETWEEN_S = 3.0
SECOND_SEED = 5000

Samples = NDArray[np.float64]


def two_cuts(rng: np.random.Generator) -> tuple[Samples, Samples]:
    """Two stretches of 5 to 10 s of one voice, one after the other where it is long enough."""
    voice, rate_hz = load_voice(voice_names()[int(rng.integers(len(voice_names())))])
    speech = np.asarray(soxr.resample(voice.astype(float), rate_hz, RATE_HZ))
    count_n = round(float(rng.uniform(5.0, 10.0)) * RATE_HZ)
    first_n = int(rng.integers(0, max(len(speech) - 2 * count_n, 1)))
    second_n = min(first_n + count_n, max(len(speech) - count_n, 0))
    return speech[first_n : first_n + count_n], speech[second_n : second_n + count_n]


def radios(kind: str, rng: np.random.Generator) -> tuple[Transmitter, Transmitter, Receiver]:
    """The set before and after the turn, and the receiver."""
    limiters = ("levelling", "levelling+hard") if kind == "level control" else CLIPPERS
    lowest_db, highest_db = (-10.0, 14.0) if kind == "compressed" else (-2.0, 24.0)
    before = Transmitter(
        drive_db=float(rng.uniform(lowest_db, highest_db)), limiter=str(rng.choice(limiters)),  # type: ignore[arg-type]
        knee=float(rng.uniform(2.0, 10.0)), asymmetry=0.08,
        release_s=float(np.exp(rng.uniform(np.log(0.05), 0.0))), ceiling_khz=float(rng.uniform(1.4, 2.6)),
        splatter=("butterworth", 4, float(rng.uniform(2600.0, 3400.0))),
        preemphasis_us=float(rng.uniform(300.0, 800.0)), ambient_db=float(rng.uniform(-45.0, -20.0)),
    )  # fmt: skip
    turn_db = float(rng.uniform(3.0, 12.0))
    if kind == "deviation":
        after = replace(before, ceiling_khz=before.ceiling_khz * 10.0 ** (-turn_db / 20.0))
    else:
        after = replace(before, drive_db=(before.drive_db or 0.0) - turn_db)
    receiver = Receiver(
        cnr_db=float(rng.uniform(18.0, 45.0)), if_bandwidth_khz=float(rng.uniform(9.0, 14.0)),
        deemphasis_us=float(rng.choice([0.0, 750.0])), squelch="open" if rng.random() < 0.5 else "closed",
        highpass_hz=float(rng.uniform(100.0, 300.0)), lowpass_hz=float(rng.uniform(2800.0, 4500.0)),
        lowpass_order=3, scale_khz_per_fs=SCALE_KHZ_PER_FS,
    )  # fmt: skip
    return before, after, receiver


def heard(speech: Samples, tx: Transmitter, rx: Receiver, seed: int, start_s: float) -> Over | None:
    """The over as measured, moved to `start_s`."""
    made = simulate(speech, RATE_HZ, tx, rx, SoundCard(), TIMING, seed=seed, baseband_rate_hz=BASEBAND_HZ)
    feed = Feed(
        name="benchmark", method="tone", scale_khz_per_fs=SCALE_KHZ_PER_FS,
        scale_uncertainty_db=UNCERTAINTY_DB, deemphasis_us=rx.deemphasis_us, tone_hz=1000.0,
        deviation_khz=None, if_bandwidth_khz=rx.if_bandwidth_khz, hiss_dbfs=None, learned="",
    )  # fmt: skip
    engine = Engine(made.sample_rate_hz, feed=feed, limits=LIMITS)
    overs = engine.push(made.audio) + engine.finish()
    if not overs:
        return None
    over = max(overs, key=lambda each: each.end_s - each.start_s)
    first_s, last_s = over.speech_start_s, over.speech_end_s
    return replace(
        over, start_s=over.start_s + start_s, end_s=over.end_s + start_s,
        speech_start_s=None if first_s is None else first_s + start_s,
        speech_end_s=None if last_s is None else last_s + start_s,
    )  # fmt: skip


def said_of(number: int) -> dict[str, str | bool] | None:
    """What is said of one pair."""
    rng = np.random.default_rng([91, number])
    kind = KINDS[number % len(KINDS)]
    first, second = two_cuts(rng)
    if kind == "compressed":
        squeeze_db = float(rng.uniform(8.0, 20.0))
        first, second = (squeezed(part, squeeze_db) for part in (first, second))
    before, after, rx = radios(kind, rng)
    one = heard(first, before, rx, number, 0.0)
    other = None if one is None else heard(second, after, rx, number + SECOND_SEED, one.end_s + BETWEEN_S)
    if one is None or other is None:
        return None
    advised = advise(one, LIMITS, scale_uncertainty_db=UNCERTAINTY_DB)
    followed = follow_turn([one, other], advised).over
    return {
        "kind": kind,
        "asked": advised.mic_gain == "lower" and advised.deviation != "lower",
        "cut_before": CUT_BEFORE in followed.conditions,
        "lower_again": advise(other, LIMITS, scale_uncertainty_db=UNCERTAINTY_DB).mic_gain == "lower",
        "lower_now": advise(followed, LIMITS, scale_uncertainty_db=UNCERTAINTY_DB).mic_gain == "lower",
    }


def main() -> None:
    """Render, count, write."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("out", type=Path)
    parser.add_argument("--pairs", type=int, default=240)
    parser.add_argument("--workers", type=int, default=1)
    options = parser.parse_args()
    with ProcessPoolExecutor(options.workers) as pool:
        pairs = [pair for pair in pool.map(said_of, range(options.pairs), chunksize=4) if pair is not None]
    counts: dict[str, dict[str, int]] = {}
    for kind in dict.fromkeys(KINDS):
        part = [pair for pair in pairs if pair["kind"] == kind]
        asked = [pair for pair in part if pair["asked"]]
        counts[kind] = {"n": len(part), "asked": len(asked)} | {
            name: sum(bool(pair[name]) for pair in asked)
            for name in ("cut_before", "lower_again", "lower_now")
        }
    options.out.write_text(json.dumps(counts, indent=1) + "\n")
    print(json.dumps(counts, indent=1))


if __name__ == "__main__":
    main()
