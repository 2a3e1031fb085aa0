"""Carrier and sidebands against Bessel functions; nulls in a run of rising modulation."""

import numpy as np
import pytest
from scipy.special import jn_zeros, jv

from audiotest.errors import MeasureError
from audiotest.measure.carriernull import find_null, fit_index, fm_lines

RATE = 48000


def carrier(index, tone_hz, offset_hz=0.0, seconds=0.5, noise=0.01, seed=1):
    t = np.arange(round(seconds * RATE)) / RATE
    rng = np.random.default_rng(seed)
    z = np.exp(2j * np.pi * offset_hz * t + 1j * index * np.sin(2 * np.pi * tone_hz * t))
    return z + noise * (rng.standard_normal(len(t)) + 1j * rng.standard_normal(len(t)))


@pytest.mark.parametrize("index", [0.5, 1.0, 1.8, 2.4048, 3.1, 5.0, 5.5201])
def test_index_from_iq_without_knowing_the_carrier(index):
    lines = fm_lines(carrier(index, 1000.0, 330.0), RATE, 1000.0)
    assert lines.carrier_hz == pytest.approx(330.0, abs=3.0)
    found = fit_index(lines)
    assert found.index == pytest.approx(index, abs=0.02)
    assert found.deviation_khz == pytest.approx(index, abs=0.02)


def test_sizes_are_those_of_the_bessel_functions():
    plain = fm_lines(carrier(0.0, 1000.0), RATE, 1000.0, carrier_hz=0.0).carrier
    lines = fm_lines(carrier(2.404826, 1000.0), RATE, 1000.0, carrier_hz=0.0)
    # |Jn(2.404826)|, n = 1 to 4: textbook tables.
    shares = np.array(lines.sidebands[:4]) / plain
    assert shares == pytest.approx([0.519147, 0.431755, 0.199000, 0.064747], abs=0.004)
    assert lines.carrier / plain < 0.01


def ssb_audio(index, tone_hz, beat_hz=1400.0, seconds=0.5):
    """What a receiver set to SSB makes of it: lines shifted to a beat note, cut to 300-2700 Hz."""
    z = carrier(index, tone_hz, beat_hz, seconds)
    spectrum = np.fft.fft(z)
    hz = np.fft.fftfreq(len(z), 1 / RATE)
    spectrum[(hz < 300.0) | (hz > 2700.0)] = 0.0
    return np.fft.ifft(spectrum).real


def test_index_from_a_beat_note_with_one_sideband_pair():
    plain = fm_lines(ssb_audio(0.0, 1000.0), RATE, 1000.0, carrier_hz=1400.0).carrier
    for index in (1.0, 1.7, 2.2):
        lines = fm_lines(
            ssb_audio(index, 1000.0), RATE, 1000.0, carrier_hz=1400.0, low_hz=320.0, high_hz=2680.0
        )
        assert [size is not None for size in lines.sidebands[:3]] == [True, False, False]
        assert fit_index(lines, plain).index == pytest.approx(index, abs=0.03)
    with pytest.raises(MeasureError, match="too few sidebands"):
        fit_index(lines)
    with pytest.raises(MeasureError, match="cannot be told"):
        fm_lines(ssb_audio(1.0, 1000.0), RATE, 1000.0)


@pytest.mark.parametrize("order", [1, 2])
def test_the_null_is_found_between_the_steps(order):
    slope = 0.031  # index per millivolt
    drive = np.linspace(0.0, 1.25 * jn_zeros(0, order)[-1] / slope, 12 * order)
    sizes = [fm_lines(carrier(slope * mv, 1039.58), RATE, 1039.58, carrier_hz=0.0).carrier for mv in drive]
    found = find_null(drive, sizes, 1039.58, unmodulated=sizes[0], order=order)
    truth = jn_zeros(0, order)[-1] / slope
    assert found.at == pytest.approx(truth, rel=0.005)
    assert found.low <= truth <= found.high
    if order == 1:
        assert found.deviation_khz == pytest.approx(2.5, abs=1e-4)


def test_a_run_that_stops_short_has_no_null():
    drive = np.linspace(0.0, 60.0, 10)
    with pytest.raises(MeasureError, match="not passed"):
        find_null(drive, np.abs(jv(0, 0.031 * drive)), 1000.0, unmodulated=1.0)
    with pytest.raises(MeasureError, match="not passed"):
        find_null(drive, np.ones(10), 1000.0, unmodulated=1.0)
