"""Onset and knee from a staircase of tones, against the clipper that made it."""

import numpy as np
import pytest

from audiotest.errors import MeasureError
from audiotest.measure.steppedtone import (
    compressed_at,
    expected_nulls_db,
    find_steps,
    fit_steps,
    harmonic_nulls,
    measure_steps,
)
from audiotest.radio.transmitter import analogue_highpass, analogue_lowpass, filtered, padded_bins

RATE_HZ = 48000
LEVELS_MV = tuple(float(10 ** (db / 20)) for db in range(-12, 17, 2))
ONSET_MV = 1.7


def staircase(limit, *, noise=1e-3, tone_hz=400.0, levels_mv=LEVELS_MV):
    """A tone at rising levels through a limiter of threshold `ONSET_MV`, filters and noise."""
    t = np.arange(round(0.4 * RATE_HZ)) / RATE_HZ
    rest = np.zeros(round(0.12 * RATE_HZ))
    steps = [part for mv in levels_mv for part in (mv / ONSET_MV * np.sin(2 * np.pi * tone_hz * t), rest)]
    sent = limit(np.concatenate([rest, *steps]))
    hz = padded_bins(len(sent), RATE_HZ)
    heard = filtered(
        sent, RATE_HZ, analogue_highpass(2, 300.0, hz) * analogue_lowpass("chebyshev", 4, 3000.0, hz)
    )
    return 0.2 * (heard + noise * np.random.default_rng(4).standard_normal(len(heard)))


def soft(p):
    return lambda u: u / (1.0 + np.abs(u) ** p) ** (1.0 / p)


@pytest.mark.parametrize("noise", [1e-3, 3e-2])
def test_onset_and_knee_of_a_hard_clipper(noise):
    fit, drives = measure_steps(staircase(lambda u: np.clip(u, -1.0, 1.0), noise=noise), RATE_HZ, LEVELS_MV)
    assert 20 * np.log10(fit.onset_mv / ONSET_MV) == pytest.approx(0.0, abs=0.3)
    # A hard-clipped sine has lost 1 dB of its fundamental at 2.00 dB of overdrive (Fourier series, textbook).
    assert fit.knee_db == pytest.approx(2.0, abs=0.3)
    assert drives == pytest.approx([20 * np.log10(mv / ONSET_MV) for mv in LEVELS_MV], abs=0.3)


@pytest.mark.parametrize("p", [3.0, 5.0, 8.0])
def test_onset_of_a_soft_clipper(p):
    fit, _ = measure_steps(staircase(soft(p)), RATE_HZ, LEVELS_MV)
    assert 20 * np.log10(fit.onset_mv / ONSET_MV) == pytest.approx(0.0, abs=0.3)
    assert fit.knee == pytest.approx(p, rel=0.35)
    angle = np.pi * (np.arange(4096) + 0.5) / 4096
    drives = np.arange(-3.0, 4.0, 0.01)
    lost = [
        d - 20 * np.log10(2 * np.mean(soft(p)(10 ** (d / 20) * np.sin(angle)) * np.sin(angle)))
        for d in drives
    ]
    assert fit.knee_db == pytest.approx(float(np.interp(1.0, lost, drives)), abs=0.3)


def test_a_missing_step_and_a_limiter_that_never_acts_are_refused():
    heard = staircase(lambda u: np.clip(u, -1.0, 1.0))
    with pytest.raises(MeasureError, match="15 steps of one tone are in the recording, not 16"):
        measure_steps(heard, RATE_HZ, (*LEVELS_MV, 9.0))
    with pytest.raises(MeasureError, match="has not set in"):
        measure_steps(0.01 * staircase(lambda u: u), RATE_HZ, LEVELS_MV)
    with pytest.raises(MeasureError, match="0 steps"):
        measure_steps(np.zeros(RATE_HZ), RATE_HZ, LEVELS_MV)


EVERY_S = 0.52


def test_first_steps_that_drown_are_missed_and_the_rest_still_tell_the_onset():
    levels_mv = tuple(float(10 ** (db / 20)) for db in range(-40, 17, 2))
    heard = staircase(lambda u: np.clip(u, -1.0, 1.0), noise=3e-2, levels_mv=levels_mv)
    with pytest.raises(MeasureError, match="steps of one tone"):
        measure_steps(heard, RATE_HZ, levels_mv)
    fit, _ = measure_steps(heard, RATE_HZ, levels_mv, tone_hz=400.0, every_s=EVERY_S)
    assert 20 * np.log10(fit.onset_mv / ONSET_MV) == pytest.approx(0.0, abs=0.3)


def test_a_recording_that_ends_with_a_step_may_have_lost_the_last_ones():
    heard = staircase(lambda u: np.clip(u, -1.0, 1.0))
    cut = heard[: -round(1.2 * EVERY_S * RATE_HZ)]
    with pytest.raises(MeasureError, match="steps of one tone"):
        measure_steps(cut, RATE_HZ, LEVELS_MV, tone_hz=400.0, every_s=EVERY_S)


@pytest.mark.parametrize(
    ("knee", "limit"), [(np.inf, lambda u: np.clip(u, -1.0, 1.0)), (8.0, soft(8.0)), (2.0, soft(2.0))]
)
def test_nulls_are_those_of_the_limiter_whatever_filters_follow(knee, limit):
    levels_mv = tuple(float(ONSET_MV * 10 ** (db / 20)) for db in np.arange(-16, 10.1, 0.5))
    heard = staircase(limit, noise=1e-3, levels_mv=levels_mv)
    steps = find_steps(heard, RATE_HZ, len(levels_mv), tone_hz=400.0, every_s=EVERY_S)
    nulls = harmonic_nulls(steps, levels_mv, fit_steps(steps, levels_mv))
    expected = [(5, at) for at in expected_nulls_db(knee, 5)] + [(7, at) for at in expected_nulls_db(knee, 7)]
    assert sorted((null.order, null.measured_db) for null in nulls) == [
        (order, pytest.approx(at, abs=0.2)) for order, at in sorted(expected)
    ]
    assert (expected == []) is (knee == 2.0)


def test_the_one_decibel_point_needs_no_model_of_the_limiter():
    def diode(u):
        over = np.maximum(np.abs(u) - 0.6, 0.0)
        return np.where(np.abs(u) < 0.6, u, np.sign(u) * (0.6 + 0.2 * np.log1p(5.0 * over)))

    levels_mv = tuple(float(ONSET_MV * 10 ** (db / 20)) for db in np.arange(-18, 10.1, 1.0))
    steps = find_steps(staircase(diode, levels_mv=levels_mv), RATE_HZ, len(levels_mv), every_s=EVERY_S)
    angle = np.pi * (np.arange(4096) + 0.5) / 4096
    drives = np.arange(-3.0, 6.0, 0.01)
    lost = [
        d - 20 * np.log10(2 * np.mean(diode(10 ** (d / 20) * np.sin(angle)) * np.sin(angle))) for d in drives
    ]
    true_mv = ONSET_MV * 10 ** (np.interp(1.0, lost, drives) / 20)
    assert 20 * np.log10(compressed_at(steps, levels_mv) / true_mv) == pytest.approx(0.0, abs=0.1)
    assert compressed_at(steps[:5], levels_mv[:5]) is None
