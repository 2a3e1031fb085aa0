"""What the pictures and needles show, worked out without Qt."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.signal import bilinear, lfilter

from audiotest.window.ballistics import ANGULAR, DAMPING, PeakHold, VolumeIndicator
from audiotest.window.envelope import column_extremes, outline, thinned
from audiotest.window.spectra import (
    SpectrumMemory,
    colour_row,
    spectrum_dbfs,
    spectrum_size,
    trigger_at,
)
from audiotest.window.tape import AudioTape

RATE_HZ = 48000


@given(st.integers(1, 400), st.integers(1, 60), st.integers(0, 2**32 - 1))
def test_no_sample_is_missed_by_the_columns(count: int, columns: int, seed: int) -> None:
    samples = np.random.default_rng(seed).normal(size=count).astype(np.float32)
    low, high = column_extremes(samples, columns)
    assert len(low) == len(high) == min(columns, count)
    assert low.min() == samples.min()
    assert high.max() == samples.max()
    assert np.all(low <= high)


def test_thinned_keeps_short_curves_and_every_spike() -> None:
    x = np.arange(10000.0)
    y = np.zeros(10000)
    y[7777] = 5.0
    at, thin = thinned(x, y, 300)
    assert len(at) == len(thin) == 600
    assert thin.max() == 5.0
    assert abs(at[np.argmax(thin)] - 7777) < 10000 / 300
    assert len(thinned(x[:100], y[:100], 300)[1]) == 100


def test_outline_of_nothing_is_flat() -> None:
    assert outline(np.zeros(0), 40).tolist() == [0.0] * 40
    assert outline(np.array([0.1, -0.7]), 40).max() == pytest.approx(0.7)


def test_volume_indicator_motion() -> None:
    # IEC 60268-17 (from memory): 99 % after 300 ms +- 10 %, overswing 1 to 1.5 %; 1 kHz.
    needle = VolumeIndicator(RATE_HZ)
    tone = np.sin(2 * np.pi * 1000 * np.arange(2 * RATE_HZ) / RATE_HZ)
    shown = []
    for block in tone.reshape(-1, 48):
        needle.push(block)
        level = needle.level_dbfs
        shown.append(0.0 if level is None else 10 ** (level / 20) * np.sqrt(2))
    reached_s = (int(np.argmax(np.array(shown) >= 0.99)) + 1) * 0.001
    assert 0.27 <= reached_s <= 0.33
    assert 1.010 <= max(shown) <= 1.015
    assert needle.level_dbfs == pytest.approx(-3.01, abs=0.02)


@given(st.lists(st.integers(1, 5000), min_size=1, max_size=8))
def test_volume_indicator_does_not_care_about_blocks(sizes: list[int]) -> None:
    audio = np.random.default_rng(1).normal(size=sum(sizes)) * 0.1
    whole, cut = VolumeIndicator(RATE_HZ), VolumeIndicator(RATE_HZ)
    whole.push(audio)
    for part in np.split(audio, np.cumsum(sizes)[:-1]):
        cut.push(part)
    assert cut.level_dbfs == pytest.approx(whole.level_dbfs)


@pytest.mark.parametrize("rate_hz", [8000, 44100, 192000])
def test_volume_indicator_is_the_second_order_filter_that_scipy_makes(rate_hz: int) -> None:
    audio = np.random.default_rng(4).normal(size=5000) * 0.1
    needle = VolumeIndicator(rate_hz)
    needle.push(audio)
    b, a = bilinear([ANGULAR**2], [1.0, 2.0 * DAMPING * ANGULAR, ANGULAR**2], fs=rate_hz)
    # The needle stands at the sample's end, the filter in the middle of its last two: half a sample apart.
    around = lfilter(b, a, np.append(np.abs(audio), 0.0))
    assert needle.level_dbfs == pytest.approx(
        20 * np.log10(np.mean(around[-2:]) * np.pi / (2 * np.sqrt(2))), abs=1e-4
    )


def test_silence_has_no_level() -> None:
    needle = VolumeIndicator(RATE_HZ)
    needle.push(np.zeros(100))
    assert needle.level_dbfs is None


def test_peak_holds_then_falls_and_is_cleared() -> None:
    hold = PeakHold()
    assert hold.update(-10.0, 0.0) == -10.0
    assert hold.update(-30.0, 1.9) == -10.0
    assert hold.update(-30.0, 3.0) == pytest.approx(-22.0)
    assert hold.update(None, 3.0) == pytest.approx(-22.0)
    assert hold.update(-20.0, 3.0) == -20.0
    assert hold.value(60.0) is None
    hold.clear()
    assert hold.value(3.0) is None


def test_spectrum_reads_a_full_scale_sine() -> None:
    n = spectrum_size(RATE_HZ)
    line = 100
    tone = np.sin(2 * np.pi * line * np.arange(n) / n)
    level = spectrum_dbfs(tone)
    assert int(np.argmax(level)) == line
    assert level[line] == pytest.approx(-3.01, abs=0.01)
    assert spectrum_dbfs(np.zeros(n)).max() == -120.0


def test_spectrum_memory_averages_power_and_holds_peaks() -> None:
    memory = SpectrumMemory(3)
    for _ in range(80):
        memory.push(np.array([-20.0, -40.0, -120.0], dtype=np.float32))
    memory.push(np.array([-10.0, -40.0, -120.0], dtype=np.float32))
    # A fifth of the new power: 0.8 * 0.01 + 0.2 * 0.1 = 0.028, -15.53 dB.
    assert memory.average_dbfs[0] == pytest.approx(-15.53, abs=0.01)
    assert memory.peak_dbfs.tolist() == [-10.0, -40.0, -120.0]
    memory.clear()
    memory.push(np.array([-50.0, -50.0, -50.0], dtype=np.float32))
    assert memory.average_dbfs[0] == pytest.approx(-50.0)
    assert memory.peak_dbfs[0] == -50.0


def test_colours_stay_in_their_table() -> None:
    row = colour_row(np.linspace(-120, 0, 400).astype(np.float32), 100)
    assert row.dtype == np.uint8
    assert (row[0], row[-1]) == (0, 255)
    assert np.all(np.diff(row.astype(int)) >= 0)


def test_scope_stands_still_on_a_voiced_sound() -> None:
    t = np.arange(9600) / RATE_HZ
    pitch = np.sin(2 * np.pi * 120 * t) + 0.5 * np.sin(2 * np.pi * 840 * t + 1.0)
    views = []
    for shift in range(0, 400, 37):
        part = pitch[shift : shift + 6000]
        at = trigger_at(part, 480, 1920)
        assert 480 <= at <= len(part) - 1920
        views.append(part[at - 480 : at + 1920])
    worst = max(float(np.max(np.abs(view - views[0]))) for view in views)
    assert worst < 0.25  # a sample's worth of the steepest slope, against a swing of 3


def test_trigger_on_silence_and_on_too_little() -> None:
    assert 100 <= trigger_at(np.zeros(1000), 100, 200) <= 800
    assert 0 <= trigger_at(np.zeros(10), 100, 200) <= 10


@given(st.lists(st.integers(1, 700), min_size=1, max_size=12))
def test_tape_reads_back_what_was_heard(sizes: list[int]) -> None:
    tape = AudioTape(100, seconds=10.0)
    codes = np.random.default_rng(2).integers(-32768, 32767, size=sum(sizes)).astype(np.int16)
    for part in np.split(codes, np.cumsum(sizes)[:-1]):
        tape.append(part / np.float32(32768))
    assert tape.end_n == len(codes)
    assert tape.start_n == max(len(codes) - 1000, 0)
    np.testing.assert_array_equal(tape.read(0, len(codes)), codes[-1000:])
    middle = tape.read(tape.end_n - 50, tape.end_n - 10)
    np.testing.assert_array_equal(middle, codes[tape.start_n :][-50:-10][-len(middle) :])


def test_tape_before_the_first_sample_is_silent() -> None:
    tape = AudioTape(100)
    tape.append(np.full(5, 0.5))
    assert tape.last(8).tolist() == [0.0, 0.0, 0.0, 0.5, 0.5, 0.5, 0.5, 0.5]


def test_tape_clips_what_sixteen_bits_cannot_hold() -> None:
    tape = AudioTape(100)
    tape.append(np.array([1.5, -1.5], dtype=np.float32))
    assert tape.read(0, 2).tolist() == [32767, -32768]
