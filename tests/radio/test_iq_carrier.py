"""I/Q of the simulated transmitter against Bessel, AM sidebands, noise arithmetic and image rejection."""

import numpy as np
import pytest
from scipy.special import jv

from audiotest.errors import RequestError
from audiotest.measure.iq import complex_feed, measure_am, measure_fm
from audiotest.radio.iq import IqReceiver, am_tone_iq, beat_note, fm_iq, fm_tone_iq, over_iq, uneven_tone
from audiotest.radio.link import simulate
from audiotest.radio.settings import Receiver, SoundCard, Timing, Transmitter
from audiotest.radio.voices import load_voice

RATES = (48000, 96000, 192000)


def clean(**changes) -> IqReceiver:
    return IqReceiver(**{"cnr_db": None, "bits": None, "carrier_fs": 1.0} | changes)


def line(iq: np.ndarray, rate_hz: int, hz: float) -> float:
    """Amplitude of the line at `hz` in the middle half second."""
    middle = iq[rate_hz // 4 : rate_hz // 4 + rate_hz // 2].astype(complex)
    return float(abs(np.mean(middle * np.exp(-2j * np.pi * hz / rate_hz * np.arange(len(middle))))))


@pytest.mark.parametrize("rate_hz", RATES)
def test_sidebands_of_fm_are_bessel_functions_around_the_offset(rate_hz):
    """|Jn(β)| at offset ± n·f (Jacobi–Anger expansion, textbook); β = 2.404826 is the first carrier null."""
    for index in (0.5, 2.404826):
        made = fm_tone_iq(1000.0, index, 1.0, clean(sample_rate_hz=rate_hz, offset_hz=400.0), seed=1)
        for n in range(-5, 6):
            found = line(made.iq, rate_hz, 400.0 + 1000.0 * n)
            assert found == pytest.approx(abs(jv(n, index)), abs=1e-3)


@pytest.mark.parametrize("rate_hz", RATES)
@pytest.mark.parametrize("depth", [0.3, 0.8])
def test_each_sideband_of_am_is_half_the_depth(rate_hz, depth):
    """(1 + m·cos)·carrier has sidebands of m/2 each and nothing else (textbook)."""
    made = am_tone_iq(1000.0, depth, 1.0, clean(sample_rate_hz=rate_hz, offset_hz=-300.0), seed=1)
    assert line(made.iq, rate_hz, -300.0) == pytest.approx(1.0, abs=1e-3)
    for n, expected in ((1, depth / 2), (-1, depth / 2), (2, 0.0), (-2, 0.0)):
        assert line(made.iq, rate_hz, -300.0 + 1000.0 * n) == pytest.approx(expected, abs=1e-3)


def test_overmodulated_am_raises_its_carrier_as_the_integral_says():
    """Mean of max(0, 1 + m·cos x): with x0 = arccos(-1/m) it is (x0 + m·sin x0)/π (integral of the half-open
    cycle)."""
    made = am_tone_iq(1000.0, 1.3, 1.0, clean(), seed=1)
    cut = np.arccos(-1 / 1.3)
    mean = (cut + 1.3 * np.sin(cut)) / np.pi
    assert made.truth.carrier_mean == pytest.approx(mean, rel=1e-4)
    assert line(made.iq, 96000, 0.0) == pytest.approx(mean, rel=1e-3)
    assert made.truth.negative_depth == 1.0
    assert made.truth.positive_depth == pytest.approx(2.3 / mean - 1.0, rel=1e-3)
    # Splatter: up to 100 % there is no second sideband.
    assert line(made.iq, 96000, 2000.0) > 0.02


def test_uneven_peaks_are_the_ones_asked_for_and_leave_no_offset():
    tone = uneven_tone(1000.0, 2.5, 2.0, 0.1, 192000)
    assert (np.max(tone), np.min(tone)) == pytest.approx((2.5, -2.0), abs=1e-3)
    assert np.mean(tone) == pytest.approx(0.0, abs=1e-9)
    with pytest.raises(RequestError, match="too unequal"):
        uneven_tone(1000.0, 2.5, 1.0, 0.1, 192000)


@pytest.mark.parametrize("rate_hz", RATES)
def test_noise_has_the_density_of_its_ratio(rate_hz):
    """C/N in a band B: N0 = C/(ρ·B), and the whole band fs holds N0·fs."""
    made = fm_tone_iq(1000.0, 0.0, 1.0, clean(sample_rate_hz=rate_hz, cnr_db=20.0), seed=2)
    middle = made.iq[rate_hz // 10 : -rate_hz // 10].astype(complex)
    noise = np.mean(np.abs(middle - np.mean(middle)) ** 2)
    # 38 000 and more samples: 0.5 % standard deviation.
    assert noise == pytest.approx(10**-2.0 * rate_hz / 12500.0, rel=0.02)


@pytest.mark.parametrize(("gain_db", "phase_deg"), [(0.5, 0.0), (0.0, 3.0), (0.5, 3.0)])
def test_unequal_branches_make_the_image_of_the_textbook(gain_db, phase_deg):
    """Image over wanted: (1 - 2g·cosφ + g²)/(1 + 2g·cosφ + g²) in power (textbook)."""
    receiver = clean(offset_hz=5000.0, gain_error_db=gain_db, phase_error_deg=phase_deg, dc_i_fs=0.02)
    made = fm_tone_iq(1000.0, 0.0, 1.0, receiver, seed=1)
    g, cosine = 10 ** (gain_db / 20), np.cos(np.deg2rad(phase_deg))
    ratio = np.sqrt((1 - 2 * g * cosine + g * g) / (1 + 2 * g * cosine + g * g))
    found = line(made.iq, 96000, -5000.0) / line(made.iq, 96000, 5000.0)
    assert found == pytest.approx(ratio, rel=0.01)
    assert line(made.iq, 96000, 0.0) == pytest.approx(0.02, abs=1e-4)


@pytest.mark.parametrize("rate_hz", RATES)
def test_what_is_measured_is_what_was_sent(rate_hz):
    receiver = IqReceiver(sample_rate_hz=rate_hz, offset_hz=350.0, gain_error_db=0.1)
    made = fm_tone_iq(1000.0, 2.5, 1.0, receiver, seed=1, negative_khz=2.2)
    fm = measure_fm(complex_feed(made.stereo()), rate_hz)
    # The noise of 50 dB CNR alone scatters a peak by a few hertz; the gain error bends it by one percent.
    assert fm.positive_khz == pytest.approx(made.truth.positive_khz, rel=0.02)
    assert fm.negative_khz == pytest.approx(made.truth.negative_khz, rel=0.02)
    assert fm.offset_hz == pytest.approx(350.0, abs=1.0)
    made = am_tone_iq(1000.0, 0.8, 1.0, IqReceiver(sample_rate_hz=rate_hz, offset_hz=-150.0), seed=1)
    am = measure_am(made.iq, rate_hz)
    assert am.positive_percent == pytest.approx(80.0, abs=0.5)
    assert am.negative_percent == pytest.approx(80.0, abs=0.5)
    assert am.offset_hz == pytest.approx(-150.0, abs=0.1)


@pytest.mark.parametrize("offset_hz", [-180.0, 0.0, 240.0])
def test_a_carrier_beats_at_the_pitch_and_its_offset(offset_hz):
    made = fm_tone_iq(1000.0, 0.0, 1.0, clean(offset_hz=offset_hz), seed=1)
    heard = beat_note(made.iq, 96000, 800.0)
    assert np.argmax(np.abs(np.fft.rfft(heard * np.hanning(len(heard))))) == 800 + offset_hz


def test_the_beat_note_vanishes_at_the_carrier_null():
    """J0(2.404826) = 0, while half as much modulation leaves J0(1.202413) = 0.67 (Bessel function)."""
    null, half = (
        line(beat_note(fm_tone_iq(1000.0, b, 1.0, clean(), seed=1).iq, 96000, 800.0), 96000, 800.0)
        for b in (2.404826, 1.202413)
    )
    assert half == pytest.approx(jv(0, 1.202413) / 2, abs=1e-3)
    assert null < 1e-3


def test_an_over_as_iq_is_the_over_of_the_link():
    voice, rate_hz = load_voice("italian_male")
    tx = Transmitter(drive_db=6.0, ambient_db=-40.0)
    made = over_iq(voice[:24000], rate_hz, tx, clean(), Timing(), seed=5)
    link = simulate(voice[:24000], rate_hz, tx, Receiver(), SoundCard(), Timing(), seed=5)
    assert len(made.iq) == 2 * len(link.audio)
    assert max(made.truth.positive_khz, made.truth.negative_khz) == pytest.approx(
        link.truth[0].peak_khz, rel=1e-6
    )
    size = np.abs(made.iq)
    assert np.max(size[:90000]) < 0.01
    assert np.mean(size[100000:200000]) == pytest.approx(1.0, abs=0.001)


def test_equal_seeds_give_equal_samples_of_the_converter():
    receiver = IqReceiver(bits=12)
    one, two, other = (fm_iq(np.zeros(19200), 192000, receiver, seed=s).iq for s in (1, 1, 2))
    assert np.array_equal(one, two)
    assert not np.array_equal(one, other)
    codes = one.real.astype(float) * 2**11
    assert np.array_equal(codes, np.round(codes))
