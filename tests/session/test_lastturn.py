"""What turning the mic gain gives away: a voice that was cut before it."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from audiotest.advise.rules import advise
from audiotest.records import Advice, LimitSet
from audiotest.session.lastturn import CUT_BEFORE, STAYED_WORDS, follow_turn
from audiotest.session.trend import follow_trim
from tests.session.test_trend import over, session

LIMITS = LimitSet(
    id="uk-27fm", title="", deviation_khz=2.5, spacing_khz=10.0, audio_high_hz=3000.0, channels="", source=""
)
LESS_GAIN = Advice(
    mic_gain="lower", mic_gain_db=-9.0, deviation="keep", deviation_factor=None, confidence=0.8, sentence="",
    because=(),
)  # fmt: skip


def test_peaks_that_fell_alone_after_less_mic_gain_say_that_the_voice_was_cut_before_it():
    followed = follow_turn(session((14.0, 2.4), (14.3, 1.2)), LESS_GAIN)
    assert followed.trend.sentence == "deviation down 1.2 kHz since the last over, and the drive stayed"
    assert CUT_BEFORE in followed.over.conditions


def test_the_mic_gain_is_then_not_sent_further_down():
    followed = follow_turn(session((14.0, 2.4), (14.3, 1.2)), LESS_GAIN)
    assert advise(session((14.0, 2.4), (14.3, 1.2))[-1], LIMITS).mic_gain == "lower"
    advice = advise(followed.over, LIMITS)
    assert advice.mic_gain == "unknown"
    assert any("if the mic gain was turned" in line for line in advice.because)


@pytest.mark.parametrize(
    "advised",
    [
        None,
        replace(LESS_GAIN, mic_gain="keep", mic_gain_db=None),
        replace(LESS_GAIN, mic_gain="unknown", mic_gain_db=None),
        replace(LESS_GAIN, deviation="lower", deviation_factor=0.6),
    ],
)
def test_where_the_deviation_may_have_been_turned_it_only_says_what_changed(advised):
    followed = follow_turn(session((14.0, 2.4), (14.3, 1.2)), advised)
    assert followed.trend.sentence == "deviation down 1.2 kHz since the last over"
    assert followed.over.conditions == ()


@pytest.mark.parametrize(
    "figures",
    [
        ((14.0, 2.4), (5.0, 2.4)),  # a clipper that is hit less
        ((9.0, 2.4), (0.0, 1.6)),  # and then no longer
        ((4.0, 2.4), (3.0, 1.2)),  # no limiter surely at work: what the drive reads tells nothing
        ((14.0, 2.4), (14.0, 2.4)),  # nothing was turned
        ((14.0, 2.4), (14.0, 2.0)),  # too little to be told from other words
        ((14.0, 2.4), (11.0, 1.6)),  # the drive may have fallen as far as the peaks
        ((14.0, None), (14.0, None)),
        ((None, 2.4), (None, 1.2)),
    ],
)
def test_what_a_clipper_may_do_is_not_held_against_the_voice(figures):
    overs = session(*figures)
    followed = follow_turn(overs, LESS_GAIN)
    assert followed.trend == follow_trim(overs)
    assert followed.over is overs[-1]


def test_an_interval_too_wide_for_the_difference_names_nothing():
    overs = [over(20.0, 2.4, half_db=14.0), over(20.0, 1.2, half_db=14.0, start_s=20.0)]
    assert CUT_BEFORE not in follow_turn(overs, LESS_GAIN).over.conditions
    surer = [replace(each, limiter=session((20.0, 2.4))[0].limiter) for each in overs]
    assert CUT_BEFORE in follow_turn(surer, LESS_GAIN).over.conditions


def test_the_doubt_stays_until_the_drive_moves():
    first, second, third, fourth = session((14.0, 2.4), (14.3, 1.2), (14.0, 1.25), (5.0, 1.2))
    doubted = follow_turn([first, second], LESS_GAIN).over
    again = follow_turn([first, doubted, third], replace(LESS_GAIN, mic_gain="unknown", mic_gain_db=None))
    assert CUT_BEFORE in again.over.conditions
    assert STAYED_WORDS not in again.trend.sentence
    moved = follow_turn([first, doubted, again.over, fourth], None)
    assert CUT_BEFORE not in moved.over.conditions
    # Another set, another story.
    late = replace(third, start_s=2000.0, end_s=2008.0, speech_start_s=2000.5, speech_end_s=2007.0)
    assert follow_turn([first, doubted, late], None).over.conditions == ()


def test_a_tone_or_a_carrier_at_the_end_takes_no_doubt_over():
    first, second, third = session((14.0, 2.4), (14.3, 1.2), (None, None))
    doubted = follow_turn([first, second], LESS_GAIN).over
    carrier = replace(third, kind="carrier")
    assert follow_turn([first, doubted, carrier], LESS_GAIN).over is carrier


def test_other_words_alone_name_it_seldom():
    """A clipper hit 8 dB less, drive and peaks scattered as from over to over: 5 % by its odds at most."""
    rng = np.random.default_rng(8)
    named = 0
    for _ in range(300):
        one, other = (drive + 1.5 * rng.standard_normal() for drive in (16.0, 8.0))
        peaks = 2.2 * 10.0 ** (0.65 * rng.standard_normal(2) / 20.0)
        overs = session((one, peaks[0]), (other, peaks[1]))
        named += CUT_BEFORE in follow_turn(overs, LESS_GAIN).over.conditions
    assert named == 0


figure = st.none() | st.floats(-5.0, 26.0)
khz = st.none() | st.floats(0.0, 10.0)


@given(st.lists(st.tuples(figure, khz), min_size=1, max_size=5))
def test_nothing_breaks_it(figures):
    overs = session(*figures)
    followed = follow_turn(overs, LESS_GAIN)
    assert {*followed.over.conditions} <= {CUT_BEFORE}
    assert replace(followed.over, conditions=()) == overs[-1]
