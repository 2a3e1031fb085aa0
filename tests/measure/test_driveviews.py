"""Views of the waveform that the drive model looks at."""

import numpy as np
import pytest
import scipy.signal as sps
from hypothesis import given, settings
from hypothesis import strategies as st

from audiotest.measure.driveviews import RATE_HZ, drive_views, receiver_highpass, undo_highpass
from audiotest.measure.limiter import Drive


def through_highpass(x: np.ndarray, rate_hz: int, corner_hz: float, order: int) -> np.ndarray:
    """By recursion, where the code under test multiplies spectra."""
    return sps.sosfilt(sps.butter(order, corner_hz, btype="highpass", fs=rate_hz, output="sos"), x)


def speechlike(seconds: float, seed: int = 1) -> np.ndarray:
    """Pulses through two resonances with a slowly changing level, at 8 kHz."""
    rng = np.random.default_rng(seed)
    n = int(seconds * RATE_HZ)
    x = np.zeros(n)
    x[:: RATE_HZ // 110] = 1.0
    for hz in (500.0, 1500.0):
        x = sps.lfilter([1.0], [1.0, -1.9 * np.cos(2 * np.pi * hz / RATE_HZ), 0.9025], x)
    return x * np.interp(np.arange(n), np.linspace(0, n, 12), rng.uniform(0.1, 1.0, 12))


ALL = np.ones(200, dtype=bool)


@pytest.mark.parametrize(("corner_hz", "order"), [(70.0, 1), (120.0, 2), (200.0, 3), (300.0, 2), (300.0, 6)])
@pytest.mark.parametrize("rate_hz", [8000, 48000])
def test_the_high_pass_is_read_from_the_hiss(corner_hz, order, rate_hz):
    """Three seconds of white noise: density flat before the high-pass (Rice 1948)."""
    hiss = through_highpass(np.random.default_rng(2).standard_normal(3 * rate_hz), rate_hz, corner_hz, order)
    found = receiver_highpass(hiss, rate_hz)
    assert found is not None
    for hz in (corner_hz, 1.5 * corner_hz, 2.0 * corner_hz):
        told, true = (10 * np.log10(1 + (c / hz) ** (2 * n)) for c, n in (found, (corner_hz, order)))
        assert told == pytest.approx(true, abs=1.2)


def test_hum_under_the_hiss_is_no_high_pass():
    rng = np.random.default_rng(3)
    t = np.arange(2 * RATE_HZ) / RATE_HZ
    hiss = through_highpass(rng.standard_normal(len(t)), RATE_HZ, 250.0, 3) + 0.03 * np.sin(
        2 * np.pi * 50 * t
    )
    corner_hz, order = receiver_highpass(hiss, RATE_HZ)
    assert corner_hz == pytest.approx(250.0, rel=0.1)
    assert order >= 2.0


def test_too_little_hiss_or_none_in_it_tells_nothing():
    assert receiver_highpass(np.ones(100), RATE_HZ) is None
    assert receiver_highpass(np.zeros(RATE_HZ), RATE_HZ) is None


@pytest.mark.parametrize(("corner_hz", "order"), [(100.0, 1), (150.0, 1), (100.0, 2), (150.0, 2)])
def test_undoing_a_high_pass_levels_flat_tops(corner_hz, order):
    """A square wave of 200 Hz: its tops droop behind a high-pass and stand nearly level again.

    Not quite: nothing is lifted by more than 20 dB, which leaves a slower droop.
    """
    square = np.sign(np.sin(2 * np.pi * 200.0 * (np.arange(2 * RATE_HZ) + 0.5) / RATE_HZ))
    square = sps.sosfiltfilt(sps.butter(4, 3000.0, fs=RATE_HZ, output="sos"), square)
    drooping = through_highpass(square, RATE_HZ, corner_hz, order)
    level = undo_highpass(drooping, corner_hz, order)
    inside = slice(RATE_HZ // 2, 3 * RATE_HZ // 2)

    def away(x: np.ndarray) -> float:
        gain = np.dot(x[inside], square[inside]) / np.dot(x[inside], x[inside])
        return float(np.std(gain * x[inside] - square[inside]))

    assert away(level) < 0.6 * away(drooping)


@settings(max_examples=20, deadline=None)
@given(gain_db=st.floats(-80, 60))
def test_gain_does_not_matter(gain_db):
    x = speechlike(4.0)
    one = drive_views(x, RATE_HZ, ALL, noise_db=-30.0, hiss=None)
    other = drive_views(x * 10 ** (gain_db / 20), RATE_HZ, ALL, noise_db=-30.0, hiss=None)
    assert np.allclose(one.waves, other.waves, atol=2e-4)
    assert np.allclose(one.whole, other.whole, atol=2e-2)


def test_polarity_turns_the_waves_and_nothing_else():
    x = speechlike(4.0) ** 2 - 0.1
    one = drive_views(x, RATE_HZ, ALL, noise_db=None, hiss=None)
    other = drive_views(-x, RATE_HZ, ALL, noise_db=None, hiss=None)
    assert np.allclose(one.waves, -other.waves, atol=1e-5)
    sides = np.arange(8, 36, 9)
    assert np.allclose(one.whole[sides], -other.whole[sides], atol=1e-4)
    rest = np.setdiff1d(np.arange(len(one.whole)), sides)
    assert np.allclose(one.whole[rest], other.whole[rest], atol=1e-4)


def test_only_active_frames_are_shown_at_every_rate():
    x = speechlike(4.0)
    x[: 2 * RATE_HZ] = 5.0 * np.random.default_rng(4).standard_normal(2 * RATE_HZ)
    active = np.arange(200) >= 110
    small = drive_views(x, RATE_HZ, active, noise_db=None, hiss=None)
    assert small.waves.shape == (4, 90 * 160)
    up = sps.resample_poly(x, 6, 1)
    large = drive_views(up, 48000, active, noise_db=None, hiss=None)
    assert np.allclose(small.waves[0, 200:-200], large.waves[0, 200:-200], atol=0.03)


def test_what_sways_slower_than_speech_is_left_out_of_every_view():
    """A discriminator coupled down to 0 Hz sways by a tenth of the peaks; one view lifts that 50 times."""
    x = speechlike(4.0)
    t = np.arange(len(x)) / RATE_HZ
    sway = 0.1 * np.max(np.abs(x)) * (np.sin(2 * np.pi * 0.7 * t) + np.sin(2 * np.pi * 3.0 * t) + 1.0)
    still = drive_views(x, RATE_HZ, ALL, noise_db=None, hiss=None)
    swaying = drive_views(x + sway, RATE_HZ, ALL, noise_db=None, hiss=None)
    assert swaying.whole == pytest.approx(still.whole, abs=0.1)
    inner = slice(RATE_HZ // 2, -RATE_HZ // 2)
    assert np.max(np.abs(swaying.waves[:, inner] - still.waves[:, inner])) < 0.02


@pytest.mark.parametrize(("threshold", "peaky"), [(1.0, True), (0.3, False)])
def test_a_high_drive_is_doubted_where_the_peaks_stand_out(threshold: float, peaky: bool) -> None:
    """A rattle of single peaks; cut at a third of their height it is flat, and its drive is believed."""
    rattle = speechlike(4.0)
    wave = np.clip(rattle / np.max(np.abs(rattle)), -threshold, threshold)
    views = drive_views(wave, RATE_HZ, ALL, noise_db=None, hiss=None)
    # The 99.9th percentile of a view stands at 1.
    assert views.crest_db == pytest.approx(-10 * np.log10(np.mean(views.waves[0] ** 2)), abs=0.01)
    for drive_db in (5.0, 12.0):
        drive = Drive(
            drive_db=drive_db, low_db=0.0, high_db=20.0, clipped_fraction=0.1, p999_ratio=1.0,
            peak_ratio=1.2, automatic_gain=False, crest_db=views.crest_db,
        )  # fmt: skip
        assert drive.conditions == (["peaky"] if peaky and drive_db > 8.0 else [])
