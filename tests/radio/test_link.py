"""The simulated radio against FM theory, and its truth against a recomputation."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.signal import butter, sosfilt, sosfiltfilt, welch
from scipy.special import jv

from audiotest.radio.link import laboratory_hiss, laboratory_tone, simulate
from audiotest.radio.receiver import if_filter
from audiotest.radio.settings import Receiver, SoundCard, Timing, Transmitter
from audiotest.radio.transmitter import active_frames, limit, modulate, select
from audiotest.radio.voices import load_voice, voice_names

FLAT = Receiver(deemphasis_us=0.0, highpass_hz=None, lowpass_hz=None, scale_khz_per_fs=60.0, cnr_db=40.0)
CARD = SoundCard(bits=None, noise_dbfs=-140.0)


def band_rms(samples, low_hz, high_hz, rate_hz=48000):
    return np.std(sosfiltfilt(butter(8, [low_hz, high_hz], "band", fs=rate_hz, output="sos"), samples))


@pytest.mark.parametrize("band_khz", [7.0, 10.0, 15.0])
@pytest.mark.parametrize("order", [3, 6])
def test_hiss_follows_the_bandwidth_rule(band_khz, order):
    # RMS in 400-2800 Hz of about 0.75·sqrt(B) kHz, 0.71 at 7 and 0.76 at 15 kHz, 3 % between filter orders
    # (simulation over Butterworth filters; Rice 1948 for the density). 8 s of hiss: s.d. about 0.5 %.
    receiver = replace(FLAT, if_bandwidth_khz=band_khz, if_order=order)
    hiss = laboratory_hiss(8.0, receiver, CARD, seed=1).audio * 60.0
    factor = np.interp(band_khz, [7.0, 15.0], [0.71, 0.76])
    assert band_rms(hiss, 400, 2800) / np.sqrt(band_khz) == pytest.approx(factor, rel=0.05)


def test_noise_with_a_carrier_rises_six_decibels_an_octave():
    # The FM noise triangle: one-sided density f²·N0/C (textbook).
    receiver = replace(FLAT, if_bandwidth_khz=15.0, if_order=6, cnr_db=25.0)
    quiet = laboratory_tone(1000.0, 0.0, 8.0, receiver, CARD, seed=2).audio[4800:-4800] * 60.0
    hz, density = welch(quiet, 48000, nperseg=4800)
    expected = hz**2 / (10**2.5 * 15e3) * 1e-6
    inside = (hz >= 500) & (hz <= 3000)
    ratio_db = 10 * np.log10(density[inside] / expected[inside])
    assert abs(np.mean(ratio_db)) < 0.25
    slope, _ = np.polyfit(np.log2(hz[inside]), 10 * np.log10(density[inside]), 1)
    assert slope == pytest.approx(6.02, abs=0.3)


@pytest.mark.parametrize(
    ("cnr_db", "published_db"), [(6.0, 16.2), (8.0, 20.1), (10.0, 22.5), (15.0, 27.7), (20.0, 32.7)]
)
def test_quieting_in_an_eight_kilohertz_if(cnr_db, published_db):
    # Simulated table for a rectangular IF of 8 kHz, 300-3000 Hz, 6 dB/octave de-emphasis; Rice's formula
    # agrees within 0.7 dB from 0 dB and 0.3 dB from 4 dB up. 1 dB is allowed: a Butterworth IF is not flat.
    receiver = replace(FLAT, if_bandwidth_khz=8.0, if_order=6, cnr_db=cnr_db, deemphasis_us=5000.0)
    hiss = laboratory_hiss(8.0, receiver, CARD, seed=3).audio
    quiet = laboratory_tone(1000.0, 0.0, 8.0, receiver, CARD, seed=4).audio
    quieting_db = 20 * np.log10(band_rms(hiss, 300, 3000) / band_rms(quiet[4800:-4800], 300, 3000))
    assert quieting_db == pytest.approx(published_db, abs=1.0)


def test_if_filter_has_the_noise_bandwidth_asked_for():
    for order in (3, 4, 6):
        sos, band_hz = if_filter(replace(FLAT, if_bandwidth_khz=9.0, if_order=order), 192000)
        rng = np.random.default_rng(order)
        noise = rng.standard_normal(2_000_000)
        assert np.var(sosfilt(sos, noise)) * 192000 == pytest.approx(band_hz, rel=0.02)


@pytest.mark.parametrize("index", [1.0, 2.404826, 3.831706])
def test_sidebands_of_a_tone_are_bessel_functions(index):
    # Carrier null at 2.4048, first-sideband null at 3.8317 (zeros of J0 and J1).
    rate_hz, tone_hz, n = 192000, 1000.0, 192000
    t = np.arange(n) / rate_hz
    phase = np.cumsum(index * tone_hz * np.sin(2 * np.pi * tone_hz * t)) * 2 * np.pi / rate_hz
    lines = np.abs(np.fft.fft(np.exp(1j * phase)))[: 4 * 1000 : 1000] / n
    assert np.allclose(lines, np.abs(jv(np.arange(4), index)), atol=2e-3)


def test_a_clipped_tone_has_the_published_harmonics():
    # Overdrive 6 dB: H3 22.5839 %, H5 4.4738 %; 12 dB: 30.5533, 15.2475 % (closed form of the clipped sine).
    t = np.arange(192000) / 192000
    for drive_db, third, fifth in ((6.0, 0.225839, 0.044738), (12.0, 0.305533, 0.152475)):
        wave = limit(10 ** (drive_db / 20) * np.sin(2 * np.pi * 300 * t), 192000, Transmitter(limiter="hard"))
        lines = np.abs(np.fft.rfft(wave))[300:1501:600]
        assert lines[1] / lines[0] == pytest.approx(third, abs=1e-4)
        assert lines[2] / lines[0] == pytest.approx(fifth, abs=1e-4)


@pytest.mark.parametrize(("tau_us", "gain_db"), [(750.0, -9.37), (530.0, -9.21)])
def test_deemphasis_at_three_kilohertz(tau_us, gain_db):
    # Real time constants re 1 kHz at 3000 Hz, closed form of the first-order network.
    level = []
    for tone_hz in (1000.0, 3000.0):
        receiver = replace(FLAT, deemphasis_us=tau_us, if_bandwidth_khz=16.0)
        made = laboratory_tone(tone_hz, 1.0, 1.0, receiver, CARD, seed=5)
        level.append(band_rms(made.audio[4800:-4800], tone_hz - 200, tone_hz + 200))
    # 0.1 dB: what a 16 kHz IF of order 4 takes from a 3 kHz tone of 1 kHz deviation.
    assert 20 * np.log10(level[1] / level[0]) == pytest.approx(gain_db, abs=0.15)


def test_truth_equals_a_recomputation_from_the_definition():
    voice, rate_hz = load_voice("italian_male")
    sent = modulate(
        voice[:64000], rate_hz,
        Transmitter(drive_db=7.0, limiter="none", ceiling_khz=1.0, splatter=("bessel", 2, 60000.0)),
        rate_hz=96000, lead_s=0.4, trail_s=0.2, rng=np.random.default_rng(0),
    )  # fmt: skip
    # Without a limiter and with a wide filter the deviation is the limiter's input.
    v = sent.speech_khz
    frames = v[: len(v) // 1920 * 1920].reshape(-1, 1920)
    rms = np.sqrt(np.mean(frames**2, axis=1))
    active = np.abs(frames[20 * np.log10(rms / np.percentile(rms, 98)) >= -25.0])
    assert 20 * np.log10(np.quantile(active, 0.999)) == pytest.approx(7.0, abs=0.05)
    assert sent.clipped_fraction == pytest.approx(np.mean(active > 1.0), abs=0.002)
    # The wide filter still moves a frame at the threshold now and then.
    assert np.sum(active_frames(v, 96000) != sent.active) <= 2
    assert len(select(v, sent.active, 96000)) == pytest.approx(active.size, abs=2 * 1920)


def test_equal_seeds_give_equal_samples_and_a_closed_squelch_is_silent():
    voice, rate_hz = load_voice(voice_names()[0])
    arguments = (
        voice[:32000],
        rate_hz,
        Transmitter(),
        replace(FLAT, squelch="closed"),
        SoundCard(),
        Timing(),
    )
    one = simulate(*arguments, seed=3, baseband_rate_hz=96000)
    two = simulate(*arguments, seed=3, baseband_rate_hz=96000)
    assert np.array_equal(one.audio, two.audio)
    before, tail = (
        one.audio[: 48000 * 9 // 10],
        one.audio[round((one.truth[0].end_s + 0.02) * 48000) :][:3000],
    )
    assert np.max(np.abs(before)) < 0.001
    assert np.std(tail) > 30 * np.std(before)


def test_an_end_beep_is_no_speech():
    """A loud beep right after a loud syllable: neither the speech's end nor its deviation takes it in."""
    voice, rate_hz = load_voice("german_male")
    plain = Transmitter(drive_db=-3.0, limiter="none", ceiling_khz=1.0)
    beeping = replace(plain, end_beep_hz=1000.0, end_beep_level=3.0)
    # Cut in a loud syllable and in the middle of a frame; faded, since a click would be its own peak.
    said = voice[:47520].copy()
    said[-160:] *= np.linspace(1.0, 0.0, 160, dtype=np.float32)
    without, with_beep = (
        simulate(
            said, rate_hz, tx, FLAT, CARD, Timing(after_s=after_s), seed=3, baseband_rate_hz=96000
        ).truth[0]
        for tx, after_s in ((plain, 0.45), (beeping, 0.2))
    )
    assert with_beep.speech_end_s <= with_beep.end_beep_start_s
    assert with_beep.speech_end_s == pytest.approx(without.speech_end_s, abs=0.021)
    assert with_beep.peak_khz == pytest.approx(without.peak_khz, rel=1e-5)
    assert with_beep.clipped_fraction == without.clipped_fraction
