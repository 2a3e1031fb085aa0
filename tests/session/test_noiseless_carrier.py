"""A carrier so strong, or recorded so low, that it leaves nothing at all in the pauses: zeros are no edge."""

from functools import cache
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from audiotest.radio.voices import load_voice
from audiotest.session.engine import Engine
from audiotest.standards.limits import get_limits

RATE_HZ = 16000
SOUNDING_S = 0.02


@cache
def words(seconds: float = 5.0) -> NDArray[np.float32]:
    """Speech whose pauses hold nothing: frames 35 dB under the loudest are zero."""
    voice, rate_hz = load_voice("russian_female")
    assert rate_hz == RATE_HZ
    frame_n = round(SOUNDING_S * RATE_HZ)
    frames = np.asarray(voice[: round(seconds * RATE_HZ)], np.float32).reshape(-1, frame_n).copy()
    power = np.sqrt(np.mean(frames**2, axis=1))
    frames[power < power.max() * 10 ** (-35 / 20)] = 0.0
    spoken = frames.ravel()
    # The test is about such gaps: there have to be some.
    assert longest_gap_s(spoken) > 0.25
    return 0.3 * spoken / np.max(np.abs(spoken))


def longest_gap_s(wave: NDArray[np.float32]) -> float:
    """Longest run of zeros between the first sound and the last."""
    return float(np.max(np.diff(np.flatnonzero(wave)))) / RATE_HZ


def nothing(seconds: float) -> NDArray[np.float32]:
    return np.zeros(round(seconds * RATE_HZ), np.float32)


def hiss(seconds: float) -> NDArray[np.float32]:
    return (0.2 * np.random.default_rng(7).standard_normal(round(seconds * RATE_HZ))).astype(np.float32)


def overs_of(*parts: NDArray[np.float32]) -> list[Any]:
    audio = np.concatenate(parts)
    engine = Engine(RATE_HZ, feed=None, limits=get_limits("uk-27fm"))
    found = []
    for at in range(0, len(audio), 1000):
        found += engine.push(audio[at : at + 1000])
    return found + engine.finish()


@pytest.mark.parametrize("hiss_s", [0.80, 0.81, 0.82, 0.83])
def test_pauses_of_a_carrier_that_silenced_the_hiss_do_not_end_the_over(hiss_s):
    overs = overs_of(hiss(hiss_s), nothing(0.4), words(), nothing(0.3), words(), nothing(0.2), hiss(0.8))
    assert [over.kind for over in overs] == ["voice"]
    assert overs[0].start_s == pytest.approx(hiss_s, abs=0.05)
    assert overs[0].end_s == pytest.approx(hiss_s + 10.9, abs=0.05)


def test_a_squelch_that_is_closed_on_hiss_is_no_over_and_the_next_one_is_found():
    carrier = words() + 1e-3 * hiss(5.0)
    overs = overs_of(hiss(1.0), nothing(6.0), 1e-3 * hiss(0.3), carrier, nothing(6.0))
    assert [over.kind for over in overs] == ["voice"]
    assert overs[0].start_s == pytest.approx(7.0, abs=0.1)
    assert overs[0].end_s == pytest.approx(12.3, abs=0.1)


def test_pauses_behind_a_squelch_do_not_end_the_over_and_two_seconds_do():
    overs = overs_of(nothing(0.8), words(), nothing(2.5), words(), nothing(0.8))
    assert [over.kind for over in overs] == ["voice", "voice"]
    assert overs[0].end_s == pytest.approx(5.8, abs=0.35)
    assert overs[1].start_s == pytest.approx(8.3, abs=0.35)


def test_a_recording_of_nothing_but_words_is_one_over():
    overs = overs_of(words())
    assert [over.kind for over in overs] == ["voice"]
    assert overs[0].end_s - overs[0].start_s == pytest.approx(5.0, abs=0.35)


def test_a_squelch_that_cuts_to_nothing_still_ends_an_over_with_noise_at_once():
    carrier = words() + 1e-3 * hiss(5.0)
    audio = np.concatenate([nothing(0.8), 1e-3 * hiss(0.3), carrier, nothing(0.4)])
    engine = Engine(RATE_HZ, feed=None, limits=get_limits("uk-27fm"))
    overs = engine.push(audio)
    assert len(overs) == 1
    assert overs[0].end_s == pytest.approx(6.1, abs=0.05)
    assert overs[0].start_s == pytest.approx(0.8, abs=0.05)


def noise(seconds: float) -> NDArray[np.float32]:
    """A carrier's own, without a word."""
    return 1e-3 * hiss(seconds)


@pytest.mark.parametrize("hold_s", [0.1, 0.3, 0.5])
def test_a_noise_gate_that_cuts_pauses_to_nothing_does_not_split_the_over(hold_s):
    """What tells it from a squelch is that it opens for a word, where a squelch opens for a carrier."""
    said = words() + noise(5.0)
    gated = (said, noise(hold_s), nothing(0.7), said, noise(hold_s))
    overs = overs_of(nothing(0.8), *gated, nothing(2.0), *gated, nothing(1.0))
    assert [over.kind for over in overs] == ["voice", "voice"]
    long_s = 10.7 + 2 * hold_s
    edges = [(over.start_s, over.end_s) for over in overs]
    # The first word begins softly, and by one cell or two of 40 ms late.
    assert np.allclose(edges, [(0.8, 0.8 + long_s), (2.8 + long_s, 2.8 + 2 * long_s)], atol=0.2)


def test_overs_that_follow_each_other_closely_behind_a_silent_squelch_stay_two():
    keyed = (noise(0.3), words() + noise(5.0), noise(0.3))
    overs = overs_of(nothing(0.8), *keyed, nothing(0.7), *keyed, nothing(0.4))
    edges = [(over.start_s, over.end_s) for over in overs]
    assert np.allclose(edges, [(0.8, 6.4), (7.1, 12.7)], atol=0.05)


def test_a_squelch_s_tail_is_no_speech_where_the_carrier_is_as_quiet_as_the_squelch():
    """Nothing tells where the carrier came up; where it dropped, the burst of hiss does."""
    spoken, burst = np.concatenate([nothing(1.0), words(), nothing(0.2)]), 4.0 * hiss(0.1)
    quiet = 2e-3 * hiss(7.0)
    audio = np.concatenate([spoken, burst, nothing(0.7)])
    (over,) = overs_of(audio + quiet)
    assert over.kind == "voice"
    assert over.end_s == pytest.approx(6.2, abs=0.02)
    (plain,) = overs_of(np.concatenate([spoken, nothing(0.8)]) + quiet)
    assert over.level.active_speech_dbfs == pytest.approx(plain.level.active_speech_dbfs, abs=0.1)
