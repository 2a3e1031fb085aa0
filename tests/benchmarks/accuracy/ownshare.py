"""How much of a drive's error is the over's own, for ``OWN_SHARE`` of `audiotest/session/trend.py`.

``python -m tests.benchmarks.accuracy.ownshare 170`` (from the top of the repository; about five minutes on
one core) renders pairs of overs of 4 to 9 s, other words in each, of a voice in ``fixtures/speech`` over one
clipper drawn at random: in half of them nothing is turned between, in the other half the mic gain by 6 dB.
Printed is the share of the two overs' standard errors that the change of the drive is off by, and how often
the trend names a change: of those not turned, and of those turned the right and the wrong way.
"""

import argparse
from dataclasses import dataclass, replace

import numpy as np
import soxr
from numpy.typing import NDArray

from audiotest.radio.settings import Transmitter
from audiotest.radio.transmitter import active_frames, at_limiter, select
from audiotest.radio.voices import load_voice, voice_names
from audiotest.records import Over
from audiotest.session.trend import follow_trim
from audiotest.units import Z_90
from tests.benchmarks.accuracy.mouth import RATE_HZ
from tests.benchmarks.accuracy.turns import BETWEEN_S, heard, radios

Samples = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Pair:
    """One pair: the turn and the true change, what was said of it, and both overs' standard errors, in dB."""

    turn_db: float
    true_db: float
    said_db: float
    named: bool
    error_db: float


def top_db(speech: Samples, tx: Transmitter) -> float:
    """The 99.9th percentile at the limiter, without the room's noise and at unit gain."""
    v, _ = at_limiter(speech, RATE_HZ, replace(tx, ambient_db=None), np.random.default_rng(0))
    size = np.abs(select(v, active_frames(v, RATE_HZ), RATE_HZ))
    return float(20.0 * np.log10(np.quantile(size, 0.999)))


def own_error_db(over: Over) -> float:
    """The drive's standard error as stated."""
    low, high = over.limiter.drive_low_db, over.limiter.drive_high_db
    assert low is not None
    assert high is not None
    return (high - low) / (2.0 * Z_90)


def other_words(rng: np.random.Generator, name: str) -> tuple[Samples, Samples]:
    """Two stretches of a voice that have no word in common."""
    voice, rate_hz = load_voice(name)
    speech = np.asarray(soxr.resample(voice.astype(float), rate_hz, RATE_HZ))
    count_n = min(len(speech) // 2, round(rng.uniform(4, 9) * RATE_HZ))
    first_n = int(rng.integers(0, len(speech) - 2 * count_n + 1))
    second_n = len(speech) - count_n if len(speech) > 2.5 * count_n else first_n + count_n
    return speech[first_n : first_n + count_n], speech[second_n : second_n + count_n]


def pair_of(number: int) -> Pair | None:
    """One pair, or None where the drive is not compared."""
    rng = np.random.default_rng([7, number])
    first, second = other_words(rng, voice_names()[number % len(voice_names())])
    before, _, rx = radios("clipper", rng)
    turn_db = 0.0 if number % 2 == 0 else float(rng.choice([-6, 6]))
    gain_db = (before.drive_db or 0.0) - top_db(first, before)
    one = replace(before, drive_db=None, mic_gain_db=gain_db)
    other = replace(one, mic_gain_db=gain_db + turn_db)
    true_db = gain_db + turn_db + top_db(second, before) - (before.drive_db or 0.0)
    old = heard(first, one, rx, number, 0.0)
    new = None if old is None else heard(second, other, rx, number + 9000, old.end_s + BETWEEN_S)
    if old is None or new is None:
        return None
    drive = follow_trim([old, new]).drive
    if drive is None:
        return None
    both_db = float(np.hypot(own_error_db(old), own_error_db(new)))
    return Pair(turn_db, true_db, drive.change, drive.real, both_db)


def main() -> None:
    """Render, count, print."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("pairs", type=int, nargs="?", default=170)
    found = [pair for number in range(parser.parse_args().pairs) if (pair := pair_of(number)) is not None]
    off = np.array([(pair.said_db - pair.true_db) / pair.error_db for pair in found])
    still = [pair for pair in found if pair.turn_db == 0.0]
    turned = [pair for pair in found if pair.turn_db != 0.0]
    right = sum(pair.named and pair.said_db * pair.turn_db > 0.0 for pair in turned)
    wrong = sum(pair.named and pair.said_db * pair.turn_db < 0.0 for pair in turned)
    print(f"{len(found)} pairs: share {np.sqrt(np.mean(off**2)):.2f}")
    print(f"named: {sum(pair.named for pair in still)} of {len(still)} that were not turned")
    print(f"of {len(turned)} that were: {right} as turned, {wrong} the other way")


if __name__ == "__main__":
    main()
