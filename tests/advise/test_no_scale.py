"""A feed whose scale has not been learned: what is still said, and what is asked for."""

from dataclasses import replace
from pathlib import Path

from audiotest.advise.rules import advise
from audiotest.measure.over import NO_SCALE, PEAKS_CUT
from tests.advise.invented import LIMITS, an_over


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


def test_the_examples_of_a_learned_feed_in_the_readme_state_the_deemphasis() -> None:
    """A card that must judge it from the noise says so on every over: an example should not ask for that."""
    text = (Path(__file__).parents[2] / "README.md").read_text(encoding="utf-8")
    examples = [line for line in text.splitlines() if "feed learn tone.wav" in line]
    assert examples
    assert all("--deemphasis-us" in line for line in examples)
