"""Figures as words: units, signs, and 'unknown' with its reason."""

from collections.abc import Iterator
from typing import TYPE_CHECKING

from audiotest.advise.wording import clips
from audiotest.records import Advice, LimitSet, LiveReading, Over, Tone, Turn

if TYPE_CHECKING:
    from audiotest.keep.recorder import RecorderState

ARROWS: dict[Turn, str] = {"raise": "▲", "keep": "●", "lower": "▼", "unknown": "?"}
ARROWS_ASCII: dict[Turn, str] = {"raise": "^", "keep": "=", "lower": "v", "unknown": "?"}
UNKNOWN = "unknown"
HUM_HEARD_DB = 40.0
"""Hum this far below the speech is good (TIA-603, hum and noise for 25 kHz channels, from memory), and
hardly heard: the card is silent about it. The document carries every hum that was measured."""


def clock(time_s: float) -> str:
    """Time in the stream as minutes and seconds.

    >>> clock(83.21)
    '1:23.2'
    """
    tenths = round(time_s * 10)
    return f"{tenths // 600}:{tenths % 600 / 10:04.1f}"


def recorded_text(state: "RecorderState", input_lost_n: int) -> str:
    """What a recording holds and where it is, or was; the input lost ``input_lost_n`` samples meanwhile."""
    lost = f", {state.lost_n} samples lost to a slow disk" if state.lost_n else ""
    lost += f", {input_lost_n} or more lost by the input" if input_lost_n else ""
    overs = f"{state.overs} over{'' if state.overs == 1 else 's'}"
    there = ", until the folder went" if state.gone else ""
    return f"{clock(state.written_s)} recorded, {overs} cut out{lost}{there}: {state.folder}"


def figure(value: float | None, unit: str, digits: int = 1, sign: str = "") -> str:
    """One figure with its unit, or 'unknown'.

    >>> figure(3.14159, "kHz", 2), figure(4.0, "dB", sign="+"), figure(None, "dB")
    ('3.14 kHz', '+4.0 dB', 'unknown')
    """
    return UNKNOWN if value is None else f"{value:{sign}.{digits}f} {unit}"


def turn_words(turn: Turn, amount: str, *, ascii_only: bool = False) -> str:
    """One control's instruction in two or three words.

    >>> turn_words("lower", "8 dB", ascii_only=True)
    'v lower 8 dB'
    """
    arrow = (ARROWS_ASCII if ascii_only else ARROWS)[turn]
    return f"{arrow} {turn} {amount}".rstrip()


def mic_amount(advice: Advice) -> str:
    """Amount for the microphone gain, empty when there is none."""
    return "" if advice.mic_gain_db is None else f"{abs(advice.mic_gain_db):.0f} dB"


def deviation_amount(advice: Advice) -> str:
    """Amount for the deviation control, empty when there is none."""
    return "" if advice.deviation_factor is None else f"× {advice.deviation_factor:.2f}"


def unknown(over: Over, topic: str) -> str:
    """Say that a figure is unknown, with the reason that the over's notes give for it."""
    for note in over.notes:
        if topic in note and ": " in note:
            return f"{UNKNOWN}: {note.split(': ', 1)[1]}"
    return UNKNOWN


def figure_rows(over: Over, limits: LimitSet, said: str = "") -> Iterator[tuple[str, str]]:
    """Label and text of every figure of an over, less the peak and the drive where `said` states them."""
    if over.tone is not None:
        yield from _tone_rows(over.tone)
    swing = _deviation_text(over, limits, said)
    if swing:
        yield "deviation", swing
    if over.kind == "voice":
        limiter = _limiter_text(over, said)
        if limiter:
            yield "limiter", limiter
        yield "level", _level_text(over)
    yield "noise", _noise_text(over)
    if over.subaudible is not None:
        deviation = over.subaudible.deviation_khz
        size = "" if deviation is None else f", deviation {1000 * deviation:.0f} Hz"
        yield "sub-audible", f"{over.subaudible.frequency_hz:.1f} Hz{size}"
    if over.end_beep is not None:
        beep = over.end_beep
        yield "end beep", f"{beep.frequency_hz:.0f} Hz for {1000 * (beep.end_s - beep.start_s):.0f} ms"


def _deviation_text(over: Over, limits: LimitSet, said: str) -> str:
    deviation = over.deviation
    if deviation.peak_khz is None:
        return unknown(over, "deviation")
    share = 100 * deviation.peak_khz / limits.deviation_khz
    parts = []
    if f"peak deviation {deviation.peak_khz:.2f} kHz" not in said:
        parts.append(f"peak {deviation.peak_khz:.2f} kHz, {share:.0f} % of ±{limits.deviation_khz:g} kHz")
    if over.kind == "voice":
        p999, rms = figure(deviation.p999_khz, "kHz", 2), figure(deviation.rms_khz, "kHz", 2)
        parts.append(f"99.9 % {p999}, RMS {rms}")
        if deviation.positive_khz is not None and deviation.negative_khz is not None:
            parts.append(f"+{deviation.positive_khz:.2f} / -{deviation.negative_khz:.2f} kHz")
    return "; ".join(parts)


def _limiter_text(over: Over, said: str) -> str:
    limiter = over.limiter
    parts = []
    if limiter.drive_db is not None:
        drive = f"drive {limiter.drive_db:+.1f} dB"
        if drive not in said:
            if limiter.drive_low_db is not None and limiter.drive_high_db is not None:
                drive += f" ({limiter.drive_low_db:+.1f} to {limiter.drive_high_db:+.1f})"
            parts.append(f"{drive} where -3 to +8 is right")
    elif limiter.drive_high_db is not None:
        parts.append(f"drive below {limiter.drive_high_db:+.1f} dB")
    else:
        return unknown(over, "drive")
    if limiter.reached is False:
        parts.append("not reached")
    elif limiter.clipped_fraction is not None:
        clipped = clips(limiter.clipped_fraction)
        parts += [] if clipped in said else [clipped]
    return "; ".join(parts)


def _level_text(over: Over) -> str:
    level = over.level
    if level.active_speech_dbfs is None:
        return unknown(over, "level")
    activity = UNKNOWN if level.activity is None else f"{100 * level.activity:.0f} %"
    return (
        f"speech {level.active_speech_dbfs:.1f} dBFS, active {activity}, crest {figure(level.crest_db, 'dB')}"
    )


def _noise_text(over: Over) -> str:
    noise = over.noise
    parts = []
    if over.kind != "carrier":
        parts.append(f"S/N {figure(noise.snr_db, 'dB')}")
    parts.append(f"quieting {figure(noise.quieting_db, 'dB')}")
    if noise.hum_hz is not None and noise.hum_db is not None and noise.hum_db < HUM_HEARD_DB:
        parts.append(f"hum {noise.hum_hz:.0f} Hz at {figure(noise.hum_db, 'dB')} below")
    elif over.kind == "carrier" and noise.hum_hz is not None:
        parts.append(f"hum {noise.hum_hz:.0f} Hz, with nothing to hold it against")
    return ", ".join(parts)


def _tone_rows(tone: Tone) -> Iterator[tuple[str, str]]:
    yield "tone", f"{tone.frequency_hz:.1f} Hz at {figure(tone.level_dbfs, 'dBFS', 2)}"
    yield (
        "SINAD",
        f"{figure(tone.sinad_db, 'dB')}, psophometric {figure(tone.sinad_psophometric_db, 'dB')}, "
        f"THD {figure(tone.thd_percent, '%', 2)}",
    )
    heard = [
        f"{order}: {level:.0f}" for order, level in enumerate(tone.harmonics_db, start=2) if level is not None
    ]
    if heard:
        yield "harmonics", f"{', '.join(heard)} dB"


def live_text(reading: LiveReading, limits: LimitSet) -> str:
    """Write the live line: state, level, deviation, SINAD on a tone or else quieting; under 80 columns."""
    state = {"waiting": "waiting", "carrier": "carrier", "speech": "talking"}[reading.state]
    over = "" if reading.over_s is None else f"{int(reading.over_s) // 60}:{int(reading.over_s) % 60:02}"
    level = "    —" if reading.level_dbfs is None else f"{reading.level_dbfs:5.1f}"
    if reading.deviation_khz is None:
        deviation = "deviation —"
    else:
        share = 100 * reading.deviation_khz / limits.deviation_khz
        deviation = f"deviation {reading.deviation_khz:4.2f} kHz {share:3.0f} %"
    if reading.overloaded:
        quality = "OVERLOAD"
    elif reading.sinad_db is not None:
        quality = f"SINAD {reading.sinad_db:4.1f} dB"
    elif reading.quieting_db is not None:
        quality = f"quieting {reading.quieting_db:4.1f} dB"
    else:
        quality = ""
    if reading.lost_n:
        quality = f"LOST {quality}".rstrip()
    parts = [f"{state:7} {over:>4}", f"{level} dBFS", deviation, quality]
    return "  ".join(part for part in parts if part)
