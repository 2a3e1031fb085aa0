"""The carrier null as a procedure: deviation and scale without a meter, against the radio's truth."""

from dataclasses import replace

import numpy as np
import pytest

from audiotest.radio.micsocket import steady_tone
from audiotest.standards.fm import null_tone_hz
from audiotest.tones.carriernull import carrier_null
from audiotest.tones.guided import carry_out
from audiotest.tones.nullhand import hand_for, null_by_hand
from audiotest.tones.rehearsal import DEMO_SET, MONITOR_FEED, Rehearsal

LIMIT_KHZ = 2.5


def figures(report):
    return {figure.key: figure.value for figure in report.figures}


@pytest.mark.parametrize("onset_mv", [4.0, 9.0])
def test_the_null_is_where_the_deviation_is_what_bessel_says(onset_mv):
    # A ceiling well above: at 60 % of the limit the set is still linear.
    unit = replace(DEMO_SET, onset_mv=onset_mv)
    report = carry_out(carrier_null(LIMIT_KHZ, deemphasis_us=0.0), Rehearsal(unit=unit))
    found = figures(report)
    assert report.complete, report.notes
    tone_hz = null_tone_hz(1.5)
    assert found["tone_hz"] == pytest.approx(tone_hz)
    # The set's own equations at that level, to the whole hertz: 1.5 kHz within 0.1 dB.
    assert steady_tone(unit, round(tone_hz), found["null_mv"]).fundamental_khz == pytest.approx(
        1.5, rel=0.012
    )
    assert found["scale_khz_per_fs"] == pytest.approx(MONITOR_FEED.scale_khz_per_fs, rel=0.02)


def test_a_set_that_never_gets_there_is_said():
    unit = replace(DEMO_SET, transmitter=replace(DEMO_SET.transmitter, ceiling_khz=0.4))
    report = carry_out(carrier_null(LIMIT_KHZ), Rehearsal(unit=unit))
    assert not report.complete
    assert any("stopped early" in note for note in report.notes)
    assert "null_mv" not in figures(report)


def test_carrier_and_first_sidebands_follow_bessel():
    report = carry_out(carrier_null(LIMIT_KHZ), Rehearsal())
    curves = {curve.name: curve.points for curve in report.curves}
    theory = {name: curves[name] for name in ("|J0|", "|J1|")}
    for name, bessel in (("carrier", "|J0|"), ("first sidebands", "|J1|")):
        levels, values = zip(*theory[bessel], strict=True)
        # Above the onset the demo set bends: below it the deviation follows the level.
        straight = [(mv, size) for mv, size in curves[name] if mv < 4.0]
        assert len(straight) >= 10
        for mv, size in straight:
            assert size == pytest.approx(np.interp(mv, levels, values), abs=0.04)


@pytest.mark.parametrize("iq", [False, True])
def test_a_null_turned_by_hand_is_caught_and_gives_the_scale(iq):
    unit = replace(DEMO_SET, onset_mv=9.0)
    prompts = []
    rehearsal = Rehearsal(
        unit=unit, hand=hand_for(unit, 1.5), on_step=lambda step: prompts.append(step.prompt)
    )
    report = carry_out(null_by_hand(LIMIT_KHZ, deemphasis_us=0.0, iq=iq), rehearsal)
    found = figures(report)
    assert report.complete, report.notes
    assert found["deviation_khz"] == 1.5
    assert found["depth_db"] < -30.0
    assert found["scale_khz_per_fs"] == pytest.approx(MONITOR_FEED.scale_khz_per_fs, rel=0.03)
    assert any("Turn the deviation up" in prompt for prompt in prompts)
    assert len(prompts) < 25
    assert rehearsal.played_s == pytest.approx(0.4 * (len(prompts) - 2) + 1.3, abs=0.1)


def test_a_hand_that_turns_too_far_is_told_to_turn_back():
    prompts = []

    def stop(step):
        prompts.append(step.prompt)
        if len(prompts) == 12:
            raise KeyboardInterrupt

    unit = replace(DEMO_SET, onset_mv=9.0)
    hand = hand_for(unit, 1.5, readings_n=4)

    def too_far(step):
        sent = hand(step)
        return None if sent is None else (sent[0], 1.25 * sent[1])

    rehearsal = Rehearsal(unit=unit, hand=too_far, on_step=stop)
    report = carry_out(null_by_hand(LIMIT_KHZ), rehearsal)
    assert not report.complete
    assert prompts[-1].startswith("Past it: turn back. Carrier -")
    assert "scale_khz_per_fs" not in figures(report)
