"""What the fuzzers start from and what they hold a result to; shared with the longer run by hand."""

import io
import json
import math
import os
from collections.abc import Callable
from dataclasses import asdict
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import soundfile
from hypothesis import strategies as st

from audiotest.errors import AudiotestError
from audiotest.feeds.feedfile import load_feed
from audiotest.keep.exchange import import_sheet
from audiotest.keep.sheets import Sheets
from audiotest.radio.link import simulate
from audiotest.radio.settings import Receiver, SoundCard, Timing, Transmitter
from audiotest.radio.voices import load_voice
from audiotest.standards.limits import get_limits
from audiotest.terminal.check import Checked, check_file
from audiotest.terminal.document import document, file_entry

RATE_HZ = 8000
LIMITS = get_limits("uk-27fm")
FORMATS = (("WAV", "PCM_16"), ("WAV", "FLOAT"), ("RF64", "PCM_24"), ("FLAC", "PCM_16"), ("OGG", "VORBIS"))

FEED_TOML = b"""\
schema = "audiotest-feed-1"
name = "bench"
method = "tone"
scale_khz_per_fs = 8.0
scale_uncertainty_db = 0.2
deemphasis_us = 750.0
tone_hz = 1000.0
deviation_khz = 1.5
learned = "for the test"
"""
PATH_TOML = b"""
[path]
hz = [300.0, 500.0, 700.0, 900.0, 1200.0, 1600.0, 2000.0, 2600.0]
gain_db = [1.0, 0.5, 0.2, 0.0, -0.5, -1.5, -3.0, -6.0]
phase_rad = [0.3, 0.1, 0.0, 0.0, 0.0, -0.1, -0.2, -0.5]
gain_error_db = [0.1, 0.1, 0.1, 0.1, 0.1, 0.1, 0.1, 0.1]
phase_error_rad = [0.1, 0.1, 0.1, 0.1, 0.1, 0.1, 0.1, 0.1]
drive_db = 20.0
softness_db = 0.0
even_db = -50.0
tones_hz = [300.0, 400.0, 500.0]
"""

SHEET: dict[str, Any] = {
    "schema": "audiotest-sheet-1",
    "set": {
        "maker": "Maker", "model": "Model", "serial": "7", "service": "uk-27fm", "options": "", "note": "",
    },
    "visit": {
        "limits": "uk-27fm", "channel": 20, "assigned_mhz": 27.79125, "complaint": "quiet", "owner": "",
        "bench": "",
    },
    "readings": [
        {"quantity": "power", "value": 3.9, "unit": "W", "low": None, "high": None, "stage": "left",
         "point": "", "typed": "3.9 W"},
    ],
    "faults": [{"fault": "dry joint", "cure": "soldered"}],
    "parts": [{"name": "capacitor", "count": 2}],
    "spoken": [
        {"stage": "left", "readability": 5, "strength": 7, "who": "a", "place": "b", "words": "clear"},
    ],
    "attachments": [],
}  # fmt: skip


@cache
def over() -> np.ndarray:
    """A short simulated over with hiss before and after it."""
    voice, rate_hz = load_voice("english_reading")
    return simulate(
        voice[: round(0.8 * rate_hz)], rate_hz, Transmitter(drive_db=8.0), Receiver(scale_khz_per_fs=10.0),
        SoundCard(sample_rate_hz=RATE_HZ), Timing(before_s=0.4, bare_carrier_s=0.2, end_s=0.3), seed=1,
        baseband_rate_hz=96000,
    ).audio  # fmt: skip


@cache
def recordings() -> tuple[bytes, ...]:
    """The over in each format, as the bytes of its file."""
    made = []
    for kind, subtype in FORMATS:
        out = io.BytesIO()
        soundfile.write(out, over(), RATE_HZ, format=kind, subtype=subtype)
        made.append(out.getvalue())
    stereo = io.BytesIO()
    soundfile.write(
        stereo, np.stack([over(), -0.1 * over()], axis=1), RATE_HZ, format="WAV", subtype="PCM_16"
    )
    return (*made, stereo.getvalue())


def not_finite(value: Any) -> str | None:
    """Where in a record a number is NaN or infinite; None when all are numbers."""
    if isinstance(value, float):
        return None if math.isfinite(value) else repr(value)
    if isinstance(value, dict):
        pairs = value.items()
    elif isinstance(value, list | tuple):
        pairs = enumerate(value)
    else:
        return None
    for key, inner in pairs:
        found = not_finite(inner)
        if found is not None:
            return f"{key}: {found}"
    return None


def checked_or_refused(path: Path) -> Checked | str:
    """Measure a file as ``check`` does: a record with finite figures, or one line that says why not."""
    try:
        found = check_file(os.fspath(path), None, None, LIMITS)
    except AudiotestError as error:
        return one_line(error)
    for measured, advice in found.judged:
        for record in (asdict(measured), asdict(advice)):
            fault = not_finite(record)
            assert fault is None, fault
    entry = file_entry(
        found.file, found.sample_rate_hz, found.duration_s, found.reading, found.judged, found.notes
    )
    json.loads(document(LIMITS, None, [entry]))
    return found


def fed_or_refused(path: Path) -> str | None:
    """Read a feed file: all its figures finite, or one line that says why not."""
    try:
        feed = load_feed(path)
    except AudiotestError as error:
        return one_line(error)
    fault = not_finite(asdict(feed))
    assert fault is None, fault
    return None


def imported_or_refused(sheets: Sheets, content: bytes) -> str | None:
    """Take a sheet in: it is on the books, or nothing has changed and one line says why."""
    before = (len(sheets.sets()), len(sheets.visits()))
    try:
        visit_id = import_sheet(sheets, content, "sheet.json")
    except AudiotestError as error:
        assert (len(sheets.sets()), len(sheets.visits())) == before
        return one_line(error)
    fault = not_finite([asdict(reading) for reading in sheets.sheet(visit_id).readings])
    assert fault is None, fault
    return None


def one_line(error: AudiotestError) -> str:
    """What an error says, which has to be a line of its own."""
    text = str(error)
    assert text.strip()
    assert "\n" not in text
    return text


Change = Callable[[bytearray], None]


@st.composite
def damaged(draw: st.DrawFn, contents: tuple[bytes, ...], *, head_n: int = 128, most: int = 8) -> bytes:
    """One of `contents` with some of its bytes changed, taken out, repeated or cut off.

    Half of the changes go into the first `head_n` bytes, where lengths, rates and channels are.
    """
    content = bytearray(draw(st.sampled_from(contents)))
    for _ in range(draw(st.integers(1, most))):
        if not content:
            break
        last = min(head_n, len(content)) if draw(st.booleans()) else len(content)
        at = draw(st.integers(0, last - 1))
        what = draw(st.sampled_from(("byte", "word", "cut out", "repeat", "insert", "end", "zero")))
        count = draw(st.integers(1, 64))
        if what == "byte":
            content[at] = draw(st.integers(0, 255))
        elif what == "word":
            word = draw(st.sampled_from((0, 1, 0x7F, 0x80, 0xFFFF, 2**31 - 1, 2**31, 2**32 - 1)))
            content[at : at + 4] = word.to_bytes(4, "little")
        elif what == "cut out":
            del content[at : at + count]
        elif what == "repeat":
            content[at:at] = content[at : at + count]
        elif what == "insert":
            content[at:at] = draw(st.binary(min_size=1, max_size=16))
        elif what == "end":
            del content[max(at, 1) :]
        else:
            content[at : at + count] = bytes(count)
    return bytes(content)
