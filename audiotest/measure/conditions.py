"""What can stand in the way of a judgement: each condition's meaning and its cure, as plain data.

The measurements put the names into ``Over.conditions``; the advice decides what each forbids.
"""

from typing import NamedTuple


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
    "compressed_source": Condition(
        "the voice was compressed before it reached the limiter",
        "talk live into the set's own microphone",
    ),
    "codec": Condition(
        "a speech codec stands between the receiver and the sound card",
        "take the audio straight from the receiver",
    ),
    "not_voice": Condition(
        "nobody talks on it",
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
