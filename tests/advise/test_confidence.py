"""How sure the advice calls itself, and what a drive told within wide bounds leaves of it."""

import pytest

from audiotest.advise.rules import advise
from tests.advise.invented import LIMITS, an_over


def test_a_wide_interval_gives_no_direction():
    assert advise(an_over(2.5, half_db=12.0), LIMITS).mic_gain == "unknown"
    assert advise(an_over(2.5, half_db=6.0), LIMITS).mic_gain == "keep"


def test_confidence_grows_with_the_distance_from_the_boundary():
    near, far = (advise(an_over(drive_db, None, half_db=4.0), LIMITS) for drive_db in (8.5, 16.0))
    assert 0.5 < near.confidence < 0.7 < far.confidence
    assert "Not certain" not in far.sentence


def test_a_peak_in_the_middle_of_what_is_right_is_two_to_one_at_best():
    # From 70 to 100 % is 3.1 dB, and a speech peak has a standard error of 1.6 dB: 2·Φ(1.55/1.6) − 1 = 0.67.
    middle = an_over(4.0, 2.5 * 0.7**0.5)
    assert advise(middle, LIMITS, scale_uncertainty_db=0.0).confidence == pytest.approx(0.67, abs=0.01)


def test_a_high_drive_that_low_peaks_speak_against_is_never_called_right():
    advice = advise(an_over(9.0, 1.0, half_db=14.0), LIMITS)
    assert (advice.mic_gain, advice.deviation) == ("unknown", "unknown")
    assert "the drive reads high and the peaks low" in advice.sentence


def test_an_interval_that_low_peaks_have_widened_is_told_as_theirs():
    """The card shows the interval as measured, -3 to +17 dB; the sentence must not seem to contradict it."""
    advice = advise(an_over(7.1, 0.9, half_db=10.0), LIMITS)
    assert advice.mic_gain == "unknown"
    assert "with peaks this low the drive is only known to lie between" in advice.sentence


def test_a_rough_scale_takes_confidence():
    over = an_over(4.0, 2.7)
    assert (
        advise(over, LIMITS, scale_uncertainty_db=3.0).confidence
        < advise(over, LIMITS, scale_uncertainty_db=0.3).confidence
    )
