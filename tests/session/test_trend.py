"""The trend over the last overs: what is named, what is not, and why nothing can be told."""

import itertools
import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from audiotest.measure.limiter import CEILING_USED
from audiotest.records import Deviation, EndBeep, Level, Limiter, Noise, Over, Subaudible
from audiotest.session.trend import ALIKE_DB, OWN_SHARE, follow_trim

HALF_90_DB = 5.0


def over(drive_db, peak_khz, *, start_s=0.0, conditions=(), half_db=HALF_90_DB, quieting_db=25.0, **changes):
    made = Over(
        start_s=start_s, end_s=start_s + 8.0, kind="voice", speech_start_s=start_s + 0.5,
        speech_end_s=start_s + 7.5,
        level=Level(active_speech_dbfs=-25.0, activity=0.8, crest_db=16.0),
        deviation=Deviation(
            peak_khz=peak_khz, p999_khz=peak_khz, rms_khz=None, positive_khz=peak_khz,
            negative_khz=peak_khz, limit_khz=2.5,
        ),
        limiter=Limiter(
            drive_db=drive_db,
            drive_low_db=None if drive_db is None else drive_db - half_db,
            drive_high_db=None if drive_db is None else drive_db + half_db,
            clipped_fraction=0.0, reached=None if drive_db is None else drive_db > 0.0,
        ),
        noise=Noise(quieting_db=quieting_db, snr_db=25.0, hum_hz=None, hum_db=None),
        tone=None, subaudible=None, end_beep=None, overload_runs=0, conditions=tuple(conditions), notes=(),
    )  # fmt: skip
    return replace(made, **changes)


def session(*figures, **last):
    overs = [over(drive, peak, start_s=15.0 * k) for k, (drive, peak) in enumerate(figures)]
    return [*overs[:-1], replace(overs[-1], **last)] if last else overs


def test_a_turned_mic_gain_is_named():
    trend = follow_trim(session((12.0, 2.4), (5.0, 2.4)))
    assert trend.sentence == "drive down 7 dB since the last over"
    assert trend.drive.change == pytest.approx(-7.0)
    assert trend.drive.low < -7.0 < trend.drive.high < 0.0
    assert not trend.deviation.real
    assert trend.against_n == 1


def test_a_turned_deviation_control_is_named():
    trend = follow_trim(session((5.0, 2.0), (5.0, 2.4)))
    assert trend.sentence == "deviation up 0.4 kHz since the last over"
    assert trend.deviation.change == pytest.approx(0.4)
    assert not trend.drive.real


def test_both_are_named_together():
    trend = follow_trim(session((14.0, 3.0), (4.0, 2.2)))
    assert trend.sentence == "drive down 10 dB, deviation down 0.8 kHz since the last over"


def test_what_may_be_chance_is_not_named():
    trend = follow_trim(session((5.0, 2.4), (6.5, 2.45)))
    assert trend.sentence == "drive not surely changed (-3 to +6 dB), deviation as in the last over"
    assert 0.5 < trend.drive.odds < 0.95


def test_as_before_is_said_only_of_a_drive_that_cannot_have_moved_far():
    """Half a turn of 6 dB must not be reported as nothing: the technician would turn again."""
    surely = [over(5.0, 2.4, half_db=2.0), over(5.0, 2.4, half_db=2.0, start_s=15.0)]
    trend = follow_trim(surely)
    assert trend.sentence == "drive and deviation as in the last over, as far as can be told"
    assert trend.drive.high <= ALIKE_DB
    without_scale = follow_trim(session((5.0, None), (5.0, None)))
    assert without_scale.sentence == "drive not surely changed (-5 to +5 dB)"


def test_earlier_overs_that_agree_make_the_yardstick_surer():
    once = follow_trim(session((5.0, 2.4), (9.0, 2.4)))
    often = follow_trim(session((4.8, 2.4), (5.2, 2.4), (5.0, 2.4), (9.0, 2.4)))
    assert often.against_n == 3
    assert often.drive.odds > once.drive.odds
    assert often.drive.high - often.drive.low < once.drive.high - once.drive.low
    # An over before a turn is no yardstick.
    assert follow_trim(session((15.0, 2.4), (4.0, 2.4), (9.0, 2.4))).drive.before == pytest.approx(4.0)


def test_an_over_before_a_small_turn_is_no_yardstick():
    """2.44, turned down to 2.11, turned up to 2.55: the last step of 1.6 dB is named, not averaged away."""
    trend = follow_trim(session((5.0, 2.44), (5.0, 2.11), (5.0, 2.55)))
    assert trend.sentence == "deviation up 0.4 kHz since the last over"
    assert trend.deviation.change == pytest.approx(0.44)


def test_carriers_and_tones_between_do_not_count_but_at_the_end_they_do():
    first, second = session((12.0, 2.4), (4.0, 2.4))
    carrier = replace(first, kind="carrier", limiter=replace(first.limiter, drive_db=None))
    assert follow_trim([first, carrier, second]).drive.real
    assert "no speech" in follow_trim([first, second, carrier]).reason


def test_below_the_limiter_only_the_peaks_are_followed():
    trend = follow_trim(session((-4.0, 1.2), (-5.0, 0.8)))
    assert trend.drive is None
    assert trend.sentence == "deviation down 0.4 kHz since the last over"
    assert "mic gain" in trend.reason


@pytest.mark.parametrize(
    ("last", "reason"),
    [
        ({"conditions": ("overload",)}, "sound card is overloaded"),
        ({"conditions": ("weak",)}, "signal is weak"),
        ({"speech_end_s": 16.0}, "too little speech"),
        ({"speech_start_s": None, "speech_end_s": None}, "too little speech"),
        ({"start_s": 2000.0, "end_s": 2008.0, "speech_start_s": 2000.5, "speech_end_s": 2007.0}, "quarter"),
        ({"noise": Noise(quieting_db=8.0, snr_db=8.0, hum_hz=None, hum_db=None)}, "stronger or weaker"),
    ],
)
def test_what_cannot_be_compared_says_why(last, reason):
    overs = session((12.0, 2.4), (5.0, 2.0), **last)
    trend = follow_trim(overs)
    assert (trend.drive, trend.deviation, trend.sentence, trend.against_n) == (None, None, "", 0)
    assert reason in trend.reason


@pytest.mark.parametrize("name", ["levelling", "codec"])
def test_what_moves_the_drive_in_both_overs_alike_lets_them_be_compared(name):
    before, now = session((12.0, 2.4), (5.0, 2.4))
    both = [replace(each, conditions=(name,)) for each in (before, now)]
    assert follow_trim(both).sentence == "drive down 7 dB since the last over"
    for pair in ([both[0], now], [before, both[1]]):
        trend = follow_trim(pair)
        assert trend.drive is None
        assert trend.deviation is not None
        assert "narrow link" in trend.reason


@pytest.mark.parametrize(
    ("notes", "drive", "reason"),
    [
        (([CEILING_USED], [CEILING_USED]), False, "perhaps the limiter's ceiling"),
        (([CEILING_USED], []), False, "in one of the two overs only"),
        (([], [CEILING_USED]), False, "in one of the two overs only"),
        (([], []), True, ""),
    ],
)
def test_a_ceiling_that_may_have_moved_with_the_deviation_control_tells_no_drive(notes, drive, reason):
    before, now = notes
    overs = session((12.0, 2.6), (6.0, 1.9))
    overs = [replace(overs[0], notes=tuple(before)), replace(overs[1], notes=tuple(now))]
    trend = follow_trim(overs)
    assert (trend.drive is not None) == drive
    assert reason in trend.reason
    assert "deviation down 0.7 kHz" in trend.sentence


def test_a_ceiling_that_stood_still_tells_the_drive():
    overs = [replace(spoken, notes=(CEILING_USED,)) for spoken in session((12.0, 2.4), (5.0, 2.4))]
    assert follow_trim(overs).sentence == "drive down 7 dB since the last over"


def test_too_few_overs_and_a_spoilt_one_before():
    assert "no over before" in follow_trim(session((5.0, 2.0))).reason
    assert follow_trim([]).reason
    spoilt, last = session((5.0, 2.0), (8.0, 2.0))
    assert "the over before" in follow_trim([replace(spoilt, conditions=("overload",)), last]).reason


@pytest.mark.parametrize(
    ("field", "one", "other"),
    [
        ("subaudible", *(Subaudible(frequency_hz=hz, deviation_khz=None) for hz in (88.5, 123.0))),
        ("end_beep", *(EndBeep(frequency_hz=hz, start_s=7.0, end_s=7.2) for hz in (1000.0, 1300.0))),
    ],
)
def test_another_set_is_not_compared(field, one, other):
    first, second = session((12.0, 2.4), (4.0, 2.4))
    trend = follow_trim([replace(first, **{field: one}), replace(second, **{field: other})])
    assert "another set" in trend.reason
    assert follow_trim([replace(first, **{field: one}), replace(second, **{field: one})]).drive.real


def test_unmeasured_figures_are_left_out_of_the_comparison():
    trend = follow_trim(session((12.0, None), (4.0, None)))
    assert trend.deviation is None
    assert trend.sentence == "drive down 8 dB since the last over"
    trend = follow_trim(session((None, 2.0), (None, 2.5)))
    assert trend.drive is None
    assert trend.sentence == "deviation up 0.5 kHz since the last over"
    assert follow_trim(session((None, None), (None, None))).sentence == ""


figure = st.none() | st.floats(-5.0, 26.0)
khz = st.none() | st.floats(0.0, 10.0)


@given(st.lists(st.tuples(figure, khz), min_size=1, max_size=6))
def test_nothing_breaks_it_and_nothing_is_nan(figures):
    trend = follow_trim(session(*figures))
    for change in (trend.drive, trend.deviation):
        if change is not None:
            assert all(
                math.isfinite(value)
                for value in (change.before, change.now, change.change, change.low, change.high, change.odds)
            )
            assert change.low <= change.change <= change.high
    assert bool(trend.sentence) == (trend.drive is not None or trend.deviation is not None)
    assert bool(trend.reason) == (trend.drive is None)


def test_named_changes_of_chance_are_rare():
    # Overs whose drive only scatters by the share of the error that is their own.
    rng = np.random.default_rng(3)
    own_db = OWN_SHARE * HALF_90_DB / 1.645
    drives = 8.0 + own_db * rng.standard_normal(600)
    named = [
        follow_trim(session((one, None), (other, None))).drive.real
        for one, other in itertools.pairwise(drives)
    ]
    # Both signs beyond 1.645 standard errors: 10 % by chance (normal distribution).
    assert 0.05 < np.mean(named) < 0.15
