"""The balance procedure on a simulated set that came in harsh: both controls end where they belong."""

from dataclasses import replace

import pytest

from audiotest.records import Advice
from audiotest.standards.limits import get_limits
from audiotest.tones import balance as balance_module
from audiotest.tones.balance import balance
from audiotest.tones.guided import carry_out
from audiotest.tones.rehearsal import DEMO_SET, MONITOR_FEED, Rehearsal
from tests.made import flat_path

LIMITS = get_limits("uk-27fm")


def figures(report):
    return {figure.key: figure.value for figure in report.figures}


@pytest.mark.parametrize(("mic_gain_db", "ceiling_khz"), [(30.0, 1.6), (10.0, 3.4)])
def test_both_controls_end_where_they_belong(mic_gain_db, ceiling_khz):
    unit = replace(DEMO_SET, transmitter=replace(DEMO_SET.transmitter, ceiling_khz=ceiling_khz))
    bench = Rehearsal(unit=unit, mic_gain_db=mic_gain_db)
    report = carry_out(balance(MONITOR_FEED, LIMITS), bench)
    found = figures(report)
    last = bench.truths[-1]
    assert report.complete, report.notes
    assert -3.0 <= last.drive_db <= 8.0, report.notes
    assert 0.7 * LIMITS.deviation_khz <= last.peak_khz <= LIMITS.deviation_khz, report.notes
    assert found["mic_gain_turned_db"] == pytest.approx(bench.mic_gain_db - mic_gain_db)
    assert found["deviation_turned"] == pytest.approx(bench.unit.transmitter.ceiling_khz / ceiling_khz)
    assert not any("not settled" in note for note in report.notes)


def test_what_was_turned_is_kept_when_it_is_cut_short():
    def stop(step):
        if bench.truths and step.speak:
            raise KeyboardInterrupt

    bench = Rehearsal(mic_gain_db=30.0, on_step=stop)
    report = carry_out(balance(MONITOR_FEED, LIMITS), bench)
    assert not report.complete
    assert bench.silent
    assert figures(report)["mic_gain_turned_db"] < -3.0


def test_the_sign_of_what_is_turned_is_said_where_it_is_typed():
    asked = []
    bench = Rehearsal(mic_gain_db=30.0, on_step=lambda step: asked.extend(step.asks))
    carry_out(balance(MONITOR_FEED, LIMITS), bench)
    first = next(ask for ask in asked if ask.setting == "mic_gain_db")
    assert first.suggested < 0.0
    assert first.words == "turn mic gain down (minus is down)"


def test_a_balance_that_does_not_settle_is_not_complete_and_passes_nothing(monkeypatch):
    never = Advice(
        mic_gain="unknown", mic_gain_db=None, deviation="unknown", deviation_factor=None, confidence=0.2,
        sentence="Talk again.", because=(),
    )  # fmt: skip
    monkeypatch.setattr(balance_module, "advise", lambda *_, **__: never)
    report = carry_out(balance(MONITOR_FEED, LIMITS), Rehearsal(mic_gain_db=20.0))
    assert not report.complete
    assert report.passed is not True
    assert any("not settled in 8 overs" in note for note in report.notes)
    assert figures(report)["mic_gain_turned_db"] == 0.0
    assert figures(report)["peak_khz"] > 0.0


def test_without_a_scale_the_mic_gain_alone_is_settled():
    bench = Rehearsal(mic_gain_db=30.0)
    report = carry_out(balance(None, LIMITS), bench)
    assert report.complete, report.notes
    assert len(bench.truths) < 8
    assert -3.0 <= bench.truths[-1].drive_db <= 8.0, report.notes
    assert figures(report)["deviation_turned"] == 1.0
    assert figures(report)["peak_khz"] is None
    assert any("only the mic gain is settled" in note for note in report.notes)


def test_once_the_deviation_was_turned_the_limiters_ceiling_is_left_out(monkeypatch):
    """It has moved with the control."""
    told, measure = [], balance_module._longest

    def watched(heard, feed, limits):
        told.append(feed.keeps_ceiling)
        return measure(heard, MONITOR_FEED, limits)

    monkeypatch.setattr(balance_module, "_longest", watched)
    unit = replace(DEMO_SET, transmitter=replace(DEMO_SET.transmitter, ceiling_khz=3.4))
    bench = Rehearsal(unit=unit, mic_gain_db=10.0)
    feed = replace(MONITOR_FEED, path=flat_path(ceiling_fs=0.3))
    found = figures(carry_out(balance(feed, LIMITS), bench))
    assert found["deviation_turned"] != 1.0
    assert told[0]
    assert not told[-1]
    assert told == sorted(told, reverse=True)
