"""From one measured over to one instruction: which control, which way, how far.

The limiter tells the two controls apart. How hard speech drives it is the microphone gain's doing; where
the peaks end once it is driven is the deviation control's. The bounds are common practice (no source).
"""

from collections.abc import Callable
from dataclasses import dataclass, replace

from audiotest.advise.carrier import SPEECH_TO_HISS_SPREAD_DB, strong_carrier
from audiotest.advise.odds import drive_given_reach, share_below
from audiotest.advise.wording import (
    CUT_WORDS,
    LOW_PEAKS_WORDS,
    SOFT_WORDS,
    UNSURE_WORDS,
    because_lines,
    first_put_right,
    real_cause,
    sentence_for,
)
from audiotest.measure.conditions import CONDITIONS
from audiotest.measure.peakerror import peak_error_db
from audiotest.measure.threshold import HISS_REFERENCE_KHZ, PEAK_OVER_HISS_DB
from audiotest.records import Advice, Feed, Limiter, LimitSet, Over, Turn
from audiotest.units import Z_90, amplitude_db

LOW_DRIVE_DB = -3.0
HIGH_DRIVE_DB = 8.0
CEILING_SEEN_DB = 0.0
"""At this drive and above the loudest syllables touch the limiter, so the peak shows the ceiling."""
CEILING_TOUCHED_DB = -1.0
"""The highest peaks stand some 3 dB above the 99.9th percentile that the drive is: here they still clip."""
TARGET_DRIVE_DB = 5.0
"""Where the microphone gain is sent: inside 0 to 8 dB, loud enough without being harsh."""
LONGEST_RAISE_DB = 12.0
"""Below the limiter the headroom is an extrapolation: one turn goes no further than this."""

LONGEST_GUESS_DB = 6.0
"""And where only low peaks say so, no further than this before the next over is heard."""

NOT_MEASURED = Limiter(
    drive_db=None, drive_low_db=None, drive_high_db=None, clipped_fraction=None, reached=None
)

LOW_PEAK_RATIO = 0.7
TARGET_PEAK_RATIO = 0.9
LARGEST_FACTOR = 4.0

OPPOSED_ODDS = 0.2
"""With both "too little" and "too much" at least this likely, no direction is given."""
MOST_CONFIDENT = 0.99
"""The odds rest on modelled errors, and no model covers every set."""
DRIVE_ERROR_90_DB = 6.0
"""Half width of the drive's 90 % interval where the measurement states none."""
UNSTATED_SCALE_DB = 1.0
"""Uncertainty of the scale, at about 90 %, where there is no feed that states one."""

GATES = (
    "overload", "beyond_full_scale", "too_quiet", "not_speech", "weak", "if_narrow", "too_little_speech",
    "too_short",
)  # fmt: skip
"""Conditions that forbid any advice, in the order in which to put them right."""
FAINTNESS = {"weak", "too_little_speech"}
"""What faint speech is taken for, and no other hindrance, when the mic gain is far too low."""
SOMETHING_SAID_S = 2.0
FAINT_SHARE = 0.8
"""What is left of odds that rest on where deviation controls usually stand, and on no limiter's mark."""
DOUBTS = {"levelling": 0.6, "level_control": 0.6, "compressed_source": 0.6, "codec": 0.6, "peaky": 0.6}
"""Conditions that leave the advice standing, with the confidence multiplied by this.

Behind G.711, G.721 and MP3 the drive of simulated overs moved by 0.6 to 1.0 dB RMS, behind GSM 06.10 by 5,
about what it errs by anyhow, behind Opus at its lowest rates by 5 to 7.
"""

TAKEN_BACK: dict[str, tuple[tuple[Turn, ...], str]] = {
    "level_control": (("keep", "raise"), "a level control hides how hard the set is driven"),
    "compressed_source": (("lower",), "the drive did not follow the last turn"),
}
"""Turns of the mic gain that a condition takes back, and why.

Of 16 simulated overs whose level control was named and that nothing else spoilt, 15 were held down by more
than 8 dB; "lower" was said of 11 of them and "keep" of 5.
"""


@dataclass(frozen=True, slots=True)
class Call:
    """The decision on one control: turn, amount (dB or factor), odds of being right, reason if unknown.

    ``later`` says of an unknown turn that the control is left alone until another over has shown more.
    """

    turn: Turn
    amount: float | None = None
    odds: float = 0.0
    reason: str = ""
    later: bool = False


def judge(over: Over, feed: Feed | None, limits: LimitSet) -> Advice:
    """Advise on an over with the uncertainty of the feed it came by."""
    return advise(over, limits, scale_uncertainty_db=uncertainty_of(feed))


def turns_deviation(feed: Feed | None, limits: LimitSet) -> Callable[[Over], bool]:
    """Whether the advice on an over has the deviation control turned, for `Engine`: it moves the ceiling."""
    return lambda over: over.kind == "voice" and judge(over, feed, limits).deviation in ("raise", "lower")


def uncertainty_of(feed: Feed | None) -> float:
    """How far a feed's scale may be off, at about 90 %."""
    return UNSTATED_SCALE_DB if feed is None else feed.scale_uncertainty_db


def advise(over: Over, limits: LimitSet, *, scale_uncertainty_db: float = UNSTATED_SCALE_DB) -> Advice:
    """Judge one over against a limit set.

    Parameters
    ----------
    over : Over
        As measured. The peak held against the limit is ``deviation.peak_khz``: a limit is on the peak,
        and the noise has been taken out of that figure already.
    limits : LimitSet
        Its deviation is the limit.
    scale_uncertainty_db : float
        How far the feed's scale may be off, at about 90 %; it moves the confidence, never the direction.

    Returns
    -------
    Advice
        ``mic_gain_db`` brings the drive to 5 dB, ``deviation_factor`` brings the peak to 90 % of the
        limit. ``confidence`` is the probability that the true drive and the true peak lie in the same
        row of the table as the measured ones: the drive's 90 % interval and the scale's are read as
        normal distributions; the smaller of the two counts; it is 0 when both are unknown.
    """
    peak_ratio = _peak_ratio(over, limits)
    spread_db = peak_error_db(over.kind, scale_uncertainty_db)
    reach = _reach(over, limits, spread_db)
    gate = _gate(over)
    limiter = over.limiter
    faint = gate in ("faint", "too_little_speech") and _faint_below_limiter(over, reach)
    if faint:
        # The limiter's marks, if any, lie under the noise: only the low peaks tell.
        limiter = NOT_MEASURED if "weak" in over.conditions or limiter.drive_db is None else limiter
        faint = _judge_weighed(over, limiter, reach).turn == "raise"
    hard = _surely_hard(over, reach) and _judge_weighed(over, limiter, reach).turn == "lower"
    hindrances = set(GATES) & set(over.conditions)
    outrun = hindrances == {"if_narrow"} and peak_ratio is not None and peak_ratio > 1.0
    gate = None if faint or hard or outrun else gate
    if gate is not None:
        return Advice(
            mic_gain="unknown", mic_gain_db=None, deviation="unknown", deviation_factor=None,
            confidence=0.0, sentence=first_put_right(gate), because=because_lines(over, limits),
        )  # fmt: skip
    if over.kind == "voice":
        mic = _judge_weighed(over, limiter, reach)
        if outrun:
            # What the receiver clips it clips on the way down too: the deviation is too high in any case.
            mic = Call("unknown", reason="the receiver's IF clips the peaks")
        if mic.turn == "raise" and peak_ratio is not None and peak_ratio > 1.0:
            # Over the limit without the limiter: the deviation control is far open, and comes first.
            mic = Call("keep", None, mic.odds)
        elif mic.turn == "raise" and faint:
            reason = "speech is faint although the carrier is strong"
            mic = replace(mic, odds=FAINT_SHARE * mic.odds, reason=reason)
        deviation = judge_deviation(_weighed(limiter, reach), mic, peak_ratio, spread_db)
        if hard:
            deviation = Call("unknown", reason=f"{_hindrance(over)} for the peaks")
        if deviation.turn == "raise" and "compressed_source" in over.conditions:
            # The marks of clipping may be the voice's own, and the ceiling far above these peaks.
            deviation = Call("unknown", reason=CUT_WORDS, later=True)
        mic = _unless_taken_back(over, mic)
    else:
        mic = Call("unknown", reason="a tone does not show the drive that speech makes")
        if over.kind == "carrier":
            mic = Call("unknown", reason="no speech heard")
        deviation = _judge_tone(over, peak_ratio, spread_db)
    stated = [call.odds for call in (mic, deviation) if call.turn != "unknown"]
    confidence = min([MOST_CONFIDENT, *stated]) if stated else 0.0
    for name, share in DOUBTS.items():
        confidence *= share if name in over.conditions else 1.0
    return Advice(
        mic_gain=mic.turn,
        mic_gain_db=mic.amount,
        deviation=deviation.turn,
        deviation_factor=deviation.amount,
        confidence=round(confidence, 3),
        sentence=sentence_for(over, mic, deviation, confidence),
        because=because_lines(over, limits),
    )


def _gate(over: Over) -> str | None:
    """Name what forbids any advice, or None."""
    gate = next((name for name in GATES if name in over.conditions), None)
    return None if gate is None else real_cause(over, gate)


def _reach(over: Over, limits: LimitSet, spread_db: float) -> tuple[float, float] | None:
    """How far the peaks reach re the limit in dB, with its spread: by the scale, or roughly by the hiss."""
    peak_ratio = _peak_ratio(over, limits)
    if peak_ratio is not None:
        return amplitude_db(peak_ratio) or 0.0, spread_db
    quieting, snr = over.noise.quieting_db, over.noise.snr_db
    if quieting is None or snr is None or over.kind != "voice":
        return None
    reference_db = amplitude_db(limits.deviation_khz / HISS_REFERENCE_KHZ) or 0.0
    return snr - quieting + PEAK_OVER_HISS_DB - reference_db, SPEECH_TO_HISS_SPREAD_DB


def _weighed(limiter: Limiter, reach: tuple[float, float] | None) -> Limiter:
    """Weigh the drive as measured with what peaks far below the limit say about it."""
    if reach is None or reach[0] >= (amplitude_db(LOW_PEAK_RATIO) or 0.0):
        return limiter
    measured = None
    if limiter.drive_db is not None:
        low, high = _interval(limiter, limiter.drive_db)
        measured = (low, limiter.drive_db, high)
    elif limiter is not NOT_MEASURED:
        return limiter
    low, drive, high = drive_given_reach(*reach, measured)
    return replace(limiter, drive_db=drive, drive_low_db=low, drive_high_db=high)


def _judge_weighed(over: Over, limiter: Limiter, reach: tuple[float, float] | None) -> Call:
    """Which way the mic gain goes by the drive and the low peaks together.

    Low peaks do not overrule a drive that speaks of a limiter at work: the deviation control may be turned
    far down. Where they alone say "up", the step is short.
    """
    weighed = _weighed(limiter, reach)
    mic = judge_mic_gain(weighed, uncertain="drive_uncertain" in over.conditions)
    measured_db = limiter.drive_db
    if mic.turn == "lower" and "peaky" in over.conditions and (reach is None or weighed is not limiter):
        # A limiter that is driven hard leaves no peaks that stand out; they may, but not low as well.
        return Call("unknown", reason=CONDITIONS["peaky"].meaning)
    if weighed is limiter or measured_db is None:
        return mic
    if mic.turn != "lower" and measured_db > HIGH_DRIVE_DB:
        return Call("unknown", reason="the drive reads high and the peaks low")
    if mic.turn == "unknown":
        return replace(mic, reason=f"with peaks this low {mic.reason}")
    if mic.turn == "raise" and measured_db >= CEILING_SEEN_DB:
        return Call("unknown", reason="the limiter seems to be at work, and yet the peaks are low")
    if mic.turn == "raise" and measured_db >= LOW_DRIVE_DB and mic.amount is not None:
        return replace(mic, amount=min(mic.amount, LONGEST_GUESS_DB), reason=LOW_PEAKS_WORDS)
    return mic


def _unless_taken_back(over: Over, mic: Call) -> Call:
    for name, (turns, reason) in TAKEN_BACK.items():
        if name in over.conditions and mic.turn in turns:
            return Call("unknown", reason=reason)
    return mic


def _faint_below_limiter(over: Over, reach: tuple[float, float] | None) -> bool:
    """Whether faint speech on a strong carrier is owed to a drive that is far too low."""
    start_s, end_s = over.speech_start_s, over.speech_end_s
    if reach is None or start_s is None or end_s is None:
        return False
    low = over.limiter.drive_low_db
    hit = low is not None and low > LOW_DRIVE_DB
    others = ({*GATES, *DOUBTS} & set(over.conditions)) - FAINTNESS
    said = end_s - start_s >= SOMETHING_SAID_S and strong_carrier(over) and not others
    drive = _weighed(NOT_MEASURED, reach).drive_db
    return said and not hit and drive is not None and drive < LOW_DRIVE_DB


def _surely_hard(over: Over, reach: tuple[float, float] | None) -> bool:
    """Whether noise or shortness hinders, and yet all of the drive's interval lies above the window.

    Peaks that lie far below the limit beyond doubt speak against it: there noise may pass for clipped speech.
    """
    if reach is not None and sum(reach) < (amplitude_db(LOW_PEAK_RATIO) or 0.0):
        return False
    low = over.limiter.drive_low_db if over.kind == "voice" else None
    hindered = set(GATES) & set(over.conditions)
    return low is not None and low > HIGH_DRIVE_DB and bool(hindered) and hindered <= FAINTNESS


def _hindrance(over: Over) -> str:
    return "too much noise" if "weak" in over.conditions else "too little speech"


def _interval(limiter: Limiter, drive: float) -> tuple[float, float]:
    """The drive's 90 % interval, wide where the measurement states none."""
    low = drive - DRIVE_ERROR_90_DB if limiter.drive_low_db is None else min(limiter.drive_low_db, drive)
    high = drive + DRIVE_ERROR_90_DB if limiter.drive_high_db is None else max(limiter.drive_high_db, drive)
    return low, high


def judge_mic_gain(limiter: Limiter, *, uncertain: bool = False) -> Call:
    """Which way the microphone gain goes, from the drive and its interval alone.

    >>> from audiotest.records import Limiter
    >>> judge_mic_gain(Limiter(drive_db=13.0, drive_low_db=10.0, drive_high_db=16.0,
    ...                        clipped_fraction=0.2, reached=True)).amount
    -8.0
    """
    if uncertain:
        return Call("unknown", reason="the limiter drive cannot be told")
    drive = limiter.drive_db
    if drive is None:
        return _judge_bounds(limiter)
    low, high = _interval(limiter, drive)
    too_little = share_below(LOW_DRIVE_DB, drive, low, high)
    too_much = 1.0 - share_below(HIGH_DRIVE_DB, drive, low, high)
    if too_little >= OPPOSED_ODDS and too_much >= OPPOSED_ODDS:
        return Call(
            "unknown", reason=f"the drive is only known to lie between {low:+z.0f} and {high:+z.0f} dB"
        )
    change = round(TARGET_DRIVE_DB - drive, 1)
    if drive < LOW_DRIVE_DB:
        return Call("raise", min(change, LONGEST_RAISE_DB), too_little)
    if drive > HIGH_DRIVE_DB:
        return Call("lower", change, too_much)
    return Call("keep", None, max(1.0 - too_little - too_much, 0.0))


def _judge_bounds(limiter: Limiter) -> Call:
    """Give a drive that is only bounded a direction when the bound clears the window."""
    low, high = limiter.drive_low_db, limiter.drive_high_db
    if high is not None and high < LOW_DRIVE_DB:
        return Call("raise", round(min(TARGET_DRIVE_DB - high, LONGEST_RAISE_DB), 1), 0.95)
    if low is not None and low > HIGH_DRIVE_DB:
        return Call("lower", round(TARGET_DRIVE_DB - low, 1), 0.95)
    return Call("unknown", reason="the limiter drive could not be measured")


def judge_deviation(limiter: Limiter, mic: Call, peak_ratio: float | None, spread_db: float) -> Call:
    """Which way the deviation control goes, from the peak over the limit and whether the ceiling was seen."""
    if peak_ratio is None:
        return Call("unknown", reason="learn the feed's scale first")
    drive_db = limiter.drive_db
    low_odds, over_odds = _ratio_odds(peak_ratio, spread_db)
    if peak_ratio > 1.0:
        return Call("lower", _factor(peak_ratio), over_odds)
    if mic.turn == "unknown":
        return Call("unknown", reason="the drive must be known first")
    if mic.turn == "raise" or (drive_db is not None and drive_db < LOW_DRIVE_DB):
        return Call("unknown", reason="the limiter's ceiling has not been seen")
    if peak_ratio >= LOW_PEAK_RATIO:
        return Call("keep", None, max(1.0 - low_odds - over_odds, 0.0))
    if drive_db is not None and drive_db < CEILING_SEEN_DB:
        return Call("unknown", reason=SOFT_WORDS, later=True)
    unseen = 0.0
    if drive_db is not None:
        unseen = share_below(CEILING_TOUCHED_DB, drive_db, *_interval(limiter, drive_db))
    if unseen > OPPOSED_ODDS:
        # Raised on a ceiling that was not seen, the control ends far over the limit.
        return Call("unknown", reason=UNSURE_WORDS, later=True)
    return Call("raise", min(_factor(peak_ratio), LARGEST_FACTOR), low_odds)


def _judge_tone(over: Over, peak_ratio: float | None, spread_db: float) -> Call:
    if over.kind == "carrier":
        return Call("unknown", reason="no speech heard")
    if peak_ratio is None:
        return Call("unknown", reason="learn the feed's scale first")
    if peak_ratio > 1.0:
        return Call("lower", _factor(peak_ratio), _ratio_odds(peak_ratio, spread_db)[1])
    return Call("unknown", reason="a tone under the limit says nothing about speech peaks")


def _peak_ratio(over: Over, limits: LimitSet) -> float | None:
    peak = over.deviation.peak_khz
    return None if peak is None or peak <= 0.0 else peak / limits.deviation_khz


def _factor(peak_ratio: float) -> float:
    # Below a thousandth of the limit the advice is the largest step anyhow.
    return float(f"{TARGET_PEAK_RATIO / max(peak_ratio, 1e-3):.3g}")


def _ratio_odds(peak_ratio: float, spread_db: float) -> tuple[float, float]:
    """Odds that the true peak is below 70 % and above 100 % of the limit."""
    level = amplitude_db(peak_ratio) or 0.0
    low, high = level - Z_90 * spread_db, level + Z_90 * spread_db
    below = share_below(amplitude_db(LOW_PEAK_RATIO) or 0.0, level, low, high)
    return below, 1.0 - share_below(0.0, level, low, high)
