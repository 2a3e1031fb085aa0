"""Transmitter procedures rehearsed end to end on the simulated radio, held against its truth."""

import math
from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from audiotest.errors import MeasureError, RequestError
from audiotest.measure.filters import deemphasis
from audiotest.radio.micsocket import (
    SetUnderTest,
    residual_khz,
    response_db,
    socket_truth,
    steady,
    steady_tone,
)
from audiotest.radio.settings import Receiver, Transmitter
from audiotest.tones.guided import carry_out
from audiotest.tones.level import OutputScale
from audiotest.tones.limiting import RUN_DB, WORST_TONES_HZ, modulation_limiting
from audiotest.tones.monitor import Monitor, scaled
from audiotest.tones.rehearsal import DEMO_SET, MONITOR_FEED, MONITOR_RECEIVER, Rehearsal
from audiotest.tones.txaudio import (
    RESPONSE_TONES_HZ,
    audio_response,
    hum_powers,
    tx_distortion,
    tx_hum_noise,
    tx_two_tone,
)

MONITOR = Monitor(feed=MONITOR_FEED)
LIMIT_KHZ = 2.5
SETS = {
    "hard": DEMO_SET,
    "soft": replace(DEMO_SET, onset_mv=11.0, transmitter=replace(DEMO_SET.transmitter, limiter="soft")),
    "levelling": replace(
        DEMO_SET, onset_mv=2.0, transmitter=replace(DEMO_SET.transmitter, limiter="levelling")
    ),
    "lopsided": replace(
        DEMO_SET, transmitter=replace(DEMO_SET.transmitter, limiter="lopsided", asymmetry=0.15)
    ),
    "low deviation": replace(DEMO_SET, transmitter=replace(DEMO_SET.transmitter, ceiling_khz=1.1)),
}


@cache
def limiting(name):
    """One run per set: it is what takes time here."""
    bench = Rehearsal(unit=SETS[name])
    return carry_out(modulation_limiting(MONITOR, LIMIT_KHZ, "test"), bench), bench


def figures(report):
    return {figure.key: figure.value for figure in report.figures}


@pytest.mark.parametrize("name", ["hard", "soft", "levelling", "low deviation"])
def test_onset_knee_and_gain_of_limiting(name):
    unit = SETS[name]
    report, bench = limiting(name)
    truth = socket_truth(unit)
    found = figures(report)
    assert report.complete, report.notes
    assert 20 * math.log10(found["onset_mv"] / truth.onset_mv) == pytest.approx(0.0, abs=0.3)
    assert 20 * math.log10(found["gain_khz_per_mv"] / truth.khz_per_mv) == pytest.approx(0.0, abs=0.3)
    knee_db = 20 * math.log10(truth.compression_1db_mv / truth.onset_mv)
    assert found["knee_db"] == pytest.approx(knee_db, abs=0.3)
    assert bench.silent
    assert any("by proportion" in note for note in report.notes) is (name == "low deviation")
    assert len(next(curve for curve in report.curves if curve.name == "positive").points) == len(RUN_DB)


def test_overload_and_the_worst_tone():
    report, _ = limiting("hard")
    found = figures(report)
    level_mv = 10.0 * found["level_60_mv"]
    at_1k = steady_tone(DEMO_SET, 1000, level_mv)
    assert found["overload_positive_khz"] == pytest.approx(at_1k.positive_khz, rel=0.02)
    assert found["overload_negative_khz"] == pytest.approx(at_1k.negative_khz, rel=0.02)
    worst_khz = max(steady_tone(DEMO_SET, round(hz), level_mv).peak_khz for hz in WORST_TONES_HZ)
    assert found["worst_khz"] == pytest.approx(worst_khz, rel=0.02)
    passed = {figure.key: figure.passed for figure in report.figures}
    assert passed["worst_khz"] is (worst_khz <= LIMIT_KHZ)


def test_a_clipper_has_no_first_peak():
    hard = figures(limiting("hard")[0])
    # The splatter filter rings by some percent, and the monitor's noise adds a little.
    assert hard["first_peak_khz"] == pytest.approx(hard["overload_positive_khz"], rel=0.1)


def test_a_slow_level_control_lets_a_first_peak_through():
    # A monitor with room for it: the first cycles come through as if there were no limiter.
    receiver = replace(MONITOR_RECEIVER, if_bandwidth_khz=60.0, scale_khz_per_fs=60.0)
    monitor = Monitor(feed=replace(MONITOR_FEED, scale_khz_per_fs=60.0))
    bench = Rehearsal(unit=SETS["levelling"], monitor_receiver=receiver)
    slow = figures(carry_out(modulation_limiting(monitor, LIMIT_KHZ, "test"), bench))
    assert slow["first_peak_khz"] > 2.0 * slow["overload_positive_khz"]


def test_a_first_peak_beyond_the_monitor_is_unknown_with_its_reason():
    report = limiting("levelling")[0]
    assert figures(report)["first_peak_khz"] is None
    assert any(note.startswith("first peak: the sound card overloads") for note in report.notes)
    assert report.complete


def test_a_lopsided_limiter_shows_both_polarities():
    unit = SETS["lopsided"]
    found = figures(limiting("lopsided")[0])
    truth = steady_tone(unit, 1000, 10.0 * found["level_60_mv"])
    # The offset of a lopsided wave is a shift of the carrier: peaks are read from the mean.
    found_khz = found["overload_positive_khz"] + found["overload_negative_khz"]
    assert found_khz == pytest.approx(truth.positive_khz + truth.negative_khz, rel=0.02)


def test_response_against_the_set_s_own():
    report = carry_out(audio_response(MONITOR, LIMIT_KHZ), Rehearsal())
    found = figures(report)
    assert report.complete
    for hz in RESPONSE_TONES_HZ:
        assert found[f"response_{hz:g}_hz_db"] == pytest.approx(response_db(DEMO_SET, hz), abs=0.3)


def test_distortion_of_a_soft_limiter():
    unit = replace(DEMO_SET, transmitter=replace(DEMO_SET.transmitter, limiter="soft", ceiling_khz=1.7))
    found = figures(carry_out(tx_distortion(MONITOR, LIMIT_KHZ), Rehearsal(unit=unit)))
    flat = Receiver(deemphasis_us=750.0, highpass_hz=None, lowpass_hz=None)
    truth = steady_tone(unit, 1000, found["level_60_mv"], through=flat)
    # The second and third harmonics are in 300-3400 Hz.
    assert found["distortion_percent"] == pytest.approx(math.hypot(*truth.harmonics_percent[:2]), abs=0.3)
    assert found["distortion_percent"] > 1.0


@pytest.mark.parametrize("seed", [1, 200, 400])
def test_hum_and_noise(seed):
    unit = replace(DEMO_SET, noise_mv=0.03, transmitter=replace(DEMO_SET.transmitter, hum_khz=0.02))
    found = figures(carry_out(tx_hum_noise(MONITOR, LIMIT_KHZ), Rehearsal(unit=unit, seed=seed)))
    flat = Receiver(deemphasis_us=750.0, highpass_hz=None, lowpass_hz=None)
    residual = residual_khz(unit, 50.0, 3000.0, through=flat)
    truth_db = 20 * math.log10(0.6 * LIMIT_KHZ / math.sqrt(2) / residual)
    # 1.5 s of noise below 300 Hz, most of what is left after 750 µs, scatter by 0.2 dB.
    assert found["hum_noise_db"] == pytest.approx(truth_db, abs=0.4)
    assert found["residual_khz"] == pytest.approx(residual, rel=0.06)
    # Re 60 % sharp, although the level for it is only found to 0.3 dB.
    sharp_db = 20 * math.log10(0.6 * LIMIT_KHZ / math.sqrt(2) / found["residual_khz"])
    assert found["hum_noise_db"] == pytest.approx(sharp_db, abs=0.03)


@pytest.mark.parametrize("phase", [0.0, 0.8, math.pi / 2, 3.0])
@pytest.mark.parametrize("seconds", [0.4, 1.5])
def test_where_a_tone_is_cut_off_does_not_count_as_hum(seconds, phase):
    """A set 180 Hz off, its tone cut off anywhere: the power is the tone's, half the amplitude squared."""
    t = np.arange(round(seconds * 48000)) / 48000
    khz = 0.18 + 1.5 * np.sin(2 * np.pi * 1000 * t + phase)
    flat, weighted = hum_powers(deemphasis(khz, 48000, 750.0), 48000)
    assert 10 * math.log10(flat / 1.125) == pytest.approx(0.0, abs=0.02)
    # O.41 gives 1 dB at 1 kHz (ITU-T O.41, 10/94, table 1).
    assert 10 * math.log10(weighted / 1.125) == pytest.approx(1.0, abs=0.02)


def test_two_tones():
    unit = replace(DEMO_SET, transmitter=replace(DEMO_SET.transmitter, limiter="soft", knee=2.0))
    report = carry_out(tx_two_tone(MONITOR, LIMIT_KHZ), Rehearsal(unit=unit))
    found = figures(report)
    truth = steady(unit, [(1000, found["each_mv"]), (1600, found["each_mv"])])
    whole = truth.line_khz(1000) + truth.line_khz(1600)
    third = math.hypot(truth.line_khz(400), truth.line_khz(2200)) / whole
    assert found["third_order_db"] == pytest.approx(20 * math.log10(third), abs=0.3)


class Stop:
    """Interrupts at one step."""

    def __init__(self, at, error):
        self.left, self.error = at, error

    def __call__(self, step):
        self.left -= 1
        if self.left == 0:
            raise self.error


@pytest.mark.parametrize("error", [KeyboardInterrupt(), MeasureError("the input is gone", "plug it in")])
def test_an_interruption_leaves_silence_and_keeps_what_was_measured(error):
    bench = Rehearsal(on_step=Stop(9, error))
    report = carry_out(modulation_limiting(MONITOR, LIMIT_KHZ, "test"), bench)
    assert bench.silent
    assert not report.complete
    assert report.passed is not True
    assert any("stopped early" in note and "stands" in note for note in report.notes)
    assert len(report.curves[0].points) >= 3
    assert figures(report)["level_60_mv"] > 0


def test_a_fault_of_the_program_is_silent_and_not_hidden():
    bench = Rehearsal(on_step=Stop(3, ZeroDivisionError()))
    with pytest.raises(ZeroDivisionError):
        carry_out(audio_response(MONITOR, LIMIT_KHZ), bench)
    assert bench.silent


def test_the_ceiling_stops_a_procedure():
    low = OutputScale(name="low", full_scale_mv=500.0, ceiling_mv=2.0)
    report = carry_out(modulation_limiting(MONITOR, LIMIT_KHZ, "test"), Rehearsal(output=low))
    assert not report.complete
    assert any("ceiling" in note for note in report.notes)


def test_nothing_comes_through():
    dead = SetUnderTest(transmitter=Transmitter(ceiling_khz=1e-6))
    report = carry_out(audio_response(MONITOR, LIMIT_KHZ), Rehearsal(unit=dead))
    assert not report.complete
    with pytest.raises(RequestError, match="learned scale"):
        scaled(None)


def test_the_response_grows_against_its_mask():
    def stop(step):
        stop.left -= 1
        if stop.left == 0:
            raise KeyboardInterrupt

    stop.left = 6
    report = carry_out(audio_response(MONITOR, LIMIT_KHZ), Rehearsal(on_step=stop))
    curves = {curve.name: curve.points for curve in report.curves}
    assert not report.complete
    assert len(curves["mask low"]) == len(curves["mask high"]) == 12
    assert 1 <= len(curves["response"]) < 6
    for hz, value_db in curves["response"]:
        assert value_db == pytest.approx(response_db(DEMO_SET, hz), abs=0.3)
