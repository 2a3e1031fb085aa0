"""Drive by a known speech: rehearsed end to end against what the simulated set really did, and its sums."""

import math
from dataclasses import replace

import numpy as np
import pytest

from audiotest.errors import MeasureError, RequestError
from audiotest.measure.knownspeech import CLIPPED_DRIVES_DB, KnownDrive
from audiotest.radio.micsocket import transmit
from audiotest.standards.limits import get_limits
from audiotest.tones import speechdrive, tonedrive
from audiotest.tones.guided import carry_out
from audiotest.tones.level import OutputScale, prepare
from audiotest.tones.live import DELAY_S
from audiotest.tones.rehearsal import DEMO_SET, MONITOR_FEED, OUTPUT, Rehearsal
from audiotest.tones.speechdrive import compare, drive_by_speech, drive_from_recordings, known_speech
from audiotest.tones.speechsheet import Play, drive_at

LIMITS = get_limits("uk-27fm")
MOST_MV = 700.0


def figures(report):
    return {figure.key: figure for figure in report.figures}


def true_drive(unit, level_mv):
    """Drive and clipped fraction of the procedure's speech in the simulated set."""
    signal = known_speech()
    sent = prepare(signal, level_mv, OUTPUT) * OUTPUT.full_scale_mv * math.sqrt(2.0)
    made = transmit(sent, signal.rate_hz, replace(unit, noise_mv=0.0))
    return made.drive_db, made.clipped_fraction


def test_drive_clipping_and_what_to_turn():
    bench = Rehearsal()
    report = carry_out(drive_by_speech(MONITOR_FEED, LIMITS, own_mv=2.0, most_mv=MOST_MV), bench)
    truth_db, clipped = true_drive(DEMO_SET, 2.0)
    found = figures(report)
    assert report.complete
    assert bench.silent
    assert bench.played_s < 12.0  # one play is enough
    assert found["drive_db"].value == pytest.approx(truth_db, abs=0.5)
    assert found["drive_db"].low <= truth_db <= found["drive_db"].high
    assert found["clipped_percent"].value == pytest.approx(100.0 * clipped, rel=0.15)
    assert found["speech_onset_mv"].value == pytest.approx(2.0 * 10 ** (-truth_db / 20), rel=0.06)
    assert found["mic_gain_to_turn_db"].value == pytest.approx(5.0 - truth_db, abs=0.5)
    assert found["peak_khz"].value > DEMO_SET.transmitter.ceiling_khz
    assert any("Mic gain down" in note and "eviation down" in note for note in report.notes)


def test_a_drive_below_the_limiter_is_measured_by_playing_louder():
    unit = replace(DEMO_SET, onset_mv=25.0)
    report = carry_out(drive_by_speech(None, LIMITS, own_mv=2.0, most_mv=MOST_MV), Rehearsal(unit=unit))
    truth_db, _ = true_drive(unit, 2.0)
    assert truth_db < -4.0
    drive = figures(report)["drive_db"]
    assert drive.value == pytest.approx(truth_db, abs=1.0)
    assert drive.low <= truth_db <= drive.high
    assert figures(report)["clipped_percent"].value == pytest.approx(0.0, abs=0.05)
    assert "peak_khz" not in figures(report)  # no feed, no deviation
    assert any("Mic gain up" in note for note in report.notes)


def known(drive_db, *, half=0.4, high_db=1.0):
    """A finding, as if measured; None is below the limiter."""
    reached = drive_db is not None
    return KnownDrive(
        drive_db=drive_db,
        low_db=drive_db - half if reached else None,
        high_db=drive_db + half if reached else high_db,
        reached=reached,
        clipped_fraction=0.05 if reached else 0.0,
        knee=None,
        preemphasis_us=530.0,
        explained_db=25.0,
        delay_s=0.5,
        drift_ppm=0.0,
        seconds=9.0,
        clipped_by_drive=tuple(10.0 ** (db / 20.0) / 1000.0 for db in CLIPPED_DRIVES_DB),
    )


def play(level_mv, found):
    return Play(level_mv=level_mv, known=found, samples=np.zeros(1), rate_hz=48000)


def test_the_sharpest_play_counts_at_the_level_asked_for():
    plays = [play(1.0, known(1.5, half=1.0)), play(10.0**0.5, known(11.0))]
    found = drive_at(plays, 1.0)
    assert found.drive_db == pytest.approx(1.0)
    assert found.high_db - found.low_db == pytest.approx(2.0 * math.hypot(0.4, 0.3))
    assert found.clipped == pytest.approx(10.0 ** (1.0 / 20.0) / 1000.0, rel=0.01)
    assert not found.levelled


def test_a_bound_moves_with_the_level_too():
    found = drive_at([play(1.0, None), play(10.0, known(None))], 1.0)
    assert (found.drive_db, found.low_db, found.high_db) == (None, None, pytest.approx(-19.0))
    assert drive_at([play(1.0, None)], 1.0) is None
    assert drive_at([], 1.0) is None


@pytest.mark.parametrize("loud", [known(7.0), known(None)])
def test_a_level_control_before_the_limiter_is_noticed(loud):
    # Ten decibels louder, but one decibel more drive, or less than the bound allows.
    found = drive_at([play(1.0, known(6.0)), play(10.0**0.5, loud)], 1.0)
    assert found.levelled
    assert found.drive_db == pytest.approx(6.0)


@pytest.mark.parametrize("error", [KeyboardInterrupt(), MeasureError("the input is gone", "plug it in")])
def test_an_interruption_leaves_silence_and_says_so(error):
    def stop(step):
        raise error

    bench = Rehearsal(on_step=stop)
    report = carry_out(drive_by_speech(None, LIMITS), bench)
    assert bench.silent
    assert not report.complete
    assert figures(report)["played_drive_db"].value is None
    assert any("stopped early" in note for note in report.notes)


def test_the_ceiling_is_kept():
    low = OutputScale(name="low", full_scale_mv=500.0, ceiling_mv=2.0)
    bench = Rehearsal(output=low)
    report = carry_out(drive_by_speech(None, LIMITS, speech_mv=3.0, most_mv=2.0), bench)
    assert not report.complete
    assert bench.played_s == 0.0
    assert any("ceiling" in note for note in report.notes)


def test_a_sound_card_s_delay_costs_none_of_the_speech():
    # What a bench leaves out before it listens is silence of the signal's own.
    assert speechdrive.LEAD_S >= DELAY_S
    assert tonedrive.LEAD_S >= DELAY_S


def test_what_goes_out_starts_and_ends_softly():
    signal = known_speech()
    assert np.max(np.abs(signal.samples[: signal.rate_hz // 4])) == 0.0
    assert signal.samples[-1] == 0.0
    assert signal.crest == np.max(np.abs(signal.samples))
    with pytest.raises(RequestError, match="no voice"):
        known_speech("nobody")


def test_recordings_that_cannot_be_compared_are_refused_and_not_guessed():
    signal = known_speech()
    other = known_speech("italian_male").samples
    rate_hz = signal.rate_hz
    short = signal.samples[: 2 * rate_hz]
    for heard, words in (
        (np.zeros(9 * rate_hz), "silent"),
        (np.clip(signal.samples, -1.0, 1.0), "overloads"),
        (0.1 * other, "not in the recording"),
        (0.1 * short, "not in the recording"),
        (0.1 * np.sin(np.arange(9 * rate_hz) * 0.1), "not in the recording"),
    ):
        with pytest.raises(MeasureError, match=words):
            compare(signal.samples, rate_hz, heard, rate_hz)
    with pytest.raises(RequestError, match="not known"):
        drive_from_recordings(short, rate_hz, short, rate_hz, None, LIMITS, own_mv=2.0)
