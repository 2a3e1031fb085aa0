"""The whole link: its truth against a recomputation, its squelch, its repeatability."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.signal import sosfilt

from audiotest.radio.link import simulate
from audiotest.radio.receiver import if_filter
from audiotest.radio.settings import Receiver, SoundCard, Timing, Transmitter
from audiotest.radio.transmitter import active_frames, modulate, select
from audiotest.radio.voices import load_voice, voice_names

FLAT = Receiver(deemphasis_us=0.0, highpass_hz=None, lowpass_hz=None, scale_khz_per_fs=60.0, cnr_db=40.0)
CARD = SoundCard(bits=None, noise_dbfs=-140.0)


def test_if_filter_has_the_noise_bandwidth_asked_for():
    for order in (3, 4, 6):
        sos, band_hz = if_filter(replace(FLAT, if_bandwidth_khz=9.0, if_order=order), 192000)
        rng = np.random.default_rng(order)
        noise = rng.standard_normal(2_000_000)
        assert np.var(sosfilt(sos, noise)) * 192000 == pytest.approx(band_hz, rel=0.02)


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
