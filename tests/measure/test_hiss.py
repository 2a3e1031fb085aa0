"""The receiver's filters undone by its hiss: made-up filters, whose input is known."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.signal import butter, sosfilt

from audiotest.measure.filters import deemphasis, undo_deemphasis
from audiotest.measure.hiss import receiver_inverse
from audiotest.measure.views import AUDIO_HIGH_HZ

RATE_HZ = 24000


def limited_wave(rng: np.random.Generator) -> np.ndarray:
    """A gliding buzz as of a voice, clipped hard and then smoothed as a splatter filter does."""
    time_s = np.arange(4 * RATE_HZ) / RATE_HZ
    turns = 160.0 * time_s + 12.0 * np.sin(2 * np.pi * 0.6 * time_s)
    start = rng.uniform(0, 1, 18)
    buzz = sum(np.sin(2 * np.pi * (k * turns + start[k - 1])) for k in range(1, 19))
    clipped = np.clip(buzz * (0.6 + 0.4 * np.sin(2 * np.pi * 3.0 * time_s)), -2.0, 2.0)
    return sosfilt(butter(3, 2800.0, fs=RATE_HZ, output="sos"), clipped)


def received(flat: np.ndarray, highpass_hz: float, lowpass_hz: float, deemphasis_us: float) -> np.ndarray:
    high = butter(2, highpass_hz, "highpass", fs=RATE_HZ, output="sos")
    low = butter(4, lowpass_hz, fs=RATE_HZ, output="sos")
    return deemphasis(sosfilt(low, sosfilt(high, flat)), RATE_HZ, deemphasis_us)


def top_db(wave: np.ndarray, reference: np.ndarray) -> float:
    tops = [np.quantile(np.abs(x[RATE_HZ // 4 : -RATE_HZ // 4]), 0.999) for x in (wave, reference)]
    return float(20 * np.log10(tops[0] / tops[1]))


@pytest.mark.parametrize("deemphasis_us", [0.0, 750.0])
@pytest.mark.parametrize(("highpass_hz", "lowpass_hz"), [(300.0, 3000.0), (200.0, 2800.0), (120.0, 3400.0)])
def test_peaks_come_back_as_they_were_sent(highpass_hz, lowpass_hz, deemphasis_us):
    rng = np.random.default_rng(2)
    sent = limited_wave(rng)
    hiss = received(rng.standard_normal(RATE_HZ), highpass_hz, lowpass_hz, deemphasis_us)
    heard = received(sent, highpass_hz, lowpass_hz, deemphasis_us)
    # 100 kHz of IF: this hiss is flat, without the droop of a real discriminator's.
    inverse = receiver_inverse(hiss, RATE_HZ, deemphasis_us, high_hz=AUDIO_HIGH_HZ, if_bandwidth_khz=100.0)
    assert inverse is not None
    # A receiver without filters has the same band taken: what is lost below 90 Hz is lost to both.
    nothing = receiver_inverse(
        rng.standard_normal(RATE_HZ), RATE_HZ, 0.0, high_hz=3600.0, if_bandwidth_khz=100.0
    )
    assert nothing is not None
    ideal = nothing.apply(sent, RATE_HZ)
    without = top_db(undo_deemphasis(heard, RATE_HZ, deemphasis_us, high_hz=AUDIO_HIGH_HZ), ideal)
    restored = top_db(inverse.apply(heard, RATE_HZ), ideal)
    # Half a decibel of chance in each 50 Hz of a second of hiss leaves a few tenths on the peaks.
    assert abs(restored) < 0.5
    assert abs(restored) < abs(without)


@pytest.mark.parametrize(
    ("highpass_hz", "lowpass_hz", "flat"),
    [(5.0, 11000.0, True), (250.0, 11000.0, False), (5.0, 3300.0, False), (120.0, 3300.0, False)],
)
@pytest.mark.parametrize("deemphasis_us", [0.0, 750.0])
def test_hiss_shows_whether_anything_filters(highpass_hz, lowpass_hz, flat, deemphasis_us):
    """De-emphasis alone is no filter: it is known and undone."""
    for seed in range(5):
        noise = np.random.default_rng(seed).standard_normal(RATE_HZ)
        hiss = received(noise, highpass_hz, lowpass_hz, deemphasis_us)
        inverse = receiver_inverse(
            hiss, RATE_HZ, deemphasis_us, high_hz=AUDIO_HIGH_HZ, if_bandwidth_khz=100.0
        )
        assert inverse is not None
        assert inverse.unfiltered == flat
    # At 8 kHz nothing tells what is above 4 kHz.
    low = receiver_inverse(noise[::3], RATE_HZ // 3, deemphasis_us, high_hz=AUDIO_HIGH_HZ)
    assert low is not None
    assert not low.unfiltered


def test_without_enough_hiss_nothing_is_undone():
    noise = np.random.default_rng(1).standard_normal(RATE_HZ)
    for hiss in (None, noise[: RATE_HZ // 5], np.zeros(RATE_HZ), np.clip(noise, -0.5, 0.5)):
        assert receiver_inverse(hiss, RATE_HZ, 750.0, high_hz=AUDIO_HIGH_HZ) is None


@settings(max_examples=20)
@given(st.floats(1e-4, 1e3), st.sampled_from([6000, 8000, 24000]))
def test_the_level_of_the_hiss_does_not_matter(gain, rate_hz):
    noise = np.random.default_rng(1).standard_normal(rate_hz)
    once = receiver_inverse(noise, rate_hz, 750.0, high_hz=AUDIO_HIGH_HZ)
    again = receiver_inverse(gain * noise, rate_hz, 750.0, high_hz=AUDIO_HIGH_HZ)
    assert once is not None
    assert again is not None
    np.testing.assert_allclose(again.gain, once.gain, rtol=1e-6, atol=1e-9)
    assert np.all(np.isfinite(once.gain))
