"""What can stand in the way of a judgement: each condition's meaning, its cure, and when it holds.

The measurements put the names into ``Over.conditions``; the advice decides what each forbids.
"""

from typing import NamedTuple

from audiotest.measure.level import BEYOND_FS
from audiotest.records import OverKind

MIN_SPEECH_S = 2.0
WEAK_SNR_DB = 10.0
TOO_QUIET_DBFS = -55.0


class Condition(NamedTuple):
    """What a condition means and what to change, both worded to stand inside a sentence."""

    meaning: str
    remedy: str


CONDITIONS: dict[str, Condition] = {
    "overload": Condition(
        "the sound card is overloaded",
        "turn the receiver's volume or the input level down",
    ),
    "beyond_full_scale": Condition(
        "its samples go beyond full scale, which no sound card gives",
        "record again at a lower level, or write the file again below full scale",
    ),
    "weak": Condition(
        "the signal is too noisy to judge",
        "get a stronger signal at the monitor receiver",
    ),
    "too_quiet": Condition(
        "the recording is too quiet to judge",
        "turn the receiver's volume or the input level up",
    ),
    "too_little_speech": Condition(
        "there is too little speech to judge",
        "talk for at least five seconds",
    ),
    "too_short": Condition(
        "the over is too short to judge",
        "talk for at least five seconds",
    ),
    "faint": Condition(
        "speech hardly rises above the noise",
        "talk louder and closer to the microphone",
    ),
    "if_narrow": Condition(
        "the receiver's IF clips the deviation peaks",
        "tune the receiver to the middle of the channel or use its wider filter",
    ),
    "levelling": Condition(
        "something levels the audio automatically",
        "switch off automatic level control in the sound card's settings and in the set",
    ),
    "level_control": Condition(
        "the set seems to level the voice rather than clip it, and the drive cannot be trusted",
        "measure with 'audiotest bench drive-by-tone', which tells a level control from a clipper",
    ),
    "compressed_source": Condition(
        "the peaks fell and the drive stayed: if the mic gain was turned, the voice is cut before it",
        "talk live and from further away, with no recording or compressor before the set",
    ),
    "codec": Condition(
        "nothing comes through above 4 kHz, as behind a phone, a network or a speech codec",
        "take the audio straight from the receiver",
    ),
    "peaky": Condition(
        "the drive reads high, and yet the peaks stand out as in speech that no limiter cuts",
        "talk again, a little longer and in a quiet place",
    ),
    "not_voice": Condition(
        "no speech heard",
        "talk into the set for at least five seconds",
    ),
    "not_speech": Condition(
        "what is heard is no speech but tones, music or noise",
        "talk into the set for at least five seconds",
    ),
    "drive_uncertain": Condition(
        "the limiter drive cannot be told",
        "talk again, a little longer and at an even distance",
    ),
}


def sound_conditions(overload_runs: int, peak_fs: float | None, kind: OverKind, seconds: float) -> list[str]:
    """Conditions that whatever is sent may meet, from the over's overload, peak, kind and length.

    >>> sound_conditions(0, 0.5, "carrier", 0.4), sound_conditions(3, 1.0, "voice", 8.0)
    (['too_short'], ['overload'])
    """
    found = ["overload"] if overload_runs > 0 else []
    if peak_fs is not None and peak_fs > BEYOND_FS:
        found.append("beyond_full_scale")
    if kind == "carrier" and seconds < MIN_SPEECH_S:
        # Half a word may be in it that does not stand out yet.
        found.append("too_short")
    elif kind != "voice":
        found.append("not_voice")
    return found


def speech_conditions(level_dbfs: float | None, snr_db: float | None, active_s: float) -> list[str]:
    """Conditions of speech, from its active level, signal-to-noise ratio and active time.

    >>> speech_conditions(-20.0, 6.0, 1.2)
    ['weak', 'too_little_speech']
    """
    found = []
    if level_dbfs is not None and level_dbfs < TOO_QUIET_DBFS:
        found.append("too_quiet")
    if snr_db is not None and snr_db < WEAK_SNR_DB:
        found.append("weak")
    if active_s < MIN_SPEECH_S:
        found.append("too_little_speech")
    return found
