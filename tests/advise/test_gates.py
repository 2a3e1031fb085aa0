"""What forbids the advice, and what only takes confidence from it."""

from dataclasses import replace

import pytest

from audiotest.advise.rules import GATES, TARGET_DRIVE_DB, advise
from audiotest.advise.wording import doubt_lines
from audiotest.measure.conditions import CONDITIONS
from tests.advise.invented import LIMITS, an_over


@pytest.mark.parametrize("name", GATES)
def test_a_gate_forbids_both_and_says_what_to_put_right(name):
    short = replace(an_over(6.0, 2.2, conditions=(name,)), speech_end_s=3.0)
    noisy = replace(short, noise=replace(short.noise, quieting_db=12.0))
    advice = advise(noisy, LIMITS)
    assert (advice.mic_gain, advice.deviation) == ("unknown", "unknown")
    assert (advice.mic_gain_db, advice.deviation_factor, advice.confidence) == (None, None, 0.0)
    assert CONDITIONS[name].remedy in advice.sentence
    assert advice.sentence.startswith("First ")


def test_peaks_that_outrun_the_if_and_the_limit_ask_for_less_deviation_and_leave_the_mic_gain_open():
    advice = advise(an_over(14.0, 5.0, conditions=("if_narrow",)), LIMITS)
    assert (advice.mic_gain, advice.deviation) == ("unknown", "lower")
    assert advice.deviation_factor == pytest.approx(0.45)
    assert "IF clips the peaks" in advice.sentence
    overloaded = advise(an_over(14.0, 5.0, conditions=("if_narrow", "overload")), LIMITS)
    assert (overloaded.mic_gain, overloaded.deviation) == ("unknown", "unknown")


@pytest.mark.parametrize("conditions", [("weak",), ("too_little_speech",), ("weak", "too_little_speech")])
def test_a_drive_that_is_surely_too_high_is_said_through_noise_and_the_peaks_are_not(conditions):
    advice = advise(an_over(14.0, 3.0, half_db=5.0, conditions=conditions), LIMITS)
    assert (advice.mic_gain, advice.deviation) == ("lower", "unknown")
    assert advice.mic_gain_db == pytest.approx(TARGET_DRIVE_DB - 14.0)
    assert advice.sentence.startswith("Mic gain down")
    assert "for the peaks" in advice.sentence
    unsure = an_over(14.0, 3.0, half_db=7.0, conditions=conditions)
    assert advise(unsure, LIMITS).mic_gain == "unknown"
    overloaded = an_over(14.0, 3.0, half_db=5.0, conditions=(*conditions, "overload"))
    assert advise(overloaded, LIMITS).mic_gain == "unknown"


def test_overload_is_put_right_before_anything_else():
    advice = advise(an_over(conditions=("too_little_speech", "weak", "overload")), LIMITS)
    assert CONDITIONS["overload"].remedy in advice.sentence


def test_every_condition_the_rules_use_is_described():
    assert set(GATES) <= set(CONDITIONS)


@pytest.mark.parametrize("name", ["levelling", "level_control", "codec"])
def test_a_doubt_leaves_the_direction_and_takes_confidence(name):
    sure = advise(an_over(14.0), LIMITS)
    doubted = advise(an_over(14.0, conditions=(name,)), LIMITS)
    assert doubted.mic_gain == sure.mic_gain
    assert doubted.confidence < sure.confidence
    assert any(CONDITIONS[name].meaning in line for line in doubted.because)


@pytest.mark.parametrize("drive_db", [-8.0, 4.0])
def test_a_level_control_takes_back_that_the_drive_is_right_or_low_and_leaves_the_deviation(drive_db):
    held = advise(an_over(drive_db, 3.0, conditions=("level_control",)), LIMITS)
    assert (held.mic_gain, held.mic_gain_db, held.deviation) == ("unknown", None, "lower")
    assert "a level control hides" in held.sentence
    assert any("drive-by-tone" in line for line in held.because)
    assert advise(an_over(4.0, 2.2, conditions=("level_control",)), LIMITS).deviation == "keep"


def test_a_voice_cut_before_the_mic_gain_takes_back_that_the_gain_must_go_down():
    cut = advise(an_over(14.0, 2.2, conditions=("compressed_source",)), LIMITS)
    assert (cut.mic_gain, cut.deviation) == ("unknown", "keep")
    assert "did not follow the last turn" in cut.sentence
    assert any("if the mic gain was turned" in line for line in cut.because)
    assert advise(an_over(-9.0, 1.0, conditions=("compressed_source",)), LIMITS).mic_gain == "raise"


def test_a_voice_cut_before_the_mic_gain_has_not_shown_how_far_the_deviation_control_lets_it_swing():
    assert advise(an_over(14.0, 1.2), LIMITS).deviation == "raise"
    cut = advise(an_over(14.0, 1.2, conditions=("compressed_source",)), LIMITS)
    assert (cut.deviation, cut.deviation_factor, cut.confidence) == ("unknown", None, 0.0)
    assert "Do not turn the deviation yet" in cut.sentence
    assert advise(an_over(14.0, 3.0, conditions=("compressed_source",)), LIMITS).deviation == "lower"


@pytest.mark.parametrize("name", ["if_narrow", "peaky"])
def test_an_overload_leaves_nothing_said_that_its_cut_peaks_would_have_to_show(name):
    doubted = an_over(4.0, 2.2, conditions=(name,))
    assert any(CONDITIONS[name].meaning in line for line in doubt_lines(doubted))
    overloaded = an_over(None, None, conditions=("overload", name))
    assert [line for line in doubt_lines(overloaded) if CONDITIONS[name].meaning in line] == []
    assert any(CONDITIONS["overload"].meaning in line for line in doubt_lines(overloaded))
