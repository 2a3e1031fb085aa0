"""Onset and knee by a stepped tone, rehearsed end to end against the simulated set's own equations."""

import math
from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from audiotest.errors import RequestError
from audiotest.radio.micsocket import SetUnderTest, response_db, socket_truth
from audiotest.radio.settings import Receiver
from audiotest.radio.transmitter import (
    active_frames,
    analogue_highpass,
    analogue_lowpass,
    emphasis,
    filtered,
    padded_bins,
    select,
)
from audiotest.radio.voices import load_voice, voice_names
from audiotest.tones.guided import carry_out
from audiotest.tones.rehearsal import DEMO_SET, MONITOR_RECEIVER, Rehearsal
from audiotest.tones.tonedrive import (
    SPEECH_OVER_TONE_DB,
    SPEECH_SPREAD_DB,
    drive_by_tone,
    staircase,
)

MOST_MV = 700.0
RECEIVER = Receiver(scale_khz_per_fs=15.0)
"""A usual one: 25 dB carrier to noise, 300 Hz high-pass, 750 µs de-emphasis, 3 kHz low-pass."""
UNITS = {
    "hard": DEMO_SET,
    "soft": replace(
        DEMO_SET, onset_mv=9.0, transmitter=replace(DEMO_SET.transmitter, limiter="soft", knee=5.0)
    ),
}


@cache
def stepped(name):
    bench = Rehearsal(unit=UNITS[name], monitor_receiver=RECEIVER if name == "soft" else MONITOR_RECEIVER)
    return carry_out(drive_by_tone(most_mv=MOST_MV, own_mv=2.0), bench), bench


def values(report):
    return {figure.key: figure.value for figure in report.figures}


def off_db(found, truth):
    return 20.0 * math.log10(found / truth)


def onset_at_400_hz(unit: SetUnderTest):
    """From the onset at 1 kHz by the response before the limiter: what follows it is taken off again."""
    at = np.array([400.0, 1000.0])
    splatter = np.abs(analogue_lowpass(*unit.transmitter.splatter, at))
    before_db = response_db(unit, 400.0) - off_db(splatter[0], splatter[1])
    return unit.onset_mv * 10.0 ** (-before_db / 20.0)


@pytest.mark.parametrize("name", ["hard", "soft"])
def test_onset_and_knee_to_three_tenths(name):
    report, bench = stepped(name)
    truth = socket_truth(UNITS[name])
    found = values(report)
    assert report.complete, report.notes
    assert bench.silent
    assert off_db(found["onset_mv"], truth.onset_mv) == pytest.approx(0.0, abs=0.3)
    assert off_db(found["onset_tone_mv"], onset_at_400_hz(UNITS[name])) == pytest.approx(0.0, abs=0.3)
    assert off_db(found["compression_1db_mv"], truth.compression_1db_mv) == pytest.approx(0.0, abs=0.3)
    knee_db = off_db(truth.compression_1db_mv, truth.onset_mv)
    assert found["knee_db"] == pytest.approx(knee_db, abs=0.3)


def test_harmonics_vanish_where_a_hard_clipper_makes_them():
    # Fourier series of a clipped sine (textbook): the fifth at 4.26 dB, the seventh at 1.96 and 7.07 dB.
    report, _ = stepped("hard")
    nulls = sorted(value for key, value in values(report).items() if key.startswith("null_"))
    assert nulls == pytest.approx([1.96, 4.26, 7.07], abs=0.3)
    assert any("vanish where this limiter makes them" in note for note in report.notes)


def test_the_drive_of_speech_is_a_rough_one():
    report, _ = stepped("hard")
    figure = next(figure for figure in report.figures if figure.key == "speech_drive_db")
    assert figure.value == pytest.approx(SPEECH_OVER_TONE_DB + off_db(2.0, DEMO_SET.onset_mv), abs=0.1)
    assert figure.high - figure.low > 10.0


def test_speech_over_a_tone_is_that_of_the_voices():
    """Peaks of six voices over a tone of the same RMS, at a limiter behind 530 and 750 µs."""
    found = []
    for name in voice_names():
        samples, rate_hz = load_voice(name)
        x = np.asarray(samples, dtype=float)
        hz = padded_bins(len(x), rate_hz)
        rms = np.sqrt(np.mean(select(x, active_frames(x, rate_hz), rate_hz) ** 2))
        for tau_us in (530.0, 750.0):
            v = filtered(x, rate_hz, analogue_highpass(2, 200.0, hz) * emphasis(tau_us, hz))
            top = np.quantile(np.abs(select(v, active_frames(v, rate_hz), rate_hz)), 0.999)
            found.append(20.0 * math.log10(top / rms / math.sqrt(2.0)))
    assert np.mean(found) == pytest.approx(SPEECH_OVER_TONE_DB, abs=0.3)
    assert np.std(found, ddof=1) == pytest.approx(SPEECH_SPREAD_DB, abs=0.4)


def test_a_set_that_does_not_limit_and_one_that_is_silent_are_said():
    linear = replace(DEMO_SET, transmitter=replace(DEMO_SET.transmitter, limiter="none", ceiling_khz=0.5))
    report = carry_out(drive_by_tone(most_mv=12.0), Rehearsal(unit=linear))
    assert not report.complete
    assert any("nothing limits up to 8.49 mV" in note for note in report.notes)
    deaf = replace(DEMO_SET, onset_mv=1e6)
    report = carry_out(drive_by_tone(most_mv=3.0), Rehearsal(unit=deaf))
    assert any("no 400 Hz is heard" in note for note in report.notes)
    assert values(report)["onset_mv"] is None


def test_an_interruption_after_the_first_staircase_keeps_its_curve_and_onset():
    def stop(step):
        if step.signal.tones_hz == (1000.0,):
            raise KeyboardInterrupt

    bench = Rehearsal(on_step=stop)
    report = carry_out(drive_by_tone(most_mv=MOST_MV, start_mv=4.0), bench)
    assert bench.silent
    assert not report.complete
    assert off_db(values(report)["onset_tone_mv"], onset_at_400_hz(DEMO_SET)) == pytest.approx(0.0, abs=0.3)
    assert values(report)["onset_mv"] is None
    assert len(report.curves[0].points) > 30


def test_a_staircase_is_silent_between_its_steps_and_never_louder_than_its_last():
    signal = staircase(400.0, [-6.0, 0.0])
    loud = np.abs(signal.samples) > 1e-9
    assert np.max(np.abs(signal.samples)) == pytest.approx(signal.crest, rel=0.01)
    assert not loud[: signal.rate_hz // 2].any()
    assert not loud[-signal.rate_hz // 10 :].any()
    with pytest.raises(RequestError, match="2000 Hz"):
        drive_by_tone(tone_hz=2000.0, most_mv=MOST_MV)
