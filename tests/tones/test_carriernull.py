"""The carrier null as a procedure: deviation and scale without a meter, against the radio's truth."""

from dataclasses import replace

import pytest

from audiotest.radio.micsocket import steady_tone
from audiotest.standards.fm import null_tone_hz
from audiotest.tones.carriernull import carrier_null
from audiotest.tones.guided import carry_out
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
