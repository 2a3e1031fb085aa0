"""The advice table, row by row, with every boundary and what is turned how far."""

import math
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from audiotest.advise.rules import GATES, HIGH_DRIVE_DB, LOW_DRIVE_DB, TARGET_DRIVE_DB, advise
from audiotest.measure.conditions import CONDITIONS
from audiotest.records import Limiter
from tests.advise.invented import LIMITS, an_over


@pytest.mark.parametrize(
    ("drive_db", "peak_khz", "mic", "deviation"),
    [
        (-6.0, 1.0, "raise", "unknown"),
        (-6.0, 2.4, "raise", "unknown"),
        (-6.0, 3.0, "keep", "lower"),
        (-2.0, 2.0, "keep", "keep"),
        (4.0, 1.8, "keep", "keep"),
        (7.5, 2.45, "keep", "keep"),
        (-1.5, 1.5, "keep", "unknown"),
        (0.5, 1.5, "keep", "raise"),
        (7.0, 1.0, "keep", "raise"),
        (-2.0, 2.6, "keep", "lower"),
        (4.0, 3.0, "keep", "lower"),
        (14.0, 1.0, "lower", "raise"),
        (14.0, 2.2, "lower", "keep"),
        (14.0, 3.0, "lower", "lower"),
    ],
)
def test_each_row_of_the_table(drive_db, peak_khz, mic, deviation):
    advice = advise(an_over(drive_db, peak_khz), LIMITS)
    assert (advice.mic_gain, advice.deviation) == (mic, deviation)


def test_low_peaks_turn_a_drive_that_is_hardly_told_into_more_mic_gain_and_say_so():
    """Below the limiter a drive cannot be told: -1 dB with such an interval is as likely -12 dB."""
    advice = advise(an_over(-1.1, 0.99, half_db=4.5), LIMITS)
    assert (advice.mic_gain, advice.deviation) == ("raise", "unknown")
    assert advice.mic_gain_db == 6.0
    assert "with peaks this low the limiter is hardly at work" in advice.sentence
    # The same drive with peaks where ceilings stand, and a sure one with low peaks, stay as they were.
    assert advise(an_over(-1.1, 2.2, half_db=4.5), LIMITS).mic_gain == "keep"
    assert advise(an_over(2.0, 0.99, half_db=1.5), LIMITS).mic_gain == "keep"
    # A drive that says the limiter is at work, however unsure, is not overruled by low peaks alone.
    opposed = advise(an_over(1.0, 0.99, half_db=9.0), LIMITS)
    assert (opposed.mic_gain, opposed.deviation) == ("unknown", "unknown")


def test_a_high_drive_that_the_peaks_contradict_turns_nothing_down_unless_they_are_near_the_limit():
    """Peaks that stand out as without a limiter, and far below the limit: both say that none is at work."""
    low = advise(an_over(12.0, 1.1, half_db=8.0, conditions=("peaky",)), LIMITS)
    assert (low.mic_gain, low.deviation) == ("unknown", "unknown")
    assert CONDITIONS["peaky"].meaning in low.sentence
    assert advise(an_over(12.0, 1.1, half_db=8.0), LIMITS).mic_gain == "lower"
    near, believed = (
        advise(an_over(12.0, 2.2, half_db=8.0, conditions=conditions), LIMITS)
        for conditions in (("peaky",), ())
    )
    assert near.mic_gain == believed.mic_gain == "lower"
    assert near.confidence == pytest.approx(0.6 * believed.confidence, abs=0.001)
    # Nothing tells where the peaks are: no scale, and no hiss to stand in for it.
    over = an_over(12.0, None, half_db=8.0, conditions=("peaky",))
    untold = replace(over, noise=replace(over.noise, quieting_db=None))
    assert advise(untold, LIMITS).mic_gain == "unknown"
    assert advise(replace(untold, conditions=()), LIMITS).mic_gain == "lower"
    # Noise lets a drive stand that is high beyond doubt, but not that one.
    for conditions, mic in ((("weak",), "lower"), (("weak", "peaky"), "unknown")):
        noisy = advise(an_over(18.0, 1.6, half_db=8.0, conditions=conditions), LIMITS)
        assert (noisy.mic_gain, noisy.deviation) == (mic, "unknown")


@pytest.mark.parametrize("hindrance", ["weak", "too_little_speech"])
def test_noise_may_pass_for_clipped_speech_where_the_peaks_lie_far_below_the_limit(hindrance):
    """Without the noise the same drive with the same peaks is a deviation control turned down."""
    for peak_khz, mic in ((2.2, "lower"), (1.6, "lower"), (0.6, "unknown")):
        advice = advise(an_over(18.0, peak_khz, half_db=8.0, conditions=(hindrance,)), LIMITS)
        assert (advice.mic_gain, advice.deviation) == (mic, "unknown")
    assert advise(an_over(18.0, 0.6, half_db=8.0), LIMITS).mic_gain == "lower"


@pytest.mark.parametrize(
    ("drive_db", "mic"),
    [
        (LOW_DRIVE_DB - 0.01, "raise"),
        (LOW_DRIVE_DB, "keep"),
        (HIGH_DRIVE_DB, "keep"),
        (HIGH_DRIVE_DB + 0.01, "lower"),
    ],
)
def test_the_drive_boundaries(drive_db, mic):
    assert advise(an_over(drive_db), LIMITS).mic_gain == mic


@pytest.mark.parametrize(
    ("peak_khz", "deviation"), [(1.749, "raise"), (1.75, "keep"), (2.5, "keep"), (2.501, "lower")]
)
def test_the_peak_boundaries(peak_khz, deviation):
    assert advise(an_over(4.0, peak_khz), LIMITS).deviation == deviation


def test_amounts_bring_drive_and_peak_to_their_targets():
    advice = advise(an_over(14.0, 3.0), LIMITS)
    assert advice.mic_gain_db is not None
    assert 14.0 + advice.mic_gain_db == pytest.approx(TARGET_DRIVE_DB)
    assert advice.deviation_factor is not None
    assert 3.0 * advice.deviation_factor == pytest.approx(0.9 * 2.5, rel=0.01)
    kept = advise(an_over(4.0, 2.2), LIMITS)
    assert (kept.mic_gain_db, kept.deviation_factor) == (None, None)


def test_peaks_far_below_the_limit_settle_an_uncertain_drive():
    # At -1.5 dB, give or take 6, it could be either; at a sixth of the limit the ceiling cannot be reached.
    assert advise(an_over(-1.5, 2.2, half_db=6.0), LIMITS).mic_gain == "keep"
    assert advise(an_over(-1.5, 0.4, half_db=6.0), LIMITS).mic_gain == "raise"
    assert advise(an_over(6.0, 0.4, half_db=1.5), LIMITS).mic_gain == "keep"


def test_the_deviation_is_not_raised_while_the_ceiling_may_not_have_shown():
    """A drive of +1 dB that may as well be -6: raised on that, the ceiling may end at twice the limit."""
    sure, unsure = (
        advise(an_over(1.0, 1.6, half_db=2.0), LIMITS),
        advise(an_over(1.0, 1.6, half_db=9.0), LIMITS),
    )
    assert (sure.mic_gain, sure.deviation) == ("keep", "raise")
    assert (unsure.mic_gain, unsure.deviation) == ("keep", "unknown")
    # Most likely above the threshold, and yet one in three that not even the highest peaks touch it.
    hardly = an_over(0.3, 1.6, half_db=6.0)
    assert (advise(hardly, LIMITS).mic_gain, advise(hardly, LIMITS).deviation) == ("keep", "unknown")


def test_an_uncertain_drive_leaves_only_a_peak_over_the_limit_to_act_on():
    over = an_over(4.0, 3.0, conditions=("drive_uncertain",))
    advice = advise(over, LIMITS)
    assert (advice.mic_gain, advice.deviation) == ("unknown", "lower")
    assert advise(replace(over, deviation=an_over(4.0, 2.0).deviation), LIMITS).deviation == "unknown"


def test_a_drive_that_is_only_bounded_still_has_a_direction():
    bounded = replace(
        an_over(),
        limiter=Limiter(
            drive_db=None, drive_low_db=None, drive_high_db=-5.0, clipped_fraction=0.0, reached=False
        ),
    )
    advice = advise(bounded, LIMITS)
    assert (advice.mic_gain, advice.mic_gain_db, advice.deviation) == ("raise", 10.0, "unknown")
    assert advise(an_over(None), LIMITS).mic_gain == "unknown"


def test_a_tone_can_only_say_that_it_is_over_the_limit():
    over = advise(an_over(None, 3.0, kind="tone", conditions=("not_voice",)), LIMITS)
    assert (over.mic_gain, over.deviation) == ("unknown", "lower")
    under = advise(an_over(None, 1.5, kind="tone", conditions=("not_voice",)), LIMITS)
    assert (under.mic_gain, under.deviation) == ("unknown", "unknown")
    assert "tone" in under.sentence


def test_lopsided_peaks_are_named():
    over = an_over()
    lopsided = replace(over, deviation=replace(over.deviation, negative_khz=1.2))
    assert any("lopsided" in line for line in advise(lopsided, LIMITS).because)


finite_db = st.floats(-60.0, 60.0)


@given(
    drive_db=st.none() | finite_db,
    half_db=st.floats(0.0, 30.0),
    peak_khz=st.none() | st.floats(0.0, 1e6),
    kind=st.sampled_from(["voice", "tone", "carrier"]),
    conditions=st.lists(st.sampled_from(sorted(CONDITIONS)), max_size=3, unique=True),
    clipped=st.none() | st.floats(0.0, 1.0),
    scale_db=st.floats(0.0, 6.0),
)
def test_what_always_holds(drive_db, half_db, peak_khz, kind, conditions, clipped, scale_db):
    over = an_over(
        drive_db, peak_khz, half_db=half_db, kind=kind, conditions=tuple(conditions), clipped=clipped
    )
    advice = advise(over, LIMITS, scale_uncertainty_db=scale_db)
    assert advice.sentence.strip().endswith(".")
    assert len(advice.sentence) < 200
    assert all(line.strip() and "nan" not in line and "inf" not in line for line in advice.because)
    assert 0.0 <= advice.confidence <= 1.0
    if advice.mic_gain == advice.deviation == "unknown":
        assert advice.confidence == 0.0
    if advice.mic_gain_db is not None:
        assert math.isfinite(advice.mic_gain_db)
        assert {"raise": 1, "lower": -1}[advice.mic_gain] * advice.mic_gain_db > 0
    if advice.deviation_factor is not None:
        assert math.isfinite(advice.deviation_factor)
        assert (advice.deviation_factor > 1.0) == (advice.deviation == "raise")
        assert advice.deviation_factor > 0
    # Never the other way: gates, doubts and a wide interval may take any turn back, and nothing reverses one.
    if drive_db is not None and drive_db > HIGH_DRIVE_DB:
        assert advice.mic_gain in ("lower", "unknown")
    if drive_db is not None and drive_db < LOW_DRIVE_DB:
        assert advice.mic_gain != "lower"
        assert advice.deviation in ("lower", "unknown")
    if peak_khz is None:
        assert advice.deviation == "unknown"
    gates = set(conditions) & set(GATES)
    if gates - {"weak", "too_little_speech", "if_narrow"}:
        assert advice.mic_gain == advice.deviation == "unknown"
    if gates:
        assert advice.mic_gain != "keep"
        # Peaks that the IF clips are at least as high as they read.
        outrun = gates == {"if_narrow"} and kind != "carrier" and peak_khz is not None and peak_khz > 2.5
        assert advice.deviation == ("lower" if outrun else "unknown")


@pytest.mark.parametrize(("drive_db", "peak_khz", "half_db"), [(-1.0, 1.6, 1.0), (1.0, 1.6, 7.0)])
def test_words_too_soft_for_the_deviation_are_asked_for_louder_without_a_word_of_the_trade(
    drive_db: float, peak_khz: float, half_db: float
) -> None:
    advice = advise(an_over(drive_db, peak_khz, half_db=half_db), LIMITS)
    assert (advice.mic_gain, advice.deviation) == ("keep", "unknown")
    assert "Do not turn the deviation yet: say a few words louder first" in advice.sentence
    assert not any(word in advice.sentence for word in ("ceiling", "limiter", "judged"))
