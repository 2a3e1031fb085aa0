"""Onset and knee from a staircase of tones, against the clipper that made it."""

import numpy as np
import pytest

from audiotest.errors import MeasureError
from audiotest.measure.steppedtone import measure_steps
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
