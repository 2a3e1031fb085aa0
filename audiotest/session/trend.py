"""What turning a control did: drive and deviation of the last over against the overs before it.

A difference between two overs of one talker over one radio is surer than either figure, since the talker's
share of the error and the filters' is the same in both.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from audiotest.measure.limiter import CEILING_USED
from audiotest.records import Over
from audiotest.units import Z_90

OWN_SHARE = 0.7
"""Share of the drive's standard error that changes from over to over of one talker and radio; the rest is the
same in both and cancels. 108 pairs of overs of 4 to 9 s, other words in each, five of the voices in
``fixtures/speech`` over radios drawn at random, measured 0.67 (`tests/benchmarks/accuracy/ownshare.py`); by
voice 0.5 to 1.6, so it is sure to a quarter at best."""
LEAST_DRIVE_ERROR_DB = 1.0
PEAK_REPEATS_DB = 0.65
"""Standard error of a speech peak from over to over: other words, other peaks (20 such pairs). How far a peak
is off the truth is another figure, `measure/peakerror.py`: most of that is the same in both and cancels."""
NAMED_ODDS = 0.95
NAMED_DRIVE_DB = 1.5
NAMED_DEVIATION_DB = 0.5
ALIKE_DB = 3.0
"""A drive is said to be as it was only if its change is surely within this; else its bounds are given."""
AGREE = 0.8
"""Standard errors within which overs before the last count as one: a control turned a little since then must
not be averaged away."""
MOST_BEFORE_N = 3
LEAST_SPEECH_S = 2.0
BELOW_DB = -3.0
SIGNAL_CHANGE_DB = 10.0
FREQUENCY_CHANGE_SHARE = 0.01
LONGEST_PAUSE_S = 900.0

HINDRANCES = {
    "overload": "the sound card is overloaded",
    "weak": "the signal is weak",
    "too_quiet": "the recording is too quiet",
    "too_little_speech": "there is too little speech",
    "faint": "speech is faint",
    "if_narrow": "the receiver clips the peaks",
    "levelling": "something levels the audio",
    "compressed_source": "the voice is compressed",
    "codec": "a codec stands between",
    "drive_uncertain": "the drive cannot be told",
}
DEVIATION_STANDS = {"drive_uncertain", "compressed_source", "levelling", "codec"}
"""These spoil the drive, not the peak deviation."""
ALIKE = {"levelling", "codec"}
"""What moves the drive, and moves it alike in two overs that both have it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Change:
    """A figure before and now, and their difference with its 90 % interval, all in one unit (dB or kHz).

    ``odds`` is the probability that the difference has its sign; ``real`` whether it is worth naming.
    """

    before: float
    now: float
    change: float
    low: float
    high: float
    odds: float
    real: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Trend:
    """What changed with the last over: ``drive`` in dB, ``deviation`` (its peak) in kHz.

    None is "cannot be told", with the reason in ``reason``. ``against_n`` overs before it were the yardstick.
    ``sentence`` names what changed, or that nothing did, or how far the drive may have moved unseen; empty
    when nothing can be told.
    """

    drive: Change | None
    deviation: Change | None
    against_n: int
    sentence: str
    reason: str


def follow_trim(overs: Sequence[Over]) -> Trend:
    """Compare the last over of a session with those before it.

    Parameters
    ----------
    overs : sequence of Over
        Of one session, in order of time; the last one is judged. Carriers and tones between do not count.

    Returns
    -------
    Trend
        The yardstick is the voice over before it, averaged with up to two earlier ones that agree with it
        closely. A change is named when its sign is right nineteen times in twenty and it is 1.5 dB of drive,
        or 0.5 dB of peak deviation, or more. With both overs far below the limiter the drive is not compared
        (the peaks show the mic gain there).

    Notes
    -----
    The drive's standard error is its 90 % interval over 3.29; of that half changes from over to over, and the
    rest, which is the talker's and the filters', cancels. Another talker cannot be told from the figures of
    an over: the difference is only as sure as it is the same person who talks.
    """
    spoken = [over for over in overs if over.kind == "voice"]
    if not overs or overs[-1].kind != "voice":
        return _nothing("the last over holds no speech")
    now = spoken[-1]
    if len(spoken) < 2:
        return _nothing("there is no over before it to compare with")
    reason = _hindrance(now)
    if reason:
        return _nothing(f"last over: {reason}")
    before = [over for over in spoken[-1 - MOST_BEFORE_N : -1][::-1] if not _hindrance(over)]
    if not before or before[0] is not spoken[-2]:
        return _nothing(f"the over before: {_hindrance(spoken[-2])}")
    other = _other_conditions(before[0], now)
    if other:
        return _nothing(other)
    drive, drive_n = _drive_change(before, now)
    deviation, deviation_n = _deviation_change(before, now)
    if drive is not None and deviation is not None and deviation.real and _counts_on_ceiling(now):
        # A turned deviation control moves the ceiling, and with it what is read against it.
        return Trend(
            drive=None, deviation=deviation, against_n=deviation_n, sentence=_sentence(None, deviation),
            reason="the peaks moved: perhaps the limiter's ceiling, which the drive counts on, did too",
        )  # fmt: skip
    reason = "" if drive or deviation else "neither drive nor deviation was measured in both"
    if drive is None and deviation is not None:
        reason = "the limiter is hardly reached: the peaks show the mic gain"
        if now.limiter.drive_db is None or before[0].limiter.drive_db is None:
            reason = "the drive was not measured in both"
        elif not _alike(before[0], now):
            reason = "one of the two overs was levelled or came through a narrow link"
            if _counts_on_ceiling(before[0]) != _counts_on_ceiling(now):
                reason = "the drive counts on the limiter's ceiling in one of the two overs only"
    return Trend(
        drive=drive, deviation=deviation, against_n=max(drive_n, deviation_n),
        sentence=_sentence(drive, deviation), reason=reason,
    )  # fmt: skip


def _nothing(reason: str) -> Trend:
    return Trend(drive=None, deviation=None, against_n=0, sentence="", reason=reason)


def _hindrance(over: Over) -> str:
    """Why an over cannot be compared at all, or nothing."""
    for name in over.conditions:
        if name in HINDRANCES and name not in DEVIATION_STANDS:
            return HINDRANCES[name]
    start, end = over.speech_start_s, over.speech_end_s
    if start is None or end is None or end - start < LEAST_SPEECH_S:
        return HINDRANCES["too_little_speech"]
    return ""


def _other_conditions(before: Over, now: Over) -> str:
    """Why two overs may not be of one set, or not over one path, or nothing."""
    if now.start_s - before.end_s > LONGEST_PAUSE_S:
        return "a quarter of an hour lies between the overs"
    pairs = (
        ("sub-audible tone", before.subaudible, now.subaudible),
        ("end beep", before.end_beep, now.end_beep),
    )
    for what, one, other in pairs:
        if (
            one is not None
            and other is not None
            and abs(one.frequency_hz / other.frequency_hz - 1.0) > FREQUENCY_CHANGE_SHARE
        ):
            return f"another {what}: another set, perhaps"
    one_db, other_db = before.noise.quieting_db, now.noise.quieting_db
    if one_db is not None and other_db is not None and abs(one_db - other_db) > SIGNAL_CHANGE_DB:
        return "the signal is much stronger or weaker than before"
    return ""


# -- the figures -----------------------------------------------------------------------------------


def _drive(over: Over) -> tuple[float, float] | None:
    """Drive and what of its standard error is this over's own, in dB."""
    found = over.limiter
    if found.drive_db is None or "drive_uncertain" in over.conditions:
        return None
    if found.drive_low_db is None or found.drive_high_db is None:
        return None
    error = (found.drive_high_db - found.drive_low_db) / (2.0 * Z_90)
    return found.drive_db, max(OWN_SHARE * error, LEAST_DRIVE_ERROR_DB)


def _counts_on_ceiling(over: Over) -> bool:
    return CEILING_USED in over.notes


def _alike(before: Over, now: Over) -> bool:
    if _counts_on_ceiling(before) != _counts_on_ceiling(now):
        return False
    return {*now.conditions} & ALIKE == {*before.conditions} & ALIKE


def _drive_change(before: Sequence[Over], now: Over) -> tuple[Change | None, int]:
    last, first = _drive(now), _drive(before[0])
    if last is None or first is None or (last[0] < BELOW_DB and first[0] < BELOW_DB):
        return None, 0
    if not _alike(before[0], now):
        return None, 0
    return _compare([_drive(over) for over in before], last, NAMED_DRIVE_DB)


def _deviation_change(before: Sequence[Over], now: Over) -> tuple[Change | None, int]:
    def peak_db(over: Over) -> tuple[float, float] | None:
        khz = over.deviation.peak_khz
        return None if khz is None or khz <= 0.0 else (20.0 * math.log10(khz), PEAK_REPEATS_DB)

    last = peak_db(now)
    if last is None or peak_db(before[0]) is None:
        return None, 0
    change, count = _compare([peak_db(over) for over in before], last, NAMED_DEVIATION_DB)
    if change is None:
        return None, 0

    def khz(level_db: float) -> float:
        return float(10.0 ** (level_db / 20.0))

    start = khz(change.before)
    return Change(
        before=start, now=khz(change.now), change=khz(change.now) - start,
        low=khz(change.before + change.low) - start, high=khz(change.before + change.high) - start,
        odds=change.odds, real=change.real,
    ), count  # fmt: skip


def _compare(
    before: Sequence[tuple[float, float] | None], last: tuple[float, float], least: float
) -> tuple[Change | None, int]:
    """The last figure against the mean of those before it, latest first, as long as they agree."""
    pool: list[tuple[float, float]] = []
    for figure in before:
        if figure is None:
            break
        spread = math.hypot(figure[1], pool[0][1]) if pool else 0.0
        if pool and abs(figure[0] - pool[0][0]) > max(AGREE * spread, least):
            break
        pool.append(figure)
    if not pool:
        return None, 0
    weights = [error**-2 for _, error in pool]
    mean = sum(value * weight for (value, _), weight in zip(pool, weights, strict=True)) / sum(weights)
    error = math.hypot(last[1], sum(weights) ** -0.5)
    change = last[0] - mean
    odds = odds_above_nought(abs(change), error)
    return Change(
        before=mean, now=last[0], change=change, low=change - Z_90 * error,
        high=change + Z_90 * error, odds=odds, real=odds >= NAMED_ODDS and abs(change) >= least,
    ), len(pool)  # fmt: skip


def odds_above_nought(difference: float, error: float) -> float:
    """Probability that a difference with this standard error is above 0."""
    return 0.5 * (1.0 + math.erf(difference / error / math.sqrt(2.0)))


# -- the words -------------------------------------------------------------------------------------


def _sentence(drive: Change | None, deviation: Change | None) -> str:
    said = []
    if drive is not None and drive.real:
        said.append(f"drive {_way(drive)} {abs(drive.change):.0f} dB")
    if deviation is not None and deviation.real:
        said.append(f"deviation {_way(deviation)} {abs(deviation.change):.1f} kHz")
    if said:
        text = ", ".join(said)
        return f"{text} since the last over"
    if drive is not None and max(-drive.low, drive.high) > ALIKE_DB:
        # After a turn of 6 dB "as in the last over" would be taken for a control that does nothing.
        open_still = f"drive not surely changed ({drive.low:+.0f} to {drive.high:+.0f} dB)"
        return open_still + (", deviation as in the last over" if deviation else "")
    if drive is None and deviation is None:
        return ""
    both = "drive and deviation" if drive and deviation else "drive" if drive else "deviation"
    return f"{both} as in the last over, as far as can be told"


def _way(change: Change) -> str:
    return "up" if change.change > 0.0 else "down"
