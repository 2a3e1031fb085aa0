"""``audiotest heard``: signalling tones in a recording."""

import argparse
import json
from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from audiotest.feeds.file import open_recording
from audiotest.feeds.scale import load_feed
from audiotest.measure import digitalcode, lines
from audiotest.measure.beep import EndTone
from audiotest.measure.filters import emphasis_response
from audiotest.measure.sequences import SelectiveCall
from audiotest.measure.signalling import Signalling, hear_signalling
from audiotest.measure.subaudible import may_be_ripple
from audiotest.records import Feed
from audiotest.standards.limits import get_limits
from audiotest.terminal.card import make_console, print_row
from audiotest.terminal.parser import DEFAULT_LIMITS

SCHEMA = "audiotest-heard-1"
LONGEST_S = 120.0
LEAST_S = {"a sub-audible tone": lines.LEAST_S, "a digital code": digitalcode.LEAST_S}
"""Of a recording, before what is not heard can be called not there."""


def run(arguments: argparse.Namespace) -> int:
    """Listen to the recording and say what was in it."""
    feed = load_feed(arguments.feed) if arguments.feed is not None else None
    samples, rate_hz = read_samples(arguments.file, arguments.channel)
    heard = hear_signalling(samples, rate_hz)
    if heard.end_beep is None:
        heard = replace(heard, end_beep=beep_before_hiss(arguments.file, arguments.channel, feed))
    notes = unheard_notes(samples, rate_hz)
    if arguments.json:
        document = heard_document(arguments.file, heard, feed) | {"notes": notes}
        print(json.dumps(document, allow_nan=False))
        return 0
    console = make_console()
    for label, text in [*heard_rows(heard, feed), *(("note", note) for note in notes)]:
        print_row(console, label, text)
    return 0


def beep_before_hiss(file: str, channel: int | None, feed: Feed | None) -> EndTone | None:
    """The last end beep of the overs that are found in a recording, as 'audiotest check' finds them.

    A recording mostly runs on into the hiss, while a beep is at the end of an over.
    """
    # Imported here, since the whole engine comes along, which those who only read samples do without.
    from audiotest.terminal.check import check_file

    overs = [over for over, _ in check_file(file, channel, feed, get_limits(DEFAULT_LIMITS)).judged]
    beeps = [over.end_beep for over in overs if over.end_beep is not None]
    return EndTone(beeps[-1].frequency_hz, beeps[-1].start_s, beeps[-1].end_s) if beeps else None


def read_samples(file: str, channel: int | None) -> tuple[NDArray[np.float32], int]:
    """One channel of a recording, its first two minutes, and its rate."""
    source = open_recording(file, channel)
    try:
        parts, length_n = [], 0
        for block in source.blocks():
            parts.append(block.samples)
            length_n += len(block.samples)
            if length_n > LONGEST_S * source.sample_rate_hz:
                break
    finally:
        source.close()
    return np.concatenate([*parts, np.zeros(0, np.float32)]), source.sample_rate_hz


def deviation_khz(peak_fs: float, frequency_hz: float, feed: Feed | None) -> float | None:
    """Peak deviation of a tone of this peak; None without a scale or with an unknown de-emphasis.

    A receiver's own high-pass is not undone: below 300 Hz the figure is the least that it can be.
    """
    if feed is None or feed.deemphasis_us is None:
        return None
    lift = 1.0
    if feed.deemphasis_us > 0.0:
        lift = float(abs(emphasis_response(np.array([frequency_hz]), feed.deemphasis_us)[0]))
    return peak_fs * lift * feed.scale_khz_per_fs


def heard_document(file: str, heard: Signalling, feed: Feed | None) -> dict[str, Any]:
    """The reading as a document; what was not heard is null or an empty list."""
    tone, digital, burst, beep = heard.subaudible, heard.digital, heard.burst, heard.end_beep
    return {
        "schema": SCHEMA,
        "file": file,
        "subaudible": tone and {
            "frequency_hz": tone.frequency_hz, "table_hz": tone.nearest_hz,
            "deviation_khz": deviation_khz(tone.peak_fs, tone.frequency_hz, feed),
        },
        "digital_code": digital and {
            "present": True, "codes": list(digital.codes), "inverted": list(digital.inverted),
        },
        "keys": [
            {
                "key": key.key, "start_s": key.start_s, "end_s": key.end_s, "row_hz": key.row_hz,
                "column_hz": key.column_hz, "row_off_percent": key.row_off_percent,
                "column_off_percent": key.column_off_percent, "twist_db": key.twist_db,
                "in_tolerance": key.in_tolerance,
            }
            for key in heard.keys
        ],
        "calls": [
            {
                "set": call.set_name, "digits": call.digits, "start_s": call.start_s, "end_s": call.end_s,
                "off_percent": call.off_percent, "tone_s": call.tone_s, "set_source": call.set_source,
            }
            for call in heard.calls
        ],
        "burst": burst and {
            "frequency_hz": burst.frequency_hz, "start_s": burst.start_s, "end_s": burst.end_s,
            "deviation_khz": deviation_khz(burst.peak_fs, burst.frequency_hz, feed), "good": burst.good,
        },
        "end_beep": beep and {
            "frequency_hz": beep.frequency_hz, "start_s": beep.start_s, "end_s": beep.end_s,
        },
    }  # fmt: skip


CODE_SOURCE = "its bit rate and order from memory"
KEY_SOURCE = "ITU-T Q.23, second hand"
BURST_SOURCE = "as repeaters list it"


def unheard_notes(samples: NDArray[np.floating], rate_hz: int) -> list[str]:
    """Why something may have gone unheard that was there: no sound, or too little of it."""
    if not np.any(samples):
        return ["there is no audio in the recording: wrong input or channel?"]
    seconds = len(samples) / rate_hz
    return [
        f"{name} needs {least_s:.2g} s of recording, this has {seconds:.2g} s: not heard means nothing"
        for name, least_s in LEAST_S.items()
        if seconds < least_s
    ]


def heard_rows(heard: Signalling, feed: Feed | None) -> list[tuple[str, str]]:
    """Label and text of everything that was listened for."""
    none = "not heard"
    tone, burst, beep = heard.subaudible, heard.burst, heard.end_beep
    # The column of labels is no wider than "sub-audible".
    rows = [("sub-audible", none), ("code", none)]
    if tone is not None:
        named = f"the table's {tone.nearest_hz:.1f}" if tone.nearest_hz else "none of the fifty within 0.5 Hz"
        if tone.nearest_hz is None and may_be_ripple(tone.frequency_hz):
            named = "faint: a tone, or ripple of the mains"
        text = f"{tone.frequency_hz:.2f} Hz, {named}"
        rows[0] = ("sub-audible", text + _swing(deviation_khz(tone.peak_fs, tone.frequency_hz, feed)))
    if heard.digital is not None:
        codes = " or ".join(heard.digital.codes)
        rows[1] = ("code", f"digital, present; reads as {codes} ({CODE_SOURCE})")
    rows.append(("keys", "".join(key.key for key in heard.keys) or none))
    for key in heard.keys:
        if not key.in_tolerance:
            misses = f"{key.row_off_percent:+.1f} % and {key.column_off_percent:+.1f} %"
            rows.append(("", f"{key.key}: {misses}, OUT of ±1.8 % ({KEY_SOURCE})"))
    rows += [
        (
            "call",
            f"{call.digits} ({call.set_name}, {1000 * call.tone_s:.0f} ms a tone, "
            f"{call.off_percent:+.1f} %{_founded(call)})",
        )
        for call in heard.calls
    ] or [("call", none)]
    if burst is None:
        rows.append(("1750 Hz", none))
    else:
        swing = _swing(deviation_khz(burst.peak_fs, burst.frequency_hz, feed))
        verdict = "good" if burst.good else f"NOT within ±25 Hz and 200-400 ms ({BURST_SOURCE})"
        rows.append(
            ("1750 Hz", f"{burst.frequency_hz:.1f} Hz, {burst.end_s - burst.start_s:.2f} s{swing}: {verdict}")
        )
    ended = none if beep is None else f"{beep.frequency_hz:.0f} Hz, {beep.end_s - beep.start_s:.2f} s"
    rows.append(("end beep", ended))
    return rows


def _founded(call: SelectiveCall) -> str:
    """How the table of a call is known, where that is worse than published."""
    return "" if call.set_source.startswith("published") else f"; table {call.set_source}"


def _swing(khz: float | None) -> str:
    return "" if khz is None else f", ±{1000.0 * khz:.0f} Hz"
