"""Speech that is faint, sparse, in noise or not there at all: which of them it is, and the one remedy."""

from dataclasses import replace

import pytest

from audiotest.advise.rules import advise
from audiotest.advise.wording import doubt_lines
from audiotest.measure.conditions import CONDITIONS
from audiotest.records import Noise, Over
from tests.advise.invented import LIMITS, an_over


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


def test_a_bare_carrier_asks_for_speech():
    advice = advise(an_over(None, None, kind="carrier", conditions=("not_voice",)), LIMITS)
    assert (advice.mic_gain, advice.deviation) == ("unknown", "unknown")
    assert "talk" in advice.sentence
