"""What is typed for a setting: read alike, and refused alike, in terminal and window."""

import pytest

from audiotest.errors import RequestError
from audiotest.tones.answers import read_answer


@pytest.mark.parametrize(("typed", "value"), [("-99.5", -99.5), (" −7,5 ", -7.5), ("3e1", 30.0)])
def test_a_number_is_read_as_it_is_written_by_hand(typed: str, value: float) -> None:
    assert read_answer(typed, "generator_dbm") == value


@pytest.mark.parametrize(
    ("typed", "setting"),
    [
        ("500", "generator_dbm"), ("-2", "deviation_factor"), ("0", "deviation_factor"),
        ("81", "mic_gain_db"), ("nan", "generator_tone_hz"), ("inf", "mic_gain_db"),
        ("loud", "mic_gain_db"), ("", "squelch"),
    ],
)  # fmt: skip
def test_what_no_control_can_be_is_refused_with_a_remedy(typed: str, setting: str) -> None:
    with pytest.raises(RequestError, match="type what it is set to"):
        read_answer(typed, setting)  # type: ignore[arg-type]
