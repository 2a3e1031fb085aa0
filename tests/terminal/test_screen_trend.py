"""Between two overs of one session the terminal says what turning a control has changed."""

from dataclasses import replace

import pytest

from audiotest.records import Over
from audiotest.standards.limits import get_limits
from audiotest.terminal.screen import Screen


@pytest.mark.parametrize(
    ("drive_db", "said"),
    [
        (6.0, "Drive down 12 dB since the last over."),
        (18.0, "as in the last over, as far as can be told."),
        (16.0, "Drive not surely changed (-5 to +1 dB), deviation as in the last over."),
    ],
)
def test_what_changed_is_named_after_the_card(capsys, voice_over: Over, drive_db: float, said: str) -> None:
    def driven(drive: float, start_s: float) -> Over:
        limiter = replace(
            voice_over.limiter, drive_db=drive, drive_low_db=drive - 3.0, drive_high_db=drive + 3.0
        )
        times = {"start_s": 0.0, "end_s": 8.3, "speech_start_s": 0.4, "speech_end_s": 8.1}
        return replace(voice_over, limiter=limiter, **{name: start_s + s for name, s in times.items()})

    screen = Screen(get_limits("uk-27fm"), None)
    screen.over(driven(18.0, 0.0))
    assert "last over" not in capsys.readouterr().out
    screen.over(driven(drive_db, 20.0))
    assert said in " ".join(capsys.readouterr().out.split())


def test_a_voice_that_is_cut_before_the_mic_gain_is_doubted_on_the_card_and_said_after_it(
    capsys, voice_over: Over
) -> None:
    def with_peak(peak_khz: float, start_s: float) -> Over:
        limiter = replace(voice_over.limiter, drive_db=14.0, drive_low_db=10.0, drive_high_db=18.0)
        times = {"start_s": 0.0, "end_s": 8.3, "speech_start_s": 0.4, "speech_end_s": 8.1}
        return replace(
            voice_over, limiter=limiter, deviation=replace(voice_over.deviation, peak_khz=peak_khz),
            **{name: start_s + s for name, s in times.items()},
        )  # fmt: skip

    screen = Screen(get_limits("uk-27fm"), None)
    screen.over(with_peak(2.3, 0.0))
    assert "Mic gain down" in capsys.readouterr().out
    screen.over(with_peak(1.2, 20.0))
    said = " ".join(capsys.readouterr().out.replace("┃", " ").split())
    assert "Mic gain not judged: the drive did not follow the last turn" in said
    assert "if the mic gain was turned, the voice is cut before it" in said
    assert "Deviation down 1.1 kHz since the last over, and the drive stayed." in said
