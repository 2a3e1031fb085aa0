"""Carrier nulls and bandwidth of a frequency-modulated carrier, made sample by sample."""

import numpy as np
import pytest
from scipy.special import jn_zeros, jv

from audiotest.standards.fm import carson_bandwidth_khz, null_tone_hz

FIRST_NULLS_HZ = {1.2: 499.00, 1.5: 623.75, 2.0: 831.66, 2.4: 997.99, 2.5: 1039.58, 3.0: 1247.49,
                  4.0: 1663.32, 5.0: 2079.15}  # fmt: skip


def spectrum_of_tone(index, pairs=40):
    """Amplitudes of carrier and upper sidebands of exp(j·index·sin x), from samples of one period."""
    x = 2 * np.pi * np.arange(256) / 256
    return np.abs(np.fft.fft(np.exp(1j * index * np.sin(x))))[:pairs] / 256


def test_zeros_of_the_bessel_functions():
    # Published lists of the carrier nulls: 2.405, 5.520, 8.654, 11.792, 14.931.
    assert jn_zeros(0, 5) == pytest.approx([2.405, 5.520, 8.654, 11.792, 14.931], abs=0.00051)
    assert jn_zeros(1, 3) == pytest.approx([3.831706, 7.015587, 10.173468], abs=1e-6)


@pytest.mark.parametrize("k", range(4))
def test_the_carrier_of_a_modulated_signal_vanishes_at_the_zeros(k):
    index = jn_zeros(0, 4)[k]
    assert spectrum_of_tone(index)[0] < 1e-12
    assert spectrum_of_tone(1.01 * index)[0] > 1e-3


def test_sidebands_are_bessel_functions_and_hold_all_the_power():
    # Textbook: |J_n| of the modulation index; J0² + 2·ΣJn² = 1.
    lines = spectrum_of_tone(2.404826)
    assert lines[:7] == pytest.approx([0, 0.519147, 0.431755, 0.199, 0.064747, 0.016389, 0.003405], abs=1e-6)
    assert lines == pytest.approx(np.abs(jv(np.arange(40), 2.404826)), abs=1e-12)
    assert lines[0] ** 2 + 2 * np.sum(lines[1:] ** 2) == pytest.approx(1.0)


@pytest.mark.parametrize(("deviation_khz", "tone_hz"), FIRST_NULLS_HZ.items())
def test_tone_of_the_first_null(deviation_khz, tone_hz):
    # Deviation over the first zero; published to the hertz for 2.5 kHz (1039) and 5 kHz (2079).
    assert null_tone_hz(deviation_khz) == pytest.approx(tone_hz, abs=0.0051)


def test_tones_of_the_later_nulls():
    # bext.com, 5 kHz: 2079.0, 905.8, 577.8, 424.0 Hz; qsl.net/g3oou: 1039 Hz for 2.5 kHz, cut to the hertz.
    published_hz = [2079.0, 905.8, 577.8, 424.0]
    assert [null_tone_hz(5.0, k) for k in (1, 2, 3, 4)] == pytest.approx(published_hz, abs=0.2)
    assert null_tone_hz(2.5) == pytest.approx(1039.5, abs=0.5)
    with pytest.raises(ValueError, match="counted from 1"):
        null_tone_hz(2.5, 0)


def test_the_tone_of_a_null_extinguishes_the_carrier():
    for deviation_khz in (2.0, 2.5, 5.0):
        index = 1e3 * deviation_khz / null_tone_hz(deviation_khz, 2)
        assert spectrum_of_tone(index)[0] < 1e-12


@pytest.mark.parametrize(
    ("deviation_khz", "audio_khz", "bandwidth_khz"),
    [(1.5, 3, 9), (2, 2.5, 9), (2, 3, 10), (2.5, 2.55, 10.1), (2.5, 3, 11), (4, 3, 14), (5, 3, 16)],
)
def test_necessary_bandwidth(deviation_khz, audio_khz, bandwidth_khz):
    # ITU-R SM.1138, 2M + 2DK; the emissions 11K0F3E and 16K0F3E are among them (5 kHz: from memory).
    assert carson_bandwidth_khz(deviation_khz, audio_khz) == pytest.approx(bandwidth_khz)


def test_99_percent_of_the_power_is_in_as_many_sidebands_as_carson_counts():
    # Pairs that hold 99 %, closed form. Carson counts index + 1 (ITU-R SM.1138): within half a pair.
    for index, pairs in {0.5: 1, 1.0: 2, 2.0: 3, 2.5: 4, 5.0: 6}.items():
        lines = spectrum_of_tone(index)
        held = lines[0] ** 2 + 2 * np.cumsum(lines[1:] ** 2)
        assert int(np.argmax(held >= 0.99)) + 1 == pairs
        assert abs(pairs - (index + 1)) <= 0.5
