"""The carrier, its noise and the receiver against Bessel, Rice and the noise triangle; the sound card."""

import numpy as np
import pytest
import scipy.signal as sps
from scipy.optimize import brentq
from scipy.special import erfc, jv

from audiotest.radio.bench import ReceiverUnderTest, cnr_of_level, true_levels
from audiotest.radio.link import laboratory_hiss, laboratory_tone
from audiotest.radio.receiver import carrier_wave, digitise
from audiotest.radio.settings import Receiver, SoundCard

RATE_HZ = 192000
CARD = SoundCard(bits=None, noise_dbfs=-140.0, overload=False)
"""A sound card that adds nothing."""


def flat(**changes) -> Receiver:
    plain = {"deemphasis_us": 0.0, "highpass_hz": None, "lowpass_hz": None, "scale_khz_per_fs": 1.0}
    return Receiver(**plain | changes)


def band_khz(audio: np.ndarray, low_hz: float, high_hz: float) -> float:
    """RMS of a band of 48 kHz audio, the first and last tenth of a second left out."""
    hz, density = sps.welch(audio[4800:-4800].astype(float), 48000, nperseg=4800)
    inside = (hz >= low_hz) & (hz < high_hz)
    return float(np.sqrt(np.sum(density[inside]) * hz[1]))


def amplitude(audio: np.ndarray, hz: float, rate_hz: int = 48000) -> float:
    """Amplitude of a steady tone by least squares, the first and last tenth of a second left out."""
    y = audio[rate_hz // 10 : -rate_hz // 10].astype(float)
    angle = 2 * np.pi * hz * np.arange(len(y)) / rate_hz
    columns = np.stack([np.cos(angle), np.sin(angle), np.ones(len(y))], axis=1)
    return float(np.hypot(*np.linalg.lstsq(columns, y, rcond=None)[0][:2]))


# -- carrier --------------------------------------------------------------------------------------


def sidebands(index: float, tone_hz: float = 1000.0) -> np.ndarray:
    """Amplitudes of carrier and upper sidebands 1 to 12 of the simulated carrier."""
    t = np.arange(RATE_HZ // 4) / RATE_HZ
    deviation = index * tone_hz / 1e3 * np.sin(2 * np.pi * tone_hz * t)
    z = carrier_wave(deviation, np.ones(len(t)), 0.0, RATE_HZ)
    return np.array([abs(np.mean(z * np.exp(-2j * np.pi * k * tone_hz * t))) for k in range(13)])


def test_the_carrier_vanishes_at_index_2_4048():
    """|Jn(2.404826)|, n = 0 … 6: Bessel functions of the first kind (Jacobi–Anger expansion, textbook)."""
    found = sidebands(2.404826)
    table = [0.0, 0.519147, 0.431755, 0.199000, 0.064747, 0.016389, 0.003405]
    assert found[:7] == pytest.approx(table, abs=3e-4)
    assert found[0] ** 2 + 2 * np.sum(found[1:] ** 2) == pytest.approx(1.0, abs=1e-4)


@pytest.mark.parametrize(
    ("index", "j0"), [(0.5, 0.9385), (1.0, 0.7652), (2.0, 0.2239), (2.5, 0.0484), (5.0, 0.1776)]
)
def test_carrier_and_sidebands_at_other_indices(index, j0):
    found = sidebands(index)
    assert found[0] == pytest.approx(j0, abs=5e-4)
    assert found == pytest.approx(np.abs(jv(np.arange(13), index)), abs=5e-4)


def test_mistuning_moves_the_carrier():
    z = carrier_wave(np.zeros(RATE_HZ // 4), np.ones(RATE_HZ // 4), 0.8, RATE_HZ)
    assert np.argmax(np.abs(np.fft.fft(z))) == 800 // 4


# -- noise ----------------------------------------------------------------------------------------


def test_noise_of_a_carrier_is_the_triangle_of_the_textbook():
    """S(f) = f²·N0/C above threshold, so a band holds N0/C·(f2³−f1³)/3 (textbook, from memory).

    Level and slope. 10 s: the narrowest band scatters by 4.34/√(300·10) ≈ 0.08 dB.
    """
    rx = flat(if_bandwidth_khz=15.0, cnr_db=25.0)
    audio = laboratory_tone(1000.0, 0.0, 10.0, rx, CARD, seed=2).audio
    for low, high in ((300, 600), (600, 1200), (1200, 2000), (2000, 3000)):
        expected = np.sqrt(10 ** (-25 / 10) / 15e3 * (high**3 - low**3) / 3) / 1e3
        assert 20 * np.log10(band_khz(audio, low, high) / expected) == pytest.approx(0.0, abs=0.25)


def rice_hiss_khz(band_khz_: float, order: int, low_hz: float = 400.0, high_hz: float = 2800.0) -> float:
    """RMS deviation of pure noise behind a Butterworth IF, from its autocorrelation.

    R(τ) = ½·(ln k)''·ln(1−k²) for the instantaneous angular frequency of narrow-band Gaussian noise with
    symmetric spectrum, k its normalised envelope correlation (S. O. Rice, Bell System Technical Journal 27,
    1948; from memory).
    """
    corner = band_khz_ * 1e3 / 2 / (np.pi / (2 * order) / np.sin(np.pi / (2 * order)))
    f = np.arange(0.0, 120e3, 25.0)
    power = 1 / (1 + (f / corner) ** (2 * order))
    power[0] /= 2
    power /= np.sum(power)
    tau = np.concatenate([np.geomspace(1e-9, 2e-6, 60), np.arange(4e-6, 1.5e-3, 2e-6)])
    w = 2 * np.pi * f
    cosine, sine = np.cos(np.outer(tau, w)), np.sin(np.outer(tau, w))
    k, k1, k2 = cosine @ power, -sine @ (w * power), -cosine @ (w**2 * power)
    log = np.where(np.abs(k) > 1e-4, np.log1p(-np.minimum(k**2, 1 - 1e-15)) / np.maximum(k**2, 1e-9), -1.0)
    correlation = 0.5 * (k2 * k - k1**2) * log
    g = np.arange(low_hz, high_hz + 1, 50.0)
    density = 4 * np.trapezoid(correlation * np.cos(2 * np.pi * np.outer(g, tau)), tau, axis=1)
    return float(np.sqrt(np.trapezoid(density, g)) / (2 * np.pi) / 1e3)


@pytest.mark.parametrize(("if_khz", "order"), [(7.0, 4), (8.0, 6), (10.0, 3), (15.0, 4)])
def test_hiss_without_a_carrier_has_the_level_rice_gives_it(if_khz, order):
    """4 s over 2400 Hz scatter by 0.5 %, by somewhat more for the clicks: 2 %. The rule of thumb 0.75·√B kHz
    (common practice, no source) is right to about 5 %."""
    audio = laboratory_hiss(4.0, flat(if_bandwidth_khz=if_khz, if_order=order), CARD, seed=order).audio
    found = band_khz(audio, 400, 2800)
    assert found == pytest.approx(rice_hiss_khz(if_khz, order), rel=0.02)
    assert found == pytest.approx(0.75 * np.sqrt(if_khz), rel=0.05)


QUIETING_DB = {
    8.0: {0: 5.0, 5: 13.8, 8: 20.1, 10: 22.5, 20: 32.7},
    15.0: {0: 5.4, 5: 15.5, 10: 28.1, 20: 38.4},
}
"""Quieting by CNR in 300–3000 Hz behind −6 dB/octave, rectangular IF filter: a longer simulation of the same
quantities, which Rice's click formula (1963) reproduces within 0.7 dB, and 0.3 dB from 4 dB CNR up."""


@pytest.mark.parametrize("if_khz", QUIETING_DB)
def test_quieting_follows_the_click_theory(if_khz):
    """0.7 dB and 0.3 dB as above; a sixth-order Butterworth stands in for the rectangle."""
    changes = {"if_bandwidth_khz": if_khz, "if_order": 6, "deemphasis_us": 1e6}
    hiss = laboratory_hiss(4.0, flat(**changes), CARD, seed=5).audio
    for cnr_db, quieting_db in QUIETING_DB[if_khz].items():
        quiet = laboratory_tone(1000.0, 0.0, 4.0, flat(**changes, cnr_db=cnr_db), CARD, seed=6).audio
        found = 20 * np.log10(band_khz(hiss, 300, 3000) / band_khz(quiet, 300, 3000))
        assert found == pytest.approx(quieting_db, abs=0.3 if cnr_db >= 4 else 0.7), cnr_db


def rice_quieting_db(if_khz: float, order: int, cnr_db: float) -> float:
    """Flat quieting in 300-3400 Hz: Rice's noise without a carrier over his noise with one.

    With a carrier of power ρ over the noise the phase is Im ln(1+z), z complex noise; its terms z and z²/2
    have the densities f²/(ρB) and, through E|z²|² = 2(E|z|²)², (1-f/B)/(2ρ) of that. Clicks come
    B/(2√3)·erfc√ρ times a second, one period each, for a rectangular IF (S. O. Rice, "Noise in FM receivers",
    1963; from memory).
    """
    rho, band = 10 ** (cnr_db / 10), 1e3 * if_khz
    f = np.linspace(300.0, 3400.0, 311)
    smooth = np.trapezoid(f**2 / (rho * band) * (1 + (1 - f / band) / (2 * rho)), f)
    clicks = 2 * band / (2 * np.sqrt(3)) * erfc(np.sqrt(rho)) * (3400.0 - 300.0)
    return 20 * np.log10(1e3 * rice_hiss_khz(if_khz, order, 300.0, 3400.0) / np.sqrt(smooth + clicks))


@pytest.mark.parametrize("if_khz", [8.0, 15.0])
def test_true_20_db_quieting_is_where_rice_puts_it(if_khz):
    """0.1 dB of scatter in the truth; order 6 stands in for the rectangle, a few percent of the clicks."""
    unit = ReceiverUnderTest(receiver=flat(if_bandwidth_khz=if_khz, if_order=6))
    found = cnr_of_level(true_levels(unit).quieting_20_dbm, unit)
    expected = brentq(lambda cnr_db: rice_quieting_db(if_khz, 6, cnr_db) - 20.0, 4.0, 25.0, xtol=0.01)
    assert found == pytest.approx(expected, abs=0.2)


# -- audio ----------------------------------------------------------------------------------------


@pytest.mark.parametrize("tau_us", [0.0, 530.0, 750.0])
def test_a_generator_gives_the_scale_and_the_deemphasis(tau_us):
    """1 kHz at 1.5 kHz reads 1.5 over the scale whatever the de-emphasis; other tones by the closed form."""
    rx = Receiver(deemphasis_us=tau_us, highpass_hz=None, lowpass_hz=None, if_bandwidth_khz=20.0,
                  cnr_db=60.0, scale_khz_per_fs=6.0)  # fmt: skip
    for hz in (300.0, 1000.0, 3000.0):
        found = amplitude(laboratory_tone(hz, 1.5, 0.6, rx, CARD, seed=1).audio, hz)
        turn = 2e-6 * np.pi * tau_us
        loss = np.hypot(1, turn * hz) / np.hypot(1, turn * 1000.0) if tau_us else 1.0
        # The IF filter itself takes up to 0.5 % off the outer sidebands of 3 kHz.
        assert found == pytest.approx(1.5 / 6.0 / loss, rel=0.01)


@pytest.mark.parametrize("mistune_khz", [-0.7, 0.0, 0.7])
def test_mistuning_is_an_offset_of_a_flat_feed_and_none_of_a_coupled_one(mistune_khz):
    """A discriminator reads the carrier's frequency re the middle of the IF: DC, which a capacitor takes."""
    wide = {"if_bandwidth_khz": 15.0, "cnr_db": 40.0, "mistune_khz": mistune_khz}
    for highpass_hz, expected in ((None, mistune_khz), (300.0, 0.0)):
        audio = laboratory_tone(1000.0, 1.5, 0.7, flat(**wide, highpass_hz=highpass_hz), CARD, seed=4).audio
        assert np.mean(audio[4800:-4800]) == pytest.approx(expected, abs=2e-3)


def test_a_narrow_if_bends_a_wide_tone_and_mistuning_bends_it_one_way():
    narrow = {"if_bandwidth_khz": 7.0, "cnr_db": 50.0}
    wide = laboratory_tone(1000.0, 3.4, 0.6, flat(if_bandwidth_khz=25.0, cnr_db=50.0), CARD, seed=1).audio
    bent = laboratory_tone(1000.0, 3.4, 0.6, flat(**narrow), CARD, seed=1).audio
    aside = laboratory_tone(1000.0, 3.4, 0.6, flat(**narrow, mistune_khz=1.0), CARD, seed=1).audio
    third = [amplitude(a, 3000.0) / amplitude(a, 1000.0) for a in (wide, bent)]
    assert third[1] > 5 * third[0]
    assert amplitude(aside, 2000.0) > 5 * amplitude(bent, 2000.0)


# -- sound card -----------------------------------------------------------------------------------


def card_audio(samples: np.ndarray, **settings) -> np.ndarray:
    return digitise(samples, SoundCard(**{"noise_dbfs": -140.0} | settings), np.random.default_rng(3))


def sine(level: float, seconds: float = 1.0, hz: float = 997.0) -> np.ndarray:
    return level * np.sin(2 * np.pi * hz * np.arange(round(48000 * seconds)) / 48000)


@pytest.mark.parametrize("full_scale", [1.0, 0.6])
def test_overload_makes_runs_of_equal_extreme_samples(full_scale):
    clipped = card_audio(sine(2.0), full_scale=full_scale)
    for extreme in (clipped.max(), clipped.min()):
        assert abs(extreme) == pytest.approx(full_scale, abs=2**-15)
        at = np.flatnonzero(clipped == extreme)
        runs = np.split(at, np.flatnonzero(np.diff(at) > 1) + 1)
        # A sine of twice full scale is above it for a third of each half wave: 8 to 16 samples of 48.
        assert min(len(run) for run in runs[1:-1]) >= 8
        assert len(runs) == pytest.approx(997, abs=1)
    assert card_audio(sine(2.0), overload=False, bits=None).max() == pytest.approx(2.0, abs=0.01)


@pytest.mark.parametrize("bits", [8, 16, 24])
def test_samples_lie_on_the_codes_of_the_converter(bits):
    codes = card_audio(sine(0.7), bits=bits).astype(float) * 2 ** (bits - 1)
    assert np.array_equal(codes, np.round(codes))
    if bits == 8:
        # Ideal quantiser: SNR = 6.02·b + 1.76 dB re full scale (textbook).
        error = codes / 128 - sine(0.7)
        snr_db = 20 * np.log10(np.std(sine(0.7)) / np.std(error))
        assert snr_db == pytest.approx(6.0206 * 8 + 1.7609 + 20 * np.log10(0.7), abs=0.5)


def test_noise_mains_and_offset_have_their_levels():
    silent = np.zeros(96000)
    assert 20 * np.log10(np.std(card_audio(silent, noise_dbfs=-60.0))) == pytest.approx(-60.0, abs=0.1)
    assert np.mean(card_audio(silent, dc_fs=0.02)) == pytest.approx(0.02, abs=1e-4)
    mains = card_audio(silent, mains_hz=50.0, mains_dbfs=-40.0)
    assert 20 * np.log10(amplitude(mains, 50.0) / np.sqrt(2)) == pytest.approx(-40.0, abs=0.05)


def test_automatic_gain_brings_every_level_to_one():
    levels = [np.std(card_audio(sine(level, 6.0), agc=True)[-9600:]) for level in (0.05, 0.8)]
    assert levels == pytest.approx([0.25, 0.25], rel=0.03)


def test_the_codec_is_a_telephone_leg():
    """Eight-bit µ-law holds about 38 dB over the whole range of levels (ITU-T G.711, from memory), and
    nothing above 4 kHz."""
    for level in (0.05, 0.5):
        heard = card_audio(sine(level, hz=1007.0), codec=True)[4800:-4800]
        y = heard - np.mean(heard)
        angle = 2 * np.pi * 1007.0 * np.arange(len(y)) / 48000
        columns = np.stack([np.cos(angle), np.sin(angle)], axis=1)
        rest = y - columns @ np.linalg.lstsq(columns, y, rcond=None)[0]
        assert 20 * np.log10(np.std(y) / np.std(rest)) == pytest.approx(38.0, abs=3.0)
    assert np.std(card_audio(sine(0.5, hz=5000.0), codec=True)[4800:-4800]) < 1e-3
