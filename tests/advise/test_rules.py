"""The advice table, row by row, with every gate and every boundary."""

import math
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from audiotest.advise.rules import (
    GATES,
    HIGH_DRIVE_DB,
    LOW_DRIVE_DB,
    TARGET_DRIVE_DB,
    advise,
)
from audiotest.advise.wording import doubt_lines
from audiotest.measure.conditions import CONDITIONS
from audiotest.measure.over import NO_SCALE, PEAKS_CUT
from audiotest.records import Deviation, Level, Limiter, LimitSet, Noise, Over

LIMITS = LimitSet(
    id="uk-27fm", title="", deviation_khz=2.5, spacing_khz=10.0, audio_high_hz=3000.0, channels="", source=""
)


def an_over(
    drive_db: float | None = 4.0,
    peak_khz: float | None = 2.2,
    *,
    half_db: float = 1.0,
    kind: str = "voice",
    conditions: tuple[str, ...] = (),
    clipped: float | None = 0.2,
) -> Over:
    low, high = (None, None) if drive_db is None else (drive_db - half_db, drive_db + half_db)
    return Over(
        start_s=0.0,
        end_s=10.0,
        kind=kind,
        speech_start_s=0.5,
        speech_end_s=9.5,
        level=Level(active_speech_dbfs=-20.0, activity=0.8, crest_db=14.0),
        deviation=Deviation(
            peak_khz=peak_khz,
            p999_khz=peak_khz,
            rms_khz=None if peak_khz is None else peak_khz / 4,
            positive_khz=peak_khz,
            negative_khz=peak_khz,
            limit_khz=2.5,
        ),
        limiter=Limiter(
            drive_db=drive_db,
            drive_low_db=low,
            drive_high_db=high,
            clipped_fraction=clipped,
            reached=None if drive_db is None else drive_db > 0,
        ),
        noise=Noise(quieting_db=30.0, snr_db=40.0, hum_hz=None, hum_db=None),
        tone=None,
        subaudible=None,
        end_beep=None,
        overload_runs=0,
        conditions=conditions,
        notes=(),
    )


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


@pytest.mark.parametrize("name", ["weak", "too_little_speech"])
def test_long_speech_on_a_strong_carrier_is_called_faint(name):
    advice = advise(an_over(None, 1.9, conditions=(name,)), LIMITS)
    assert advice.mic_gain == "unknown"
    assert CONDITIONS["faint"].meaning in advice.sentence


def test_a_few_words_with_long_pauses_are_called_too_little_speech():
    over = an_over(None, 1.9, conditions=("too_little_speech",))
    sparse = replace(over, level=replace(over.level, activity=0.25))
    assert CONDITIONS["faint"].meaning in advise(over, LIMITS).sentence
    assert CONDITIONS["too_little_speech"].meaning in advise(sparse, LIMITS).sentence


def faint_over(peak_khz: float | None, snr_db: float = 9.0, **changes) -> Over:
    over = an_over(None, peak_khz, conditions=("weak", "too_little_speech"))
    return replace(over, noise=Noise(quieting_db=40.0, snr_db=snr_db, hum_hz=None, hum_db=None), **changes)


@pytest.mark.parametrize("peak_khz", [0.5, None])
def test_faint_speech_far_below_the_limit_on_a_strong_carrier_means_more_mic_gain(peak_khz):
    advice = advise(faint_over(peak_khz), LIMITS)
    assert (advice.mic_gain, advice.deviation) == ("raise", "unknown")
    assert advice.mic_gain_db is not None
    assert advice.mic_gain_db >= 8.0
    assert 0.5 < advice.confidence < 0.95
    assert "faint" in advice.sentence
    assert not any("stronger signal" in line for line in advice.because)


def test_faint_speech_needs_evidence_before_the_mic_gain_is_named():
    few_words = faint_over(0.5, speech_end_s=1.5)
    weak_carrier = replace(faint_over(0.5), noise=replace(faint_over(0.5).noise, quieting_db=12.0))
    no_hiss = replace(faint_over(None), noise=replace(faint_over(None).noise, quieting_db=None))
    over_a_codec, levelled = (
        replace(faint_over(0.5), conditions=(*faint_over(0.5).conditions, name))
        for name in ("codec", "levelling")
    )
    perhaps_clipped = faint_over(0.5, limiter=an_over(7.0, half_db=3.0).limiter)
    for over in (few_words, weak_carrier, no_hiss, over_a_codec, levelled, perhaps_clipped):
        assert advise(over, LIMITS).mic_gain == "unknown"


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


def test_without_hiss_the_scale_tells_a_strong_carrier():
    def behind_squelch(peak_khz: float, snr_db: float) -> Over:
        return replace(
            faint_over(peak_khz), noise=Noise(quieting_db=None, snr_db=snr_db, hum_hz=None, hum_db=None)
        )

    # A fifth of 2.5 kHz and 9 dB over the noise: hiss would be 18 + 14 + 9 = 41 dB over it.
    assert advise(behind_squelch(0.5, 9.0), LIMITS).mic_gain == "raise"
    # 2.5 kHz and 2 dB over the noise: the carrier is weak, and the speech is not.
    assert advise(behind_squelch(2.5, 2.0), LIMITS).mic_gain == "unknown"


def test_faint_speech_that_reaches_the_limiter_asks_for_more_speech_and_keeps_nothing():
    over = replace(
        faint_over(0.9), conditions=("too_little_speech",), limiter=an_over(0.5, half_db=2.5).limiter
    )
    advice = advise(over, LIMITS)
    assert (advice.mic_gain, advice.deviation) == ("unknown", "unknown")
    assert advice.sentence.startswith("First ")


def test_peaks_far_below_the_limit_settle_an_uncertain_drive():
    # At -1.5 dB, give or take 6, it could be either; at a sixth of the limit the ceiling cannot be reached.
    assert advise(an_over(-1.5, 2.2, half_db=6.0), LIMITS).mic_gain == "keep"
    assert advise(an_over(-1.5, 0.4, half_db=6.0), LIMITS).mic_gain == "raise"
    assert advise(an_over(6.0, 0.4, half_db=1.5), LIMITS).mic_gain == "keep"


def test_a_bare_strong_carrier_may_be_a_dead_microphone():
    over = an_over(None, None, kind="carrier", conditions=("not_voice",))
    assert "mic gain" in advise(over, LIMITS).sentence


@pytest.mark.parametrize(
    ("quieting_db", "remedy", "not_said"),
    [(32.0, "mic gain well up", "stronger signal"), (12.0, "stronger signal", "mic gain"),
     (None, "noise hides it", "dead")],
)  # fmt: skip
def test_speech_that_is_not_heard_has_the_remedy_that_fits_the_carrier(quieting_db, remedy, not_said):
    carrier = an_over(None, None, kind="carrier", conditions=("not_voice",))
    noise = Noise(quieting_db=quieting_db, snr_db=None, hum_hz=None, hum_db=None)
    sentence = advise(replace(carrier, noise=noise), LIMITS).sentence
    assert sentence.startswith("Only a carrier, no speech heard: talk for at least five seconds.")
    assert remedy in sentence
    assert not_said not in sentence


NOISY, STRONG = (12.0, "get a stronger signal", "talk"), (32.0, "talk louder", "stronger signal")


@pytest.mark.parametrize("said_s", [3.0, 9.0])
@pytest.mark.parametrize(
    ("conditions", "carrier"),
    [
        (("weak", "too_little_speech"), NOISY),
        (("too_little_speech", "weak"), NOISY),
        (("weak", "too_little_speech", "not_speech"), NOISY),
        (("weak", "too_little_speech"), STRONG),
        (("too_little_speech", "weak"), STRONG),
    ],
)
def test_speech_in_noise_has_one_remedy(conditions, said_s, carrier):
    quieting_db, remedy, other = carrier
    over = an_over(None, 2.2, conditions=conditions)
    noise = Noise(quieting_db=quieting_db, snr_db=6.0, hum_hz=None, hum_db=None)
    over = replace(over, noise=noise, speech_end_s=0.5 + said_s)
    advice = advise(over, LIMITS)
    assert (advice.mic_gain, advice.deviation) == ("unknown", "unknown")
    (doubt,) = doubt_lines(over)
    assert doubt in advice.because
    for text in (advice.sentence, doubt):
        assert remedy in text
        assert other not in text


def test_overload_is_put_right_before_anything_else():
    advice = advise(an_over(conditions=("too_little_speech", "weak", "overload")), LIMITS)
    assert CONDITIONS["overload"].remedy in advice.sentence


def test_every_condition_the_rules_use_is_described():
    assert set(GATES) <= set(CONDITIONS)


@pytest.mark.parametrize("name", ["levelling", "compressed_source", "codec"])
def test_a_doubt_leaves_the_direction_and_takes_confidence(name):
    sure = advise(an_over(14.0), LIMITS)
    doubted = advise(an_over(14.0, conditions=(name,)), LIMITS)
    assert doubted.mic_gain == sure.mic_gain
    assert doubted.confidence < sure.confidence
    assert any(CONDITIONS[name].meaning in line for line in doubted.because)


def test_without_a_scale_the_mic_gain_is_still_judged():
    advice = advise(an_over(14.0, None), LIMITS)
    assert (advice.mic_gain, advice.deviation, advice.deviation_factor) == ("lower", "unknown", None)
    assert "learn the feed's scale first" in advice.sentence


def test_a_scale_is_asked_for_only_where_none_was_learned():
    none = an_over(14.0, None)
    unlearned = advise(replace(none, notes=(NO_SCALE,)), LIMITS)
    assert "no figure in kHz: the feed's scale has not been learned" in unlearned.because
    overloaded = replace(none, conditions=("overload",), overload_runs=3, notes=(PEAKS_CUT,))
    for other in (overloaded, none):
        assert not any("scale" in line for line in advise(other, LIMITS).because)


def test_a_wide_interval_gives_no_direction():
    assert advise(an_over(2.5, half_db=12.0), LIMITS).mic_gain == "unknown"
    assert advise(an_over(2.5, half_db=6.0), LIMITS).mic_gain == "keep"


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


def test_a_bare_carrier_asks_for_speech():
    advice = advise(an_over(None, None, kind="carrier", conditions=("not_voice",)), LIMITS)
    assert (advice.mic_gain, advice.deviation) == ("unknown", "unknown")
    assert "talk" in advice.sentence


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
        assert advice.deviation == "unknown" or (gates == {"if_narrow"} and advice.deviation == "lower")


@pytest.mark.parametrize(("drive_db", "peak_khz", "half_db"), [(-1.0, 1.6, 1.0), (1.0, 1.6, 7.0)])
def test_words_too_soft_for_the_deviation_are_asked_for_louder_without_a_word_of_the_trade(
    drive_db: float, peak_khz: float, half_db: float
) -> None:
    advice = advise(an_over(drive_db, peak_khz, half_db=half_db), LIMITS)
    assert (advice.mic_gain, advice.deviation) == ("keep", "unknown")
    assert "Do not turn the deviation yet: say a few words louder first" in advice.sentence
    assert not any(word in advice.sentence for word in ("ceiling", "limiter", "judged"))


def test_the_examples_of_a_learned_feed_in_the_readme_state_the_deemphasis() -> None:
    """A card that must judge it from the noise says so on every over: an example should not ask for that."""
    text = (Path(__file__).parents[2] / "README.md").read_text(encoding="utf-8")
    examples = [line for line in text.splitlines() if "feed learn tone.wav" in line]
    assert examples
    assert all("--deemphasis-us" in line for line in examples)
