"""Receiver procedures and the frequency error, rehearsed on the simulated radio against its truth."""

import math
from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from audiotest.measure.sinad import sinad_readings
from audiotest.radio.bench import receive_tone, true_levels
from audiotest.radio.receiver import audio_response
from audiotest.tones.frequency import frequency_by_beat, frequency_by_iq
from audiotest.tones.guided import carry_out
from audiotest.tones.livesinad import live_sinad
from audiotest.tones.rehearsal import DEMO_RECEIVER, DEMO_SET, Rehearsal
from audiotest.tones.rxaudio import rx_distortion, rx_hum_noise, rx_response
from audiotest.tones.sensitivity import sensitivity
from audiotest.tones.squelch import squelch
from audiotest.tones.txaudio import RESPONSE_TONES_HZ

LIMIT_KHZ = 2.5
WIDE = replace(DEMO_RECEIVER, receiver=replace(DEMO_RECEIVER.receiver, if_bandwidth_khz=25.0))
"""An IF so wide that the audio filters alone make the response: the closed form holds."""


def figures(report):
    return {figure.key: figure for figure in report.figures}


@cache
def sensitivity_run():
    return carry_out(sensitivity(LIMIT_KHZ), Rehearsal())


@pytest.mark.parametrize(
    ("key", "truth"),
    [("sinad_12", "sinad_12_dbm"), ("sinad_20", "sinad_20_dbm"), ("quieting_20", "quieting_20_dbm")],
)
def test_sensitivity_is_the_receiver_s_own(key, truth):
    found = figures(sensitivity_run())[f"{key}_dbm"]
    true_dbm = getattr(true_levels(DEMO_RECEIVER), truth)
    assert found.value == pytest.approx(true_dbm, abs=0.3)
    # The truth itself is known to 0.05 dB.
    assert found.low - 0.05 <= true_dbm <= found.high + 0.05
    assert found.high - found.low < 0.8


@pytest.mark.parametrize(("mark_db", "truth"), [(12.0, "sinad_12_dbm"), (20.0, "sinad_20_dbm")])
def test_sinad_reads_its_mark_at_the_true_level(mark_db, truth):
    level_dbm = getattr(true_levels(DEMO_RECEIVER), truth)
    unit = replace(DEMO_RECEIVER, squelch_open_dbm=None, squelch_close_dbm=None)
    heard = receive_tone(level_dbm, 1000.0, 1.5, 20.5, unit, seed=5)
    rows = list(sinad_readings(heard.audio[24000:], heard.sample_rate_hz, window_s=2.0, every_s=2.0))
    assert len(rows) == 10
    assert np.mean([row.sinad_db for row in rows]) == pytest.approx(mark_db, abs=0.2)


def test_sensitivity_is_said_in_every_unit():
    found = figures(sensitivity_run())
    dbm = found["sinad_12_dbm"].value
    assert found["sinad_12_microvolt_pd"].value == pytest.approx(1e6 * math.sqrt(50 * 10 ** (dbm / 10 - 3)))
    assert found["sinad_12_microvolt_emf"].value == pytest.approx(2 * found["sinad_12_microvolt_pd"].value)
    assert found["sinad_12_dbuv_emf"].value == pytest.approx(dbm + 113.0, abs=0.02)
    assert found["sinad_12_dbm"].limit_high is None
    assert {curve.name for curve in sensitivity_run().curves} == {"SINAD", "SINAD, O.41", "quieting"}


def test_the_level_that_is_typed_counts_not_the_one_suggested():
    class AttenuatorInSteps(Rehearsal):
        def _set(self, ask):
            lower = ask.suggested - 0.7 if ask.setting == "generator_dbm" else ask.suggested
            return super()._set(replace(ask, suggested=lower))

    report = carry_out(sensitivity(LIMIT_KHZ, start_dbm=-114.0, quieting=False), AttenuatorInSteps())
    true_dbm = true_levels(DEMO_RECEIVER).sinad_12_dbm
    assert figures(report)["sinad_12_dbm"].value == pytest.approx(true_dbm, abs=0.3)


def test_an_interrupted_run_keeps_its_readings():
    count = 0

    def stop(step):
        nonlocal count
        count += 1
        if count == 6:
            raise KeyboardInterrupt

    bench = Rehearsal(on_step=stop)
    report = carry_out(sensitivity(LIMIT_KHZ), bench)
    assert not report.complete
    assert len(next(curve for curve in report.curves if curve.name == "SINAD").points) == 5
    assert figures(report)["sinad_12_dbm"].value is None
    assert any("stopped early" in note for note in report.notes)


def test_hiss_that_overloads_the_sound_card_is_no_reference():
    loud = replace(DEMO_RECEIVER, receiver=replace(DEMO_RECEIVER.receiver, scale_khz_per_fs=4.0))
    report = carry_out(sensitivity(LIMIT_KHZ, start_dbm=-116.0), Rehearsal(receiver=loud))
    assert not report.complete
    assert any("hiss overloads" in note for note in report.notes)
    assert figures(report)["sinad_12_dbm"].value is not None


def test_squelch_marks_and_hysteresis():
    found = figures(carry_out(squelch(), Rehearsal()))
    assert found["opening_dbm"].low <= DEMO_RECEIVER.squelch_open_dbm <= found["opening_dbm"].high
    assert found["closing_dbm"].low <= DEMO_RECEIVER.squelch_close_dbm <= found["closing_dbm"].high
    assert found["hysteresis_db"].value == pytest.approx(2.5, abs=0.5)


def test_a_squelch_that_never_opens_is_said():
    shut = replace(DEMO_RECEIVER, squelch_open_dbm=0.0, squelch_close_dbm=-3.0)
    report = carry_out(squelch(), Rehearsal(receiver=shut))
    assert not report.complete
    assert any("does not open" in note for note in report.notes)


def test_receiver_response():
    report = carry_out(rx_response(LIMIT_KHZ), Rehearsal(receiver=WIDE))
    found = figures(report)
    hz = np.array(RESPONSE_TONES_HZ)
    size = np.abs(audio_response(DEMO_RECEIVER.receiver, hz))
    truth_db = 20 * np.log10(size / size[RESPONSE_TONES_HZ.index(1000.0)])
    for tone_hz, true_db in zip(RESPONSE_TONES_HZ, truth_db, strict=True):
        assert found[f"response_{tone_hz:g}_hz_db"].value == pytest.approx(true_db, abs=0.3)


def test_receiver_distortion_and_hum():
    wide = figures(carry_out(rx_distortion(LIMIT_KHZ), Rehearsal(receiver=WIDE)))
    assert wide["distortion_percent"].value < 0.1
    # A narrow IF bends the deviation's peaks: 5 kHz of noise bandwidth do so at 1.5 kHz by more than 1 %.
    narrow = replace(DEMO_RECEIVER, receiver=replace(DEMO_RECEIVER.receiver, if_bandwidth_khz=5.0))
    bent = figures(carry_out(rx_distortion(LIMIT_KHZ), Rehearsal(receiver=narrow)))
    assert bent["distortion_percent"].value > 1.0
    hum = figures(carry_out(rx_hum_noise(LIMIT_KHZ), Rehearsal()))
    # A card that adds mains hum of known level moves the figure to where it must be.
    card = replace(Rehearsal().card, mains_hz=100.0, mains_dbfs=-50.0)
    louder = figures(carry_out(rx_hum_noise(LIMIT_KHZ), Rehearsal(card=card)))
    tone_dbfs = 20 * math.log10(1.5 / DEMO_RECEIVER.receiver.scale_khz_per_fs / math.sqrt(2))
    size = np.abs(audio_response(DEMO_RECEIVER.receiver, np.array([1000.0])))[0]
    assert louder["hum_noise_db"].value == pytest.approx(tone_dbfs + 20 * math.log10(size) + 50.0, abs=0.2)
    assert hum["hum_noise_db"].value > louder["hum_noise_db"].value + 2.0


@pytest.mark.parametrize("offset_hz", [-420.0, 0.0, 180.0, 650.0])
def test_frequency_error_by_beat_note_and_by_iq(offset_hz):
    unit = replace(DEMO_SET, offset_hz=offset_hz)
    by_beat = figures(
        carry_out(frequency_by_beat(nominal_mhz=27.6, tolerance_hz=600.0), Rehearsal(unit=unit))
    )
    assert by_beat["frequency_error_hz"].value == pytest.approx(offset_hz, abs=0.5)
    assert by_beat["frequency_error_hz"].passed is (abs(offset_hz) <= 600.0)
    assert by_beat["frequency_error_ppm"].value == pytest.approx(offset_hz / 27.6, abs=0.05)
    by_iq = figures(carry_out(frequency_by_iq(), Rehearsal(unit=unit)))
    assert by_iq["frequency_error_hz"].value == pytest.approx(offset_hz, abs=1.0)


def test_a_beat_out_of_hearing_is_no_reading():
    report = carry_out(frequency_by_beat(), Rehearsal(unit=replace(DEMO_SET, offset_hz=5000.0)))
    assert not report.complete
    assert figures(report) == {}


def test_live_sinad_goes_on_until_it_is_stopped():
    def stop(step):
        stop.left -= 1
        if stop.left == 0:
            raise KeyboardInterrupt

    stop.left = 101
    level_dbm = true_levels(DEMO_RECEIVER).sinad_20_dbm
    report = carry_out(live_sinad(), Rehearsal(level_dbm=level_dbm, on_step=stop))
    assert report.complete
    assert not report.notes
    (sinad,) = [curve for curve in report.curves if curve.name == "SINAD"]
    # Five a second from the first full second on.
    assert [time_s for time_s, _ in sinad.points] == pytest.approx([1.0 + 0.2 * k for k in range(96)])
    assert np.mean([value for _, value in sinad.points]) == pytest.approx(20.0, abs=0.2)
    # The pieces fit together: each reading is within what it says of the mean.
    assert max(abs(value - np.mean([v for _, v in sinad.points])) for _, value in sinad.points) < 1.5
    last = figures(report)["sinad_db"]
    assert 0.1 < last.high - last.low < 3.0


def test_live_sinad_says_what_it_cannot_read_and_goes_on():
    prompts = []

    def note(step):
        prompts.append(step.prompt)
        if len(prompts) == 8:
            raise KeyboardInterrupt

    report = carry_out(live_sinad(), Rehearsal(level_dbm=None, on_step=note))
    # Eight pieces of 0.2 s hold three readings of a second: read, and nothing there.
    assert [figure.value for figure in report.figures] == [None, None, None]
    assert report.curves == ()
    assert len(prompts) == 8
    assert "no steady tone" in prompts[-1].casefold()
