"""The words of the advice: short, for someone with both hands on the trimmers."""

from collections.abc import Iterator
from typing import Protocol

from audiotest.advise.carrier import strong_carrier
from audiotest.measure.conditions import CONDITIONS
from audiotest.records import InputReading, LimitSet, Over, Turn

UNSURE_BELOW = 0.55
LOPSIDED_RATIO = 1.25
MOST_REASONS = 3
LONG_ENOUGH_S = 5.0
SOFT_WORDS = "say a few words louder first, soft ones do not show where it stands"
UNSURE_WORDS = "say a few words louder first, these may not have shown where it stands"
"""Why the deviation control is left alone while the limiter's ceiling is not seen, for a hand on it."""
CUT_WORDS = "what is cut may be the voice itself, and not show where it stands"
LOW_PEAKS_WORDS = "with peaks this low the limiter is hardly at work"
"""Why the mic gain goes up although the drive by itself would not say so."""
TOLD_BY_PEAKS = {"if_narrow", "peaky"}
"""What rests on peaks, which an overloaded sound card cuts: no reason to look for another receiver."""
NOTED_DC_PERCENT = 10.0
"""A tenth of the range costs 1 dB of headroom; the offsets of sound cards are far smaller (common practice,
no source)."""


class Decided(Protocol):
    """What the wording needs to know of a decision on one control."""

    @property
    def turn(self) -> Turn: ...  # noqa: D102

    @property
    def amount(self) -> float | None: ...  # noqa: D102

    @property
    def reason(self) -> str: ...  # noqa: D102

    @property
    def later(self) -> bool: ...  # noqa: D102


def first_put_right(name: str) -> str:
    """Say what to put right first, for a condition that forbids any advice.

    >>> first_put_right("overload")
    "First turn the receiver's volume or the input level down: the sound card is overloaded."
    """
    condition = CONDITIONS[name]
    return f"First {condition.remedy}: {condition.meaning}."


def real_cause(over: Over, name: str) -> str:
    """Name the condition behind a condition.

    Noise and shortness have another cause when the carrier is strong or the talker was long enough: then
    it is the speech that is faint, and a stronger signal or more talk would change nothing. Under noise
    little is left of speech, and of its voicing: then the noise comes first, and the one remedy is its.
    """
    strong = strong_carrier(over)
    noisy = "weak" in over.conditions
    if name == "too_little_speech" and noisy:
        name = "weak"
    if name == "not_speech" and noisy and not strong and over.noise.quieting_db is not None:
        return "weak"
    if name == "weak" and strong:
        return "faint"
    if name == "too_little_speech" and over.speech_start_s is not None and over.speech_end_s is not None:
        # Long pauses are no speech that is too faint to be heard.
        share = 1.0 if over.level.activity is None else over.level.activity
        return "faint" if share * (over.speech_end_s - over.speech_start_s) >= LONG_ENOUGH_S else name
    return name


def sentence_for(over: Over, mic: Decided, deviation: Decided, confidence: float) -> str:
    """Say what to do with the two controls, microphone gain first."""
    if over.kind == "carrier":
        return f"Only a carrier, no speech heard: talk for at least five seconds. {_if_somebody_did(over)}"
    if over.kind == "tone":
        return _tone_sentence(deviation)
    if mic.turn == "keep" and deviation.turn == "keep":
        text = "Leave both controls: mic gain and deviation are right."
    else:
        text = f"{_mic_clause(over, mic)} {_deviation_clause(mic, deviation)}"
    if mic.turn != "unknown" and confidence < UNSURE_BELOW:
        text += " Not certain: try another over."
    return text


def _if_somebody_did(over: Over) -> str:
    """What speech that is not heard is owed to."""
    if strong_carrier(over):
        return "If somebody did, turn the mic gain well up."
    if over.noise.quieting_db is not None:
        return "If somebody did, get a stronger signal at the monitor receiver: noise hides it."
    return "If somebody did, noise hides it: get a stronger signal, or else turn the mic gain well up."


def _tone_sentence(deviation: Decided) -> str:
    if deviation.turn == "lower" and deviation.amount is not None:
        return (
            f"Deviation down, to about {deviation.amount:.2f} of now: the tone is over the limit. "
            "Mic gain needs speech."
        )
    return "A tone cannot set the two controls: talk into the set for at least five seconds."


def _mic_clause(over: Over, mic: Decided) -> str:
    if mic.turn == "unknown":
        return f"Mic gain not judged: {mic.reason}."
    if mic.turn == "keep":
        return "Leave the mic gain for now." if over.limiter.reached is False else "Leave the mic gain."
    size = "" if mic.amount is None else f", about {max(abs(mic.amount), 1.0):.0f} dB"
    if mic.turn == "raise":
        return f"Mic gain up{size}: {mic.reason or 'speech stays below the limiter'}."
    clipped = over.limiter.clipped_fraction
    if clipped is None or clipped < 0.01:
        return f"Mic gain down{size}: speech drives the limiter too hard."
    return f"Mic gain down{size}: the limiter {clips(clipped)}."


def _deviation_clause(mic: Decided, deviation: Decided) -> str:
    then = "Then deviation" if mic.turn in ("raise", "lower") else "Deviation"
    if deviation.turn == "unknown" and mic.turn == "raise":
        return "Leave the deviation until the next over."
    if deviation.later:
        return f"Do not turn the deviation yet: {deviation.reason}."
    if deviation.turn == "unknown":
        return f"Deviation not judged: {deviation.reason}."
    if deviation.turn == "keep":
        return "Leave the deviation."
    factor = "" if deviation.amount is None else f", to about {deviation.amount:.2f} of now"
    if deviation.turn == "raise":
        factor = "" if deviation.amount is None else f", to about {deviation.amount:.1f} times"
        return f"{then} up{factor}."
    return f"{then} down{factor}: the peaks are over the limit."


def because_lines(over: Over, limits: LimitSet) -> tuple[str, ...]:
    """List the evidence, one line a figure."""
    return tuple(
        line for part in (_drive_lines(over), _peak_lines(over, limits), doubt_lines(over)) for line in part
    )


def input_notes(reading: InputReading) -> tuple[str, ...]:
    """Say what is wrong with the input as a whole that no over tells, each with its cure."""
    if reading.verdict == "silent":
        return ("silence: wrong input or channel? Choose another, or look at the cable and the mute switch",)
    dc_percent = reading.dc_percent_fs
    if dc_percent is None or abs(dc_percent) < NOTED_DC_PERCENT:
        return ()
    return (
        f"a steady offset (DC) of {abs(dc_percent):.0f} % of full scale takes up room that the audio needs: "
        "put a capacitor into the line, or use another input",
    )


def reason_lines(over: Over, limits: LimitSet, sentence: str) -> tuple[str, ...]:
    """Pick the three lines of evidence, at most, that bear out an instruction and are not in its sentence.

    Drive and peak come first, since they decide; then what makes the judgement doubtful.
    """
    drive = list(_drive_lines(over))
    peak = [] if over.deviation.peak_khz is None else list(_peak_lines(over, limits))
    lines = [*drive[:1], *peak[:1], *doubt_lines(over), *drive[1:], *peak[1:]]
    return tuple(line for line in lines if line.split("; ")[0] not in sentence)[:MOST_REASONS]


def clips(fraction: float) -> str:
    """Say how much of the speech is clipped; a limiter that is reached clips some of it, however little.

    >>> clips(0.22), clips(0.003)
    ('clips 22 % of the speech', 'clips less than 1 % of the speech')
    """
    return f"clips {f'{100 * fraction:.0f}' if fraction >= 0.01 else 'less than 1'} % of the speech"


def _drive_lines(over: Over) -> Iterator[str]:
    limiter = over.limiter
    if limiter.drive_db is not None:
        interval = ""
        if limiter.drive_low_db is not None and limiter.drive_high_db is not None:
            interval = f" ({limiter.drive_low_db:+z.0f} to {limiter.drive_high_db:+z.0f} dB)"
        yield f"limiter drive {limiter.drive_db:+.1f} dB{interval}; -3 to +8 dB is right"
    elif limiter.drive_high_db is not None:
        yield f"limiter drive below {limiter.drive_high_db:+z.0f} dB; -3 to +8 dB is right"
    if limiter.reached is False:
        yield "the limiter is not reached"
    elif limiter.clipped_fraction is not None:
        yield f"the limiter {clips(limiter.clipped_fraction)}"


def _peak_lines(over: Over, limits: LimitSet) -> Iterator[str]:
    deviation = over.deviation
    if deviation.peak_khz is None:
        if over.kind != "carrier" and any("no feed scale" in note for note in over.notes):
            yield "no figure in kHz: the feed's scale has not been learned"
        return
    share = 100 * deviation.peak_khz / limits.deviation_khz
    yield (
        f"peak deviation {deviation.peak_khz:.2f} kHz, {share:.0f} % of the "
        f"±{limits.deviation_khz:g} kHz of {limits.id}"
    )
    positive, negative = deviation.positive_khz, deviation.negative_khz
    if positive and negative and max(positive, negative) > LOPSIDED_RATIO * min(positive, negative):
        yield f"lopsided: +{positive:.2f} and -{negative:.2f} kHz"


def doubt_lines(over: Over) -> Iterator[str]:
    """Name what makes the judgement doubtful or impossible, each with its cure."""
    for name in dict.fromkeys(real_cause(over, name) for name in over.conditions):
        condition = CONDITIONS.get(name)
        if "overload" in over.conditions and name in TOLD_BY_PEAKS:
            continue
        if condition is not None and not (name == "not_voice" and over.kind == "tone"):
            yield f"{condition.meaning}; {condition.remedy}"
