"""The machine-readable document of ``check --json``, key by key."""

import json
from collections.abc import Sequence
from dataclasses import asdict
from typing import Any

from audiotest.records import Advice, Feed, InputReading, LimitSet, Over
from audiotest.units import rounded

SCHEMA = "audiotest-check-1"

_REASONS = (
    ("level", "active_speech_dbfs", "speech level", "no speech in it"),
    ("deviation", "peak_khz", "deviation", "no modulation to measure"),
    ("limiter", "drive_db", "drive", "it takes speech"),
    ("noise", "quieting_db", "quieting", "no open-squelch hiss was heard around the over"),
    ("noise", "snr_db", "noise", "no modulation to compare with"),
    ("noise", "hum_hz", "hum", "no mains hum found"),
    ("noise", "hum_db", "hum", "its frequency alone, with no speech or tone to hold it against"),
)
"""Section, key, the word beside "unknown" in a note about it, and the reason when no note gives one."""


def over_notes(number: int, over: Over) -> list[str]:
    """Collect the notes of one over: its own, and a reason for every section left without one."""
    notes = list(over.notes)
    for section, key, topic, reason in _REASONS:
        if getattr(getattr(over, section), key) is None and not any(
            topic in note and "unknown" in note for note in notes
        ):
            notes.append(f"{topic} unknown: {reason}")
    return [f"over {number}: {note}" for note in notes]


def over_entry(over: Over, advice: Advice) -> dict[str, Any]:
    """One over as the contract spells it; what the tool keeps besides stays out."""
    return {
        "start_s": over.start_s,
        "end_s": over.end_s,
        "kind": over.kind,
        "speech_start_s": over.speech_start_s,
        "speech_end_s": over.speech_end_s,
        "level": asdict(over.level),
        "deviation": asdict(over.deviation),
        "limiter": asdict(over.limiter),
        "noise": asdict(over.noise),
        "tone": None if over.tone is None else asdict(over.tone),
        "subaudible": None if over.subaudible is None else asdict(over.subaudible),
        "end_beep": None if over.end_beep is None else asdict(over.end_beep),
        "advice": asdict(advice),
    }


def file_entry(
    file: str,
    sample_rate_hz: int,
    duration_s: float,
    reading: InputReading,
    judged: Sequence[tuple[Over, Advice]],
    notes: Sequence[str],
) -> dict[str, Any]:
    """One measured file; its notes are those of the file, then those of each over."""
    every_note = list(notes)
    for number, (over, _) in enumerate(judged, start=1):
        every_note += over_notes(number, over)
    entry = {
        "file": file,
        "sample_rate_hz": sample_rate_hz,
        "duration_s": duration_s,
        "input": asdict(reading),
        "overs": [over_entry(over, advice) for over, advice in judged],
        "notes": every_note,
        "error": None,
    }
    return {key: rounded(value) for key, value in entry.items()}


def failed_entry(file: str, error: str) -> dict[str, Any]:
    """One file that cannot be measured: every key is there, and ``error`` says why."""
    return {
        "file": file, "sample_rate_hz": None, "duration_s": None, "input": None, "overs": [], "notes": [],
        "error": error,
    }  # fmt: skip


def is_finite(entry: dict[str, Any]) -> bool:
    """Whether every number of an entry is finite, as JSON demands (RFC 8259, section 6)."""
    try:
        json.dumps(entry, allow_nan=False)
    except ValueError:
        return False
    return True


def document(limits: LimitSet, feed: Feed | None, files: Sequence[dict[str, Any]]) -> str:
    """Write the whole document as ASCII JSON with a final newline."""
    whole = {
        "schema": SCHEMA,
        "limits": limits.id,
        "feed": None if feed is None else feed.figures(),
        "files": list(files),
    }
    return json.dumps(whole, indent=2, allow_nan=False) + "\n"
