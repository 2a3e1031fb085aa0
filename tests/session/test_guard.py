"""The hiss guard: what moved, what did not, and what is no hiss at all."""

import math
from dataclasses import FrozenInstanceError

import numpy as np
import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from audiotest.measure.filters import bandpass
from audiotest.radio.link import laboratory_hiss
from audiotest.radio.settings import Receiver, SoundCard
from audiotest.session.guard import MOVED_DB, judge_hiss
from audiotest.units import amplitude_db

LEARNED = -14.5


def readings(*levels, step_s=10.0):
    return [(step_s * k, level) for k, level in enumerate(levels)]


def test_hiss_at_its_learned_level_says_nothing():
    drift = judge_hiss(readings(-14.4, -14.6, -14.5, -14.3), LEARNED)
    assert (drift.state, drift.sentence, drift.reference) == ("holds", "", "learned")
    assert drift.shift_db == pytest.approx(0.0, abs=0.2)
    assert drift.since_s is None


@pytest.mark.parametrize("shift", [-9.0, -3.0, 3.0, 6.0])
def test_a_moved_volume_control_is_named_with_its_size_and_time(shift):
    before, after = [-14.4, -14.6, -14.5], [LEARNED + shift + d for d in (0.1, -0.1, 0.0)]
    drift = judge_hiss(readings(*before, *after), LEARNED)
    assert drift.state == "moved"
    assert drift.shift_db == pytest.approx(shift, abs=0.15)
    assert drift.since_s == 30.0
    assert (
        f"{abs(shift):.0f} dB {'up' if shift > 0 else 'down'} since the scale was learned" in drift.sentence
    )


def test_put_back_it_holds_again():
    drift = judge_hiss(readings(-14.5, -11.5, -11.5, -11.5, -14.5, -14.4, -14.6), LEARNED)
    assert drift.state == "holds"


@pytest.mark.parametrize("tail", [-18.0, -11.0, -30.0, -8.0])
def test_one_squelch_tail_or_passing_carrier_decides_nothing(tail):
    for at in range(4):
        levels = [-14.4, -14.6, -14.5, -14.5]
        levels[at] = tail
        assert judge_hiss(readings(*levels), LEARNED).state == "holds"
    moved = judge_hiss(readings(-11.5, -11.4, tail, -11.6, -11.5), LEARNED)
    assert moved.state == "moved"
    assert moved.since_s == 0.0


def test_a_shut_squelch_is_no_fall_of_the_hiss():
    drift = judge_hiss(readings(-14.5, -78.0, -79.0, -78.5), LEARNED)
    assert (drift.state, drift.shift_db, drift.sentence) == ("closed", None, "")
    assert judge_hiss(readings(-78.0, -14.5, -79.0, -14.4, -78.5, -14.6), LEARNED).state == "holds"


def test_too_few_or_quarrelling_readings_are_unknown():
    assert judge_hiss([], LEARNED).state == "unknown"
    assert judge_hiss(readings(-11.5, -11.5), LEARNED).state == "unknown"
    assert judge_hiss(readings(-20.0, -11.5, -16.0, -25.0, -8.0), LEARNED).state == "unknown"
    nothing = [(1.0, math.nan), (2.0, -math.inf), (math.nan, -11.0)]
    drift = judge_hiss(nothing, LEARNED)
    assert (drift.state, drift.readings_n) == ("unknown", 0)


def test_without_a_learned_level_the_sessions_first_hiss_is_the_reference():
    levels = (-20.2, -20.0, -20.1, -17.1, -17.0, -17.2)
    drift = judge_hiss(readings(*levels, step_s=30.0), None)
    assert (drift.state, drift.reference, drift.since_s) == ("moved", "session", 90.0)
    assert "3 dB up since 1:30 of this session" in drift.sentence
    assert "learn the feed again" in drift.sentence
    assert "learn" not in judge_hiss(readings(*levels), None, has_scale=False).sentence
    assert judge_hiss(readings(*levels[:3]), None).state == "holds"


def test_without_a_learned_level_a_squelch_shut_at_first_is_no_reference():
    drift = judge_hiss(readings(-80.0, -80.1, -80.0, -15.0, -15.1, -15.0, -15.2), None)
    assert drift.state == "holds"


def test_the_record_is_frozen():
    with pytest.raises(FrozenInstanceError):
        judge_hiss([], None).state = "moved"  # type: ignore[misc]


@example([(0.0, 5.9e293), (0.0, -1.79769313486231e308), (0.0, -1.79769313486231e308)], None)
@given(st.lists(st.tuples(st.floats(), st.floats()), max_size=12), st.none() | st.floats(-100.0, 0.0))
def test_no_readings_break_it_and_nothing_is_nan(heard, learned):
    drift = judge_hiss(heard, learned)
    for figure in (drift.shift_db, drift.error_db, drift.since_s):
        # Not measured, or a number: each is right for some readings.
        assert figure is None or math.isfinite(figure)
    assert (drift.state == "moved") == bool(drift.sentence)
    if drift.state == "moved":
        assert abs(drift.shift_db) >= MOVED_DB - 0.01


def test_real_hiss_scatters_far_less_than_the_threshold():
    hiss = laboratory_hiss(6.0, Receiver(), SoundCard(), seed=5)
    rate = hiss.sample_rate_hz
    band = bandpass(hiss.audio, rate, 300.0, 3400.0)
    levels = [amplitude_db(float(np.sqrt(np.mean(p**2)))) for p in np.array_split(band, 12)]
    # Half a second of Gaussian noise in 3.1 kHz: 4.34/sqrt(B·T) = 0.11 dB (textbook); the high-pass and the
    # de-emphasis narrow the band, clicks of the discriminator widen the scatter.
    assert np.std(levels) < 0.4
    assert judge_hiss([(0.5 * k, level) for k, level in enumerate(levels)], levels[0]).state == "holds"
    up = [(0.5 * k, level + (3.0 if k >= 6 else 0.0)) for k, level in enumerate(levels)]
    assert judge_hiss(up, levels[0]).since_s == 3.0
