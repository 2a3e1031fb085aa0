"""I/Q measurements against carriers built from the formula of each modulation."""

import numpy as np
import pytest
import soxr
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.special import jv

from audiotest.errors import MeasureError
from audiotest.measure.bandwidth import occupied_bandwidth
from audiotest.measure.iq import complex_feed, feed_doubts, measure_am, measure_fm
from audiotest.radio.voices import load_voice, voice_names

RATE = 48000


def noise_for(n, cnr_db, channel_hz, seed):
    """Complex white noise at this ratio of a unit carrier's power to noise in the channel."""
    rng = np.random.default_rng(seed)
    sigma = np.sqrt(10.0 ** (-cnr_db / 10.0) * RATE / channel_hz / 2.0)
    return sigma * (rng.standard_normal(n) + 1j * rng.standard_normal(n))


def fm(tone_hz, deviation_khz, offset_hz=0.0, seconds=1.0, cnr_db=40.0, seed=1):
    t = np.arange(round(seconds * RATE)) / RATE
    phase = 2 * np.pi * offset_hz * t - 1e3 * deviation_khz / tone_hz * np.cos(2 * np.pi * tone_hz * t)
    return np.exp(1j * phase) + noise_for(len(t), cnr_db, 12500.0, seed)


def am(tone_hz, depth, offset_hz=0.0, seconds=1.0, cnr_db=40.0, seed=1):
    t = np.arange(round(seconds * RATE)) / RATE
    envelope = 1.0 + depth * np.sin(2 * np.pi * tone_hz * t)
    return envelope * np.exp(2j * np.pi * offset_hz * t + 0.7j) + noise_for(len(t), cnr_db, 10000.0, seed)


@settings(max_examples=8)
@given(st.floats(310.0, 2900.0), st.floats(0.3, 3.0), st.floats(-1500.0, 1500.0), st.floats(1e-3, 1e3))
def test_deviation_and_offset_at_every_tone_level_and_gain(tone_hz, deviation_khz, offset_hz, gain):
    found = measure_fm(
        gain * fm(tone_hz, deviation_khz, offset_hz, seconds=0.4, cnr_db=45.0), RATE, channel_hz=16000.0
    )
    assert found.tone is not None
    assert found.tone.frequency_hz == pytest.approx(tone_hz, abs=0.1)
    assert found.positive_khz == pytest.approx(deviation_khz, rel=0.01, abs=0.003)
    assert found.negative_khz == pytest.approx(deviation_khz, rel=0.01, abs=0.003)
    assert found.offset_hz == pytest.approx(offset_hz, abs=1.0)


def test_swapped_channels_mirror_the_spectrum():
    iq = fm(1000.0, 1.5, 400.0)
    stereo = np.stack([iq.real, iq.imag], axis=1)
    assert measure_fm(complex_feed(stereo), RATE).offset_hz == pytest.approx(400.0, abs=1.0)
    assert measure_fm(complex_feed(stereo, swapped=True), RATE).offset_hz == pytest.approx(-400.0, abs=1.0)
    with pytest.raises(MeasureError, match="two channels"):
        complex_feed(stereo[:, :1])


@pytest.mark.parametrize("depth", [0.1, 0.3, 0.6, 0.9, 1.0])
@pytest.mark.parametrize("cnr_db", [30.0, 50.0])
def test_am_depth_within_one_percent(depth, cnr_db):
    found = measure_am(am(1000.0, depth, 230.0, cnr_db=cnr_db), RATE)
    assert found.positive_percent == pytest.approx(100.0 * depth, abs=1.0)
    assert found.negative_percent == pytest.approx(100.0 * depth, abs=1.0)
    assert found.depth_percent == pytest.approx(100.0 * depth, abs=1.0)
    assert found.offset_hz == pytest.approx(230.0, abs=0.5)


def test_am_that_is_lopsided_shows_which_way():
    t = np.arange(RATE) / RATE
    wave = np.maximum(np.sin(2 * np.pi * 1000.0 * t), -0.5)
    wave = wave - np.mean(wave)
    found = measure_am((1.0 + 0.6 * wave) * np.exp(2j * np.pi * 50.0 * t), RATE, audio_high_hz=4800.0)
    assert found.positive_percent > found.negative_percent + 10.0


def test_am_over_hundred_percent_down_is_seen():
    found = measure_am(am(800.0, 1.2), RATE)
    assert found.negative_percent == pytest.approx(120.0, abs=1.0)


@pytest.mark.parametrize("deviation_khz", [0.8, 1.5, 2.4048])
def test_an_fm_carrier_has_no_am_depth(deviation_khz):
    with pytest.raises(MeasureError, match="for FM measure the deviation"):
        measure_am(fm(1000.0, deviation_khz), RATE)


def line_bandwidth_hz(index, tone_hz):
    """99 % bandwidth of discrete lines J_k²(index): where the share outside passes half a percent."""
    orders = np.arange(-40, 41)
    share = np.cumsum(jv(orders, index) ** 2)
    low = orders[np.searchsorted(share, 0.005)] * tone_hz
    high = orders[np.searchsorted(share, 0.995)] * tone_hz
    return high - low


@pytest.mark.parametrize(("tone_hz", "deviation_khz"), [(1000.0, 2.5), (1000.0, 1.5), (1250.0, 5.0)])
def test_occupied_bandwidth_of_a_tone_is_that_of_its_lines(tone_hz, deviation_khz):
    iq = fm(tone_hz, deviation_khz, 300.0, cnr_db=60.0)
    found = occupied_bandwidth(iq, RATE)
    lines_hz = line_bandwidth_hz(1e3 * deviation_khz / tone_hz, tone_hz)
    assert found.bandwidth_hz == pytest.approx(lines_hz, abs=40.0)  # a Hann line is four steps wide
    assert 0.5 * (found.low_hz + found.high_hz) == pytest.approx(300.0, abs=60.0)


def test_occupied_bandwidth_of_filtered_noise_is_99_percent_of_its_width():
    rng = np.random.default_rng(4)
    n = 4 * RATE
    spectrum = np.zeros(n, dtype=complex)
    hz = np.fft.fftfreq(n, 1 / RATE)
    inside = np.abs(hz) < 4000.0
    spectrum[inside] = rng.standard_normal(inside.sum()) + 1j * rng.standard_normal(inside.sum())
    found = occupied_bandwidth(np.fft.ifft(spectrum), RATE)
    assert found.bandwidth_hz == pytest.approx(0.99 * 8000.0, abs=60.0)


def test_noise_is_refused_not_measured():
    with pytest.raises(MeasureError, match="noise hides"):
        occupied_bandwidth(noise_for(RATE, 0.0, 12500.0, 1), RATE)
    with pytest.raises(MeasureError):
        occupied_bandwidth(np.zeros(RATE, dtype=complex), RATE)
    with pytest.raises(MeasureError, match="no signal"):
        measure_fm(np.zeros(RATE, dtype=complex), RATE)


def test_what_is_wrong_with_a_feed_is_said():
    good = am(1000.0, 0.5, 240.0)
    assert feed_doubts(good, 240.0) == ()
    uneven = good.real + 1.06j * good.imag  # 0.5 dB: image 31 dB down
    (doubt,) = feed_doubts(uneven, 240.0)
    assert "31 dB" in doubt
    (centre,) = feed_doubts(am(1000.0, 0.5, 0.0), 0.0)
    assert "hundred hertz beside" in centre


def test_an_overloaded_feed_is_said():
    z = 5.0 * fm(1000.0, 1.5, 700.0)
    cut = np.clip(z.real, -1.0, 1.0) + 1j * np.clip(z.imag, -1.0, 1.0)
    (doubt,) = feed_doubts(cut, 700.0)
    assert "overloaded" in doubt
    assert feed_doubts(z, 700.0) == ()


@pytest.mark.parametrize("measure", [measure_fm, measure_am])
@pytest.mark.parametrize("dead", ["I", "Q"])
def test_a_silent_branch_is_named_and_not_taken_for_noise(measure, dead):
    z = fm(1000.0, 1.5, 700.0)
    one = 1j * z.imag if dead == "I" else z.real + 0j
    with pytest.raises(MeasureError, match="one of I and Q is silent: check both channels"):
        measure(one, RATE)


@pytest.mark.parametrize("depth", [0.3, 1.0])
def test_a_carrier_that_stands_still_in_one_branch_is_measured(depth):
    t = np.arange(RATE) / RATE
    found = measure_am((1.0 + depth * np.sin(2 * np.pi * 1000.0 * t)) + 0j, RATE)
    assert found.depth_percent == pytest.approx(100.0 * depth, abs=1.0)


def test_a_rate_that_cannot_hold_the_channel_is_refused():
    with pytest.raises(
        MeasureError, match=r"8000 samples a second hold 8 kHz of the 12\.5 needed: record I and Q"
    ):
        measure_fm(fm(1000.0, 1.5, 700.0)[::6], 8000)


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_noise_without_a_carrier_has_no_deviation(seed):
    rng = np.random.default_rng(seed)
    with pytest.raises(MeasureError, match="no FM carrier"):
        measure_fm(rng.standard_normal(RATE) + 1j * rng.standard_normal(RATE), RATE)


def test_a_carrier_for_part_of_the_time_is_refused_for_the_noise_in_the_rest():
    rng = np.random.default_rng(4)
    z = 1e-3 * (rng.standard_normal(RATE) + 1j * rng.standard_normal(RATE))
    z[: RATE // 2] += np.exp(2j * np.pi * 400.0 * np.arange(RATE // 2) / RATE)
    with pytest.raises(MeasureError, match="all the time"):
        measure_fm(z, RATE)


@pytest.mark.parametrize("cnr_db", [15.0, 40.0, 300.0])
@pytest.mark.parametrize("tone_hz", [100.0, 1000.0, 3000.0])
@pytest.mark.parametrize("seconds", [0.25, 1.0])
def test_a_bare_carrier_has_no_tone_whatever_is_asked_for(cnr_db, tone_hz, seconds):
    for seed in range(5):
        bare = fm(1000.0, 0.0, 300.0, seconds=seconds, cnr_db=cnr_db, seed=seed)
        found = measure_fm(bare, RATE, tone_hz=tone_hz)
        assert (found.tone, found.no_tone) == (None, f"no tone at {tone_hz:g} Hz")
        assert found.offset_hz == pytest.approx(300.0, abs=5.0)
        found = measure_am(bare, RATE, tone_hz=tone_hz)
        assert (found.tone, found.no_tone) == (None, f"no tone at {tone_hz:g} Hz")


@pytest.mark.parametrize("asked_hz", [400.0, 900.0, 1040.0, 2000.0])
def test_a_tone_elsewhere_is_named_instead(asked_hz):
    """At 2000 Hz stands its own second harmonic, 26 dB down."""
    t = np.arange(RATE) / RATE
    swing = 1500.0 * (np.sin(2 * np.pi * 1000.0 * t) + 0.05 * np.sin(2 * np.pi * 2000.0 * t))
    iq = np.exp(2j * np.pi * np.cumsum(300.0 + swing) / RATE) + noise_for(RATE, 30.0, 12500.0, 1)
    found = measure_fm(iq, RATE, tone_hz=asked_hz)
    assert found.tone is None
    assert found.no_tone == f"no tone at {asked_hz:g} Hz, but one at 1000.0 Hz"


def test_a_low_tone_is_not_taken_for_its_own_harmonic():
    """Below 285 Hz nothing is looked for, and its harmonic there is a steady tone."""
    t = np.arange(RATE) / RATE
    swing = 1000.0 * (np.sin(2 * np.pi * 150.0 * t) + 0.2 * np.sin(2 * np.pi * 300.0 * t))
    iq = np.exp(2j * np.pi * np.cumsum(swing) / RATE) + noise_for(RATE, 40.0, 12500.0, 1)
    assert measure_fm(iq, RATE).tone.frequency_hz == pytest.approx(300.0, abs=0.1)
    found = measure_fm(iq, RATE, tone_hz=150.0)
    assert found.no_tone is None
    assert found.tone.distortion == pytest.approx(0.2, abs=0.005)


def test_a_tone_deep_in_noise_is_found_where_it_is_asked_for_and_its_distortion_is_the_noise():
    for seed in range(5):
        iq = fm(1003.0, 0.3, 300.0, cnr_db=15.0, seed=seed)
        assert measure_fm(iq, RATE).tone is None
        found = measure_fm(iq, RATE, tone_hz=1000.0)
        assert found.no_tone is None
        assert found.peak_khz == pytest.approx(0.3, rel=0.1)
        assert found.tone.distortion == pytest.approx(found.tone.noise_distortion, rel=0.8)


@pytest.mark.parametrize("name", voice_names())
def test_speech_is_no_tone(name):
    voice, rate_hz = load_voice(name)
    swing = 2000.0 * soxr.resample(voice[: 3 * rate_hz], rate_hz, RATE) / np.max(np.abs(voice))
    iq = np.exp(2j * np.pi * np.cumsum(300.0 + swing) / RATE) + noise_for(len(swing), 30.0, 12500.0, 1)
    for asked_hz in (150.0, 400.0, 1000.0):
        assert measure_fm(iq, RATE, tone_hz=asked_hz).no_tone == f"no tone at {asked_hz:g} Hz"
