"""The path behind a limiter, learnt from overdriven tones.

The truth is the analogue response that the simulated radio applies (splatter filter and receiver audio); the
series of a clipped sine is checked against a numerical Fourier integral.
"""

from dataclasses import replace

import numpy as np
import pytest

from audiotest.measure.filters import undo_deemphasis
from audiotest.measure.path import PathError, PathResponse, learn_path, path_gain, undo_path
from audiotest.measure.pathfit import clipped_sine_harmonic
from audiotest.measure.pathtones import find_comb_tones
from audiotest.radio.link import simulate
from audiotest.radio.receiver import audio_response
from audiotest.radio.settings import Receiver, SoundCard, Timing, Transmitter
from audiotest.radio.transmitter import analogue_highpass, analogue_lowpass, emphasis, filtered, padded_bins
from audiotest.radio.voices import load_voice

RATE_HZ = 48000
TONES_HZ = (200.0, 250.0, 310.0, 390.0, 480.0, 600.0, 750.0, 950.0)
QUICK = Timing(before_s=0.1, bare_carrier_s=0.1, after_s=0.1, end_s=0.1)


def tones(amplitude, *, seconds=0.45, gap_s=0.05, tones_hz=TONES_HZ, rate_hz=RATE_HZ):
    """Tones one after another, each of the amplitude that `amplitude` gives for its frequency."""
    t = np.arange(round(seconds * rate_hz)) / rate_hz
    gap = np.zeros(round(gap_s * rate_hz))
    return np.concatenate(
        [part for hz in tones_hz for part in (amplitude(hz) * np.sin(2 * np.pi * hz * t), gap)]
    )


def recorded(tx, rx, *, drive_db, seed=1):
    """The tones through the simulated radio, each at `drive_db` above the limiter's threshold."""

    def level(hz):
        at = np.array([hz])
        chain = analogue_highpass(2, tx.mic_highpass_hz, at) * emphasis(tx.preemphasis_us, at)
        return 1e-3 / abs(chain[0])

    tx = replace(tx, drive_db=None, mic_gain_db=60.0 + drive_db)
    sent = tones(level)
    return simulate(sent, RATE_HZ, tx, rx, SoundCard(), QUICK, seed=seed, baseband_rate_hz=96000).audio


def bench(shape, *, response=None, noise=1e-3, seed=3):
    """Tones of amplitude 1 through `shape` and a response, without a carrier: quick, and exactly known."""
    rate_hz = 192000
    sent = shape(tones(lambda hz: 1.0, rate_hz=rate_hz))
    bins = padded_bins(len(sent), rate_hz)
    response = response or (lambda hz: analogue_lowpass("butterworth", 4, 3000.0, hz))
    heard = filtered(sent, rate_hz, response(bins))[::4]
    return heard + noise * np.random.default_rng(seed).standard_normal(len(heard))


def errors(path: PathResponse, truth, low_hz=300.0, high_hz=3000.0):
    """Gain error in dB and phase error in rad at the path's points, gain and delay aligned."""
    hz = np.array(path.hz)
    inside = (hz >= low_hz) & (hz <= high_hz)
    ratio = path_gain(path, hz)[inside] / truth(hz[inside])
    gain = 20.0 * np.log10(np.abs(ratio))
    phase = np.unwrap(np.angle(ratio))

    slope = np.polyfit(hz[inside], phase, 1)
    # A straight line through zero or through half a turn is delay and polarity.
    phase = phase - slope[0] * hz[inside]
    phase = phase - np.pi * np.round(np.mean(phase) / np.pi)
    return gain - np.median(gain), phase


def test_series_of_a_clipped_sine_against_a_numerical_integral():
    angle = 2.0 * np.pi * (np.arange(2**15) + 0.5) / 2**15
    for drive_db in (0.5, 3.0, 6.0, 12.0, 20.0, 40.0):
        wave = np.clip(10 ** (drive_db / 20) * np.sin(angle), -1.0, 1.0)
        for order in range(1, 16):
            numerical = 2.0 * np.mean(wave * np.sin(order * angle))
            assert clipped_sine_harmonic(order, drive_db) == pytest.approx(numerical, abs=1e-6)
    assert clipped_sine_harmonic(1, -6.0) == pytest.approx(10**-0.3)
    assert clipped_sine_harmonic(5, 300.0) == pytest.approx(4.0 / (5.0 * np.pi))


# Family, order, corner of the splatter filter; receiver; largest errors in dB and rad within 300-3000 Hz.
# The IF filter acts on a square wave's harmonics as well and is not in the truth: the narrower, the more.
RADIOS = [
    (("butterworth", 4, 3000.0), {"cnr_db": 30.0, "if_bandwidth_khz": 16.0}, 24.0, 0.3, 0.03),
    (("bessel", 4, 3000.0), {"cnr_db": 25.0, "highpass_hz": 200.0, "highpass_order": 1}, 24.0, 0.5, 0.04),
    (("chebyshev", 4, 3000.0), {"cnr_db": 20.0, "if_bandwidth_khz": 12.0}, 20.0, 1.0, 0.08),
    (
        ("elliptic", 5, 3000.0),
        {
            "cnr_db": 45.0, "if_bandwidth_khz": 16.0, "deemphasis_us": 0.0, "highpass_hz": None,
            "lowpass_hz": None,
        },
        28.0, 0.9, 0.08,
    ),
]  # fmt: skip


@pytest.mark.parametrize(("splatter", "receiver", "drive_db", "gain_db", "phase_rad"), RADIOS)
def test_the_learnt_response_is_the_radios_own(splatter, receiver, drive_db, gain_db, phase_rad):
    tx = Transmitter(splatter=splatter)
    rx = Receiver(scale_khz_per_fs=14.0, **receiver)
    path = learn_path(recorded(tx, rx, drive_db=drive_db), RATE_HZ)
    gain, phase = errors(path, lambda hz: analogue_lowpass(*splatter, hz) * audio_response(rx, hz))
    assert np.max(np.abs(gain)) < gain_db
    assert np.max(np.abs(phase)) < phase_rad
    assert path.drive_db == pytest.approx(drive_db, abs=3.0)
    at = np.array([1000.0])
    passed = abs((analogue_lowpass(*splatter, at) * audio_response(rx, at))[0])
    assert path.ceiling_fs == pytest.approx(tx.ceiling_khz * passed / rx.scale_khz_per_fs, rel=0.03)
    assert len(path.tones_hz) == len(TONES_HZ)
    assert path.tones_hz == pytest.approx(TONES_HZ, rel=1e-4)
    inside = [300.0 <= hz <= 3000.0 for hz in path.hz]
    held = np.abs(gain) <= np.array(path.gain_error_db)[inside]
    assert np.mean(held) > 0.9


@pytest.mark.parametrize(
    ("shape", "most_db", "ceiling"),
    [
        (lambda x: np.clip(16.0 * x, -1.0, 1.0), 0.2, 1.0),
        (lambda x: 16.0 * x / (1.0 + np.abs(16.0 * x) ** 4) ** 0.25, 0.3, 1.0),
        (
            lambda x: np.sign(x) * np.minimum(16.0 * np.abs(x), 0.6 + 0.2 * np.log1p(80.0 * np.abs(x))),
            0.6,
            None,
        ),
        (lambda x: np.clip(16.0 * x, -0.9, 1.1), 0.3, 1.0),
        (lambda x: np.clip(16.0 * x + 0.5, -1.0, 1.0), 0.3, 1.0),
    ],
    ids=["hard", "soft knee", "diodes", "uneven levels", "off centre"],
)
def test_limiters_of_other_shapes_teach_the_same_path(shape, most_db, ceiling):
    path = learn_path(bench(shape), RATE_HZ)
    # Diodes go on growing: there is no height at which they hold.
    assert path.ceiling_fs == (None if ceiling is None else pytest.approx(ceiling, rel=0.03))
    gain, phase = errors(path, lambda hz: analogue_lowpass("butterworth", 4, 3000.0, hz))
    assert np.max(np.abs(gain)) < most_db
    assert np.max(np.abs(phase)) < 0.05


def test_the_even_harmonics_tell_an_off_centre_limiter():
    # Half waves longer and shorter by 2·arcsin(0.5/16): second harmonic sin(2φ)/2 of the fundamental.
    path = learn_path(bench(lambda x: np.clip(16.0 * x + 0.5, -1.0, 1.0), noise=1e-4), RATE_HZ)
    assert path.even_db == pytest.approx(20.0 * np.log10(0.5 / 16.0), abs=0.5)
    assert learn_path(bench(lambda x: np.clip(16.0 * x, -1.0, 1.0)), RATE_HZ).even_db is None


@pytest.mark.parametrize(
    ("shape", "noise", "reason"),
    [
        (lambda x: 0.5 * x, 1e-3, "no_harmonics"),
        (lambda x: np.tanh(0.7 * x), 1e-3, "not_overdriven"),
        (lambda x: np.clip(2.0 * x, -1.0, 1.0), 1e-3, "not_overdriven"),
        (lambda x: np.clip(4.0 * x, -1.0, 1.0), 1e-3, "not_overdriven"),
        (lambda x: np.clip(16.0 * x + 4.0, -1.0, 1.0), 1e-3, "lopsided"),
        (lambda x: np.clip(16.0 * x, -1.0, 1.0), 1.5, "noisy"),
        (lambda x: 0.0 * x, 1e-3, "no_tones"),
        (lambda x: np.clip(16.0 * x, -1.0, 1.0)[: len(x) // 4], 1e-3, "too_few_tones"),
    ],
)
def test_what_teaches_nothing_is_refused_by_reason(shape, noise, reason):
    with pytest.raises(PathError) as caught:
        learn_path(bench(shape, noise=noise), RATE_HZ)
    assert caught.value.reason == reason
    assert caught.value.what
    assert caught.value.remedy


def test_a_levelling_set_and_an_overloaded_sound_card_are_refused():
    rx = Receiver(scale_khz_per_fs=14.0, cnr_db=30.0)
    with pytest.raises(PathError) as caught:
        learn_path(recorded(Transmitter(limiter="levelling"), rx, drive_db=24.0), RATE_HZ)
    assert caught.value.reason == "no_harmonics"
    with pytest.raises(PathError) as caught:
        learn_path(np.clip(4.0 * bench(lambda x: np.clip(16.0 * x, -1.0, 1.0)), -1.0, 1.0), RATE_HZ)
    assert caught.value.reason == "overload"


@pytest.mark.parametrize("length_n", [0, 1, 100, 5000, 30000])
def test_short_silence_and_noise_hold_no_tones(length_n):
    assert find_comb_tones(np.zeros(length_n), RATE_HZ) == ()
    noise = np.random.default_rng(length_n).standard_normal(length_n)
    assert find_comb_tones(noise, RATE_HZ) == ()


def test_a_voice_holds_no_path():
    voice, rate_hz = load_voice("english_reading")
    with pytest.raises(PathError):
        learn_path(voice, rate_hz)


@pytest.mark.parametrize("gain", [1e-3, -0.3])
def test_neither_level_nor_polarity_matters(gain):
    heard = bench(lambda x: np.clip(16.0 * x, -1.0, 1.0), noise=1e-4)
    one, other = learn_path(heard, RATE_HZ), learn_path(gain * heard, RATE_HZ)
    assert other.gain_db == pytest.approx(one.gain_db, abs=0.02)
    assert other.phase_rad == pytest.approx(one.phase_rad, abs=0.01)


def flatness(samples):
    """L8 over L2: smaller for flatter tops; 1 for a square wave."""
    part = samples[RATE_HZ // 2 : -RATE_HZ // 4]
    return float(np.mean(part**8) ** 0.125 / np.mean(part**2) ** 0.5)


def crest_db(samples):
    part = samples[RATE_HZ // 2 : -RATE_HZ // 4]
    return float(20.0 * np.log10(np.quantile(np.abs(part), 0.999) / np.sqrt(np.mean(part**2))))


def test_undone_the_flat_tops_of_clipped_speech_come_back():
    rx = Receiver(
        scale_khz_per_fs=14.0, cnr_db=35.0, highpass_hz=300.0, highpass_order=4, if_bandwidth_khz=12.0
    )
    tx = Transmitter(splatter=("chebyshev", 4, 3000.0))
    path = learn_path(recorded(tx, rx, drive_db=24.0), RATE_HZ)
    voice, rate_hz = load_voice("english_reading")
    spoken = voice[: 4 * rate_hz]
    heard = simulate(
        spoken, rate_hz, replace(tx, drive_db=18.0), rx, SoundCard(), QUICK, seed=4, baseband_rate_hz=96000
    ).audio.astype(float)
    plain, undone = undo_deemphasis(heard, RATE_HZ, 750.0), undo_path(heard, RATE_HZ, path)
    assert crest_db(undone) < crest_db(plain) - 1.5
    assert flatness(undone) < 0.9 * flatness(plain)


def test_undoing_is_the_inverse_within_its_regularisation():
    hz = tuple(float(f) for f in range(150, 3301, 50))
    tilt = tuple(-6.0 * np.log2(f / 1000.0) for f in hz)
    zero = (0.0,) * len(hz)
    path = PathResponse(
        hz=hz, gain_db=tilt, phase_rad=zero, gain_error_db=zero, phase_error_rad=zero, drive_db=24.0,
        softness_db=0.0, even_db=None, tones_hz=TONES_HZ,
    )  # fmt: skip
    t = np.arange(RATE_HZ) / RATE_HZ
    for tone_hz in (300.0, 1000.0, 2500.0):
        heard = np.sin(2 * np.pi * tone_hz * t) * 1000.0 / tone_hz
        undone = undo_path(heard, RATE_HZ, path)[4800:-4800]
        size = 1000.0 / tone_hz
        floor = 0.15 * np.median(10 ** (np.array(tilt) / 20))
        assert np.max(np.abs(undone)) == pytest.approx(size**2 / (size**2 + floor**2), rel=0.01)
    assert len(undo_path(np.zeros(0), RATE_HZ, path)) == 0
