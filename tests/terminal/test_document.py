"""The document of ``check --json`` against the contract, key by key."""

import json
import math
from dataclasses import replace
from typing import Any

from audiotest.advise.rules import advise
from audiotest.records import EndBeep, Feed, InputReading, Subaudible
from audiotest.terminal.document import document, failed_entry, file_entry, is_finite

# Schema "audiotest-check-1", written out by hand: not derived from the records under test.
FILE_KEYS = ["file", "sample_rate_hz", "duration_s", "input", "overs", "notes", "error"]
INPUT_KEYS = ["peak_dbfs", "rms_dbfs", "dc_percent_fs", "overload_runs", "verdict"]
OVER_KEYS = {
    "start_s": None,
    "end_s": None,
    "kind": None,
    "speech_start_s": None,
    "speech_end_s": None,
    "level": ["active_speech_dbfs", "activity", "crest_db"],
    "deviation": ["peak_khz", "p999_khz", "rms_khz", "positive_khz", "negative_khz", "limit_khz"],
    "limiter": ["drive_db", "drive_low_db", "drive_high_db", "clipped_fraction", "reached"],
    "noise": ["quieting_db", "snr_db", "hum_hz", "hum_db"],
    "tone": [
        "frequency_hz", "level_dbfs", "sinad_db", "sinad_psophometric_db", "thd_percent", "harmonics_db",
    ],
    "subaudible": ["frequency_hz", "deviation_khz"],
    "end_beep": ["frequency_hz", "start_s", "end_s"],
    "advice": [
        "mic_gain",
        "mic_gain_db",
        "deviation",
        "deviation_factor",
        "confidence",
        "sentence",
        "because",
    ],
}  # fmt: skip
READING = InputReading(peak_dbfs=-6.0, rms_dbfs=-20.0, dc_percent_fs=0.1, overload_runs=0, verdict="good")


def entry_of(over, limits, notes=()) -> dict[str, Any]:
    return file_entry("a.wav", 48000, 12.3, READING, [(over, advise(over, limits))], notes)


def test_the_keys_are_those_of_the_contract_in_its_order(tone_over, limits):
    full = replace(
        tone_over,
        subaudible=Subaudible(frequency_hz=88.5, deviation_khz=0.3),
        end_beep=EndBeep(frequency_hz=1000.0, start_s=8.0, end_s=8.3),
    )
    entry = entry_of(full, limits)
    assert list(entry) == FILE_KEYS
    assert list(entry["input"]) == INPUT_KEYS
    over = entry["overs"][0]
    assert list(over) == list(OVER_KEYS)
    for section, keys in OVER_KEYS.items():
        if keys is not None:
            assert list(over[section]) == keys


def test_absent_sections_are_null(voice_over, limits):
    over = entry_of(voice_over, limits)["overs"][0]
    assert (over["tone"], over["subaudible"], over["end_beep"]) == (None, None, None)


def test_a_failed_file_has_every_key():
    entry = failed_entry("bad.wav", "bad.wav: empty")
    assert list(entry) == FILE_KEYS
    assert (entry["overs"], entry["error"]) == ([], "bad.wav: empty")


def test_every_missing_figure_has_its_reason(unscaled_over, tone_over, limits):
    notes = " ".join(entry_of(unscaled_over, limits)["notes"])
    assert "over 1: deviation unknown" in notes
    assert "over 1: hum unknown" in notes
    notes = " ".join(entry_of(tone_over, limits)["notes"])
    assert "over 1: drive unknown" in notes
    assert "over 1: speech level unknown" in notes


def test_notes_of_the_file_come_before_those_of_its_overs(voice_over, limits):
    notes = entry_of(voice_over, limits, ("channel 1 of 2 taken",))["notes"]
    assert notes[0] == "channel 1 of 2 taken"
    assert all(note.startswith("over 1: ") for note in notes[1:])


def test_a_figure_that_is_not_finite_is_seen(voice_over, limits):
    assert is_finite(entry_of(voice_over, limits))
    broken = replace(voice_over, end_s=math.nan)
    assert not is_finite(entry_of(broken, limits))


def test_the_document_names_schema_limits_and_feed(voice_over, limits):
    feed = Feed(
        name="bench",
        method="tone",
        scale_khz_per_fs=5.0,
        scale_uncertainty_db=0.2,
        deemphasis_us=750.0,
        tone_hz=1000.0,
        deviation_khz=1.5,
        if_bandwidth_khz=None,
        hiss_dbfs=None,
        learned="2024-01-01T00:00:00+00:00",
    )
    text = document(limits, feed, [entry_of(voice_over, limits)])
    whole = json.loads(text)
    assert list(whole) == ["schema", "limits", "feed", "files"]
    assert (whole["schema"], whole["limits"]) == ("audiotest-check-1", "uk-27fm")
    assert whole["feed"]["scale_khz_per_fs"] == 5.0
    assert text.isascii()
    assert json.loads(document(limits, None, []))["feed"] is None


def test_a_note_that_speaks_of_noise_is_no_reason_for_an_unknown_one(voice_over, limits):
    notes = (
        "de-emphasis of the feed judged from its noise: 750 µs",
        "noise taken from pauses in speech: no bare carrier before it",
    )
    over = replace(voice_over, noise=replace(voice_over.noise, snr_db=None), notes=notes)
    assert any(note.startswith("over 1: noise unknown") for note in entry_of(over, limits)["notes"])


def test_a_hum_with_nothing_to_hold_it_against_says_why_it_has_no_level(voice_over, limits):
    noise = replace(voice_over.noise, hum_hz=50.0, hum_db=None)
    said = [
        note for note in entry_of(replace(voice_over, noise=noise), limits)["notes"] if "hum unknown" in note
    ]
    assert said == ["over 1: hum unknown: its frequency alone, with no speech or tone to hold it against"]
