from collections.abc import Callable
from dataclasses import replace

import pytest

from audiotest.records import LimitSet, Over
from audiotest.session.guard import judge_hiss
from audiotest.window.comparison import compare_lines
from audiotest.window.fartext import far_view
from audiotest.window.practice import PRACTICE_FEED
from audiotest.window.presenter import (
    OVERS_KEPT,
    TRAIL_N,
    OverLog,
    control_views,
    feed_line,
    good_region,
    hiss_words,
    map_point,
    needs,
    over_figures,
    over_label,
    sure_words,
    trend_words,
)
from tests.made import flat_path

MakeOver = Callable[..., Over]


@pytest.fixture
def log(limits: LimitSet) -> OverLog:
    return OverLog(limits, PRACTICE_FEED)


def test_the_trail_moves_along_one_axis_when_one_control_is_turned(log: OverLog, over: MakeOver) -> None:
    log.take(over(19.0, 2.3), "10:00:00")
    log.take(over(6.0, 2.3), "10:00:20")
    log.take(over(6.0, 1.5), "10:00:40")
    first, second, third = log.trail()
    assert (first.drive_db, second.drive_db, third.drive_db) == (19.0, 6.0, 6.0)
    assert first.peak_khz == second.peak_khz != third.peak_khz
    assert [point.age for point in (first, second, third)] == [2, 1, 0]


def test_the_trail_is_short_and_the_tape_is_bounded(log: OverLog, over: MakeOver) -> None:
    for _ in range(OVERS_KEPT + 10):
        log.take(over(), "10:00:00")
    assert len(log.heard) == OVERS_KEPT
    assert len(log.trail()) == TRAIL_N
    assert log.trail()[-1].number == OVERS_KEPT + 10
    assert log.find(1) is None


def test_an_over_without_figures_has_no_dot(log: OverLog, over: MakeOver) -> None:
    assert map_point(log.take(over(None, None), "10:00:00")) is None
    assert log.trail() == ()


def test_bounds_of_the_dot(log: OverLog, over: MakeOver) -> None:
    point = map_point(log.take(over(19.0, 2.0), "10:00:00"))
    assert point is not None
    assert (point.drive_low_db, point.drive_high_db) == (16.0, 22.0)
    assert point.peak_low_khz is not None
    assert point.peak_high_khz is not None
    assert point.peak_low_khz < 2.0 < point.peak_high_khz
    assert point.peak_low_khz * point.peak_high_khz == pytest.approx(4.0)


def test_a_drive_that_is_only_bounded_keeps_its_bound(log: OverLog, over: MakeOver) -> None:
    point = map_point(log.take(over(None, 0.8, high_db=-5.0), "10:00:00"))
    assert point is not None
    assert point.drive_db is None
    assert point.drive_high_db == -5.0


def test_knobs_show_way_amount_and_band(log: OverLog, over: MakeOver) -> None:
    mic, deviation = control_views(log.take(over(19.0, 2.3), "10:00:00"))
    assert (mic.turn, mic.word, mic.amount) == ("lower", "DOWN", "14 dB")
    assert (mic.low_db, mic.change_db, mic.high_db) == (-17.0, -14.0, -11.0)
    assert deviation.turn == "keep"
    assert deviation.change_db == 0.0
    assert mic.spoken == "mic gain: down, 14 dB, 11 to 17 dB"


def test_the_trend_says_what_the_last_turn_did(log: OverLog, over: MakeOver) -> None:
    log.take(over(19.0, 2.3), "10:00:00")
    assert trend_words(log.latest) == ""
    log.take(over(8.0, 2.3, start_s=20.0), "10:00:20")
    assert trend_words(log.latest) == "Drive down 11 dB since the last over."
    far = far_view(log.latest, log.limits, None)
    assert far.trend == "Drive down 11 dB since the last over."
    log.take(over(8.0, 2.35, start_s=40.0), "10:00:40")
    assert "as in the last over" in trend_words(log.latest)
    assert [point.moved for point in log.trail()] == [False, True, False]


def test_a_voice_cut_before_the_mic_gain_is_doubted_where_only_the_gain_was_to_go_down(
    log: OverLog, over: MakeOver
) -> None:
    assert log.take(over(14.0, 2.3), "10:00:00").advice.mic_gain == "lower"
    heard = log.take(over(14.2, 1.2, start_s=20.0), "10:00:20")
    assert heard.advice.mic_gain == "unknown"
    assert "compressed_source" in heard.over.conditions
    assert trend_words(heard) == "Deviation down 1.1 kHz since the last over, and the drive stayed."
    assert any("if the mic gain was turned" in line for line in heard.advice.because)
    log.begin()
    assert log.take(over(14.2, 1.2, start_s=40.0), "10:00:40").advice.mic_gain == "lower"


def test_the_trend_skips_a_discarded_over_and_does_not_reach_across_inputs(
    log: OverLog, over: MakeOver
) -> None:
    log.take(over(19.0, 2.3), "10:00:00")
    log.take(over(2.0, 2.3, start_s=20.0), "10:00:20")
    log.discard(2)
    log.take(over(10.0, 2.3, start_s=40.0), "10:00:40")
    assert trend_words(log.latest) == "Drive down 9 dB since the last over."
    log.begin()
    log.take(over(19.0, 2.3, start_s=2.0), "10:01:00")
    assert log.latest is not None
    assert trend_words(log.latest) == ""
    assert "no over before it" in log.latest.trend.reason


def test_knobs_without_an_over_claim_nothing() -> None:
    for view in control_views(None):
        assert view.turn == "unknown"
        assert view.change_db is view.low_db is view.high_db is None
    assert sure_words(None) == ""


def test_far_view_names_the_first_control_and_its_figure(log: OverLog, over: MakeOver) -> None:
    far = far_view(log.take(over(19.0, 3.4), "10:00:00"), log.limits, None)
    assert (far.headline, far.amount) == ("MIC GAIN DOWN", "14 dB")
    assert far.then.startswith("then deviation down")
    assert far.figure == "drive +19 dB"
    far = far_view(log.take(over(5.0, 1.2), "10:00:00"), log.limits, None)
    assert far.headline == "DEVIATION UP"
    assert far.figure == "peak 1.20 kHz"
    assert far.figure_note == "right: 1.75 to 2.50 kHz"


def test_far_view_when_all_is_right_or_nothing_is_known(
    log: OverLog, over: MakeOver, reading: Callable[..., object]
) -> None:
    assert far_view(log.take(over(5.0, 2.2), "10:00:00"), log.limits, None).headline == "BOTH RIGHT"
    spoilt = far_view(log.take(over(5.0, 2.2, conditions=("overload",)), "10:00:00"), log.limits, None)
    assert spoilt.headline == "NOT YET"
    assert (spoilt.figure, spoilt.strip) == ("", None)
    assert "overload" in spoilt.then
    first = far_view(None, log.limits, reading())  # type: ignore[arg-type]
    assert first.headline == "TALK"
    assert first.figure == "1.80 kHz"


def test_needs_takes_mic_gain_first(log: OverLog, over: MakeOver) -> None:
    assert needs(log.take(over(19.0, 1.0), "10:00:00").advice) == "lower"
    assert needs(log.take(over(5.0, 1.0), "10:00:00").advice) == "raise"
    assert needs(log.take(over(5.0, 2.2), "10:00:00").advice) == "keep"
    assert needs(log.take(over(None, None), "10:00:00").advice) == "unknown"


def test_feed_line_always_says_scale_and_loss(reading: Callable[..., object]) -> None:
    calm = feed_line("line in", PRACTICE_FEED, reading(), "hiss guard: scale holds (+0.1 dB)", None)  # type: ignore[arg-type]
    assert not calm.trouble
    assert "8.00 kHz" in calm.scale
    assert calm.lost == "no drop-outs"
    lost = feed_line("line in", None, reading(lost_n=960), "", None)  # type: ignore[arg-type]
    assert lost.trouble
    assert "960" in lost.lost
    assert "no scale" in lost.scale
    assert feed_line("line in", None, None, "", "unplugged").state == "unplugged"


def test_feed_line_says_that_the_limiters_ceiling_is_counted_on() -> None:
    path = flat_path(ceiling_fs=0.28)
    said = feed_line("line in", replace(PRACTICE_FEED, path=path), None, "", None)
    assert said.scale.endswith(", limiter holds 2.24 kHz")
    without = feed_line(
        "line in", replace(PRACTICE_FEED, path=replace(path, ceiling_fs=None)), None, "", None
    )
    assert "limiter" not in without.scale


def test_labels_and_comparison(log: OverLog, over: MakeOver) -> None:
    before, after = log.take(over(19.0, 2.3), "10:00:00"), log.take(over(6.0, 1.6), "10:00:20")
    assert over_label(before).startswith("over 1, 10:00:00, mic gain: down, 14 dB")
    assert over_figures(before) == "+19 dB  2.30 kHz"
    assert "drive: 19.0 → 6.0 dB (−13.0)" in compare_lines(before, after)
    nothing = replace(over(None, None), level=replace(before.over.level, active_speech_dbfs=None))
    assert not any("drive" in line for line in compare_lines(before, log.take(nothing, "10:00:40")))


def test_a_drive_just_below_nought_is_not_less_than_nought(log: OverLog, over: MakeOver) -> None:
    assert over_figures(log.take(over(-0.3, 1.87), "10:00:00")) == "+0 dB  1.87 kHz"
    assert over_figures(log.take(over(-0.7, 1.87), "10:00:20")) == "−1 dB  1.87 kHz"


def test_discard(log: OverLog, over: MakeOver) -> None:
    for _ in range(3):
        log.take(over(), "10:00:00")
    log.discard(2)
    assert [heard.number for heard in log.heard] == [1, 3]
    assert log.take(over(), "10:00:00").number == 4


def test_region_is_that_of_the_advice(limits: LimitSet) -> None:
    region = good_region(limits)
    assert (region.drive_low_db, region.drive_high_db) == (-3.0, 8.0)
    assert (region.peak_low_khz, region.peak_high_khz) == (1.75, 2.5)


@pytest.mark.parametrize(
    ("levels", "learned", "words"),
    [
        ((), -14.5, "waits for hiss"),
        ((-14.4, -14.6, -14.4), -14.5, "scale holds (+0.1 dB)"),
        ((-8.4, -8.6, -8.5), -14.5, "level moved +6.0 dB, learn the scale again"),
        ((-80.0, -80.0, -80.0), -14.5, "squelch closed"),
        ((-14.5, -14.5, -14.5, -17.5, -17.5, -17.5), None, "level moved −3.0 dB since the first hiss"),
    ],
)
def test_the_word_of_the_hiss_guard(levels: tuple[float, ...], learned: float | None, words: str) -> None:
    drift = judge_hiss([(0.5 * k, level) for k, level in enumerate(levels)], learned)
    assert words in hiss_words(drift, True)
    assert hiss_words(drift, False) == "hiss guard: no scale to guard"
