"""The limiter's drive by a known speech, against the drive that the simulated transmitter really had.

`tests/measure/test_knownspeech.py` holds a few quick cases; the accuracy over many radios is stated in the
documentation of the measurement.
"""

from dataclasses import replace

import numpy as np
import pytest
import soxr
from scipy.signal import butter, sosfilt

from audiotest.measure.alignment import align
from audiotest.measure.knownspeech import KnownSpeechError, measure_known_drive
from audiotest.radio.link import simulate
from audiotest.radio.receiver import audio_response, automatic_gain
from audiotest.radio.settings import Receiver, SoundCard, Timing, Transmitter
from audiotest.radio.transmitter import filtered, modulate, padded_bins
from audiotest.radio.voices import load_voice

RATE_HZ = 48000
SECONDS = 6
QUICK = Timing(before_s=0.5, bare_carrier_s=0.3, after_s=0.2, end_s=0.3)


def voice(name):
    samples, rate_hz = load_voice(name)
    return samples[: SECONDS * rate_hz], rate_hz


def received(name, tx, rx, *, ppm=0.0, noise=3e-3, seed=1, source=None):
    """The set's deviation through a receiver's audio, without its IF: quick. Returns audio and true drive."""
    spoken, rate_hz = voice(name)
    source = spoken if source is None else source
    sent = modulate(
        source, rate_hz, tx, rate_hz=RATE_HZ * 2, lead_s=0.7, trail_s=0.5, rng=np.random.default_rng(seed)
    )
    heard = filtered(
        sent.deviation_khz, RATE_HZ * 2, audio_response(rx, padded_bins(len(sent.deviation_khz), RATE_HZ * 2))
    )
    audio = soxr.resample(heard, RATE_HZ * 2, RATE_HZ * (1.0 + 1e-6 * ppm)) / 10.0
    return audio + noise * np.random.default_rng(seed).standard_normal(len(audio)), sent.drive_db


@pytest.mark.parametrize("ppm", [-200.0, 0.0, 200.0])
@pytest.mark.parametrize("sign", [1.0, -1.0])
def test_delay_and_clock_are_found(ppm, sign):
    audio, _ = received("english_reading", Transmitter(drive_db=12.0), Receiver(), ppm=ppm)
    found = align(*voice("english_reading"), sign * audio, RATE_HZ)
    assert found.drift_ppm == pytest.approx(ppm, abs=8.0)
    # The filters of set and receiver delay by half a millisecond or so.
    assert found.delay_s == pytest.approx(0.7 * (1 + 1e-6 * ppm), abs=0.0015)


def test_louder_hiss_around_the_over_and_a_cut_beginning_do_not_mislead():
    audio, _ = received("german_male", Transmitter(drive_db=6.0), Receiver())
    rng = np.random.default_rng(2)
    hiss = 0.5 * rng.standard_normal(RATE_HZ)
    assert align(
        *voice("german_male"), np.concatenate([hiss, audio, hiss]), RATE_HZ
    ).delay_s == pytest.approx(1.7, abs=0.0015)
    cut = audio[round(1.7 * RATE_HZ) :]
    assert align(*voice("german_male"), cut, RATE_HZ).delay_s == pytest.approx(-1.0, abs=0.0015)


@pytest.mark.parametrize(
    "audio",
    [
        np.zeros(5 * RATE_HZ),
        np.random.default_rng(1).standard_normal(6 * RATE_HZ),
        np.sin(np.arange(6 * RATE_HZ) * 0.1),
        np.zeros(0),
        np.ones(100),
    ],
    ids=["silence", "noise", "tone", "nothing", "a moment"],
)
def test_what_is_not_in_it_is_not_found(audio):
    assert align(*voice("english_reading"), audio, RATE_HZ) is None
    with pytest.raises(KnownSpeechError) as caught:
        measure_known_drive(*voice("english_reading"), audio, RATE_HZ)
    assert caught.value.reason == "no_match"


def test_another_voice_is_not_found():
    other, rate_hz = voice("italian_male")
    assert align(*voice("english_reading"), other, rate_hz) is None


@pytest.mark.parametrize(
    ("name", "tx", "rx", "ppm"),
    [
        ("english_reading", Transmitter(drive_db=3.0), Receiver(), 150.0),
        (
            "german_male",
            Transmitter(drive_db=9.0, splatter=("chebyshev", 4, 2800.0), preemphasis_us=750.0),
            Receiver(deemphasis_us=0.0, highpass_hz=None, lowpass_hz=None),
            -80.0,
        ),
        (
            "russian_female",
            Transmitter(drive_db=20.0, limiter="soft", knee=5.0, mic_highpass_hz=280.0),
            Receiver(highpass_order=4),
            20.0,
        ),
    ],
)
def test_drive_of_sets_that_are_not_known(name, tx, rx, ppm):
    audio, truth_db = received(name, tx, rx, ppm=ppm)
    found = measure_known_drive(*voice(name), audio, RATE_HZ)
    assert found.reached
    # A decibel is what is promised; below 5 dB of drive hardly a hundredth of the time is clipped.
    assert found.drive_db == pytest.approx(truth_db, abs=1.0 if truth_db < 5.0 else 0.4)
    assert found.low_db <= truth_db <= found.high_db
    assert found.high_db - found.low_db < 3.0
    assert found.drift_ppm == pytest.approx(ppm, abs=8.0)
    if tx.limiter == "soft":
        assert found.knee == pytest.approx(tx.knee, rel=0.2)


def test_drive_over_the_whole_radio():
    tx, rx = Transmitter(drive_db=12.0), Receiver(scale_khz_per_fs=10.0, cnr_db=25.0)
    spoken, rate_hz = voice("english_address")
    heard = simulate(spoken, rate_hz, tx, rx, SoundCard(), QUICK, seed=3, baseband_rate_hz=96000)
    found = measure_known_drive(spoken, rate_hz, heard.audio, heard.sample_rate_hz)
    truth = heard.truth[0]
    assert found.drive_db == pytest.approx(truth.drive_db, abs=1.0)
    assert found.clipped_fraction == pytest.approx(truth.clipped_fraction, rel=0.15)


def test_a_set_whose_microphone_stage_is_not_of_the_model():
    spoken, rate_hz = voice("english_reading")
    coloured = sosfilt(butter(2, [250.0, 3600.0], "bandpass", fs=rate_hz, output="sos"), spoken)
    audio, truth_db = received("english_reading", Transmitter(drive_db=10.0), Receiver(), source=coloured)
    found = measure_known_drive(spoken, rate_hz, audio, RATE_HZ)
    assert found.drive_db == pytest.approx(truth_db, abs=1.0)


def test_below_the_limiter_only_a_bound_is_given():
    audio, truth_db = received("english_reading", Transmitter(drive_db=-8.0), Receiver())
    found = measure_known_drive(*voice("english_reading"), audio, RATE_HZ)
    assert not found.reached
    assert (found.drive_db, found.low_db, found.knee, found.clipped_fraction) == (None, None, None, 0.0)
    assert truth_db < found.high_db < 3.0


def test_too_little_and_too_noisy_are_refused():
    audio, _ = received("english_reading", Transmitter(drive_db=10.0), Receiver())
    spoken, rate_hz = voice("english_reading")
    with pytest.raises(KnownSpeechError) as caught:
        measure_known_drive(spoken[: 2 * rate_hz], rate_hz, audio, RATE_HZ)
    assert caught.value.reason == "no_match"
    noisy, _ = received("english_reading", replace(Transmitter(), drive_db=10.0), Receiver(), noise=0.2)
    with pytest.raises(KnownSpeechError) as caught:
        measure_known_drive(spoken, rate_hz, noisy, RATE_HZ)
    assert caught.value.reason == "noisy"


def test_what_levels_the_recording_is_refused():
    audio, _ = received("english_reading", Transmitter(drive_db=10.0), Receiver())
    from_recorder = automatic_gain(audio, RATE_HZ)
    with pytest.raises(KnownSpeechError, match="wanders by") as caught:
        measure_known_drive(*voice("english_reading"), from_recorder, RATE_HZ)
    assert caught.value.reason == "levelled"
