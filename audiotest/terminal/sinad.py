"""``audiotest sinad``: SINAD and psophometric SINAD, five readings a second, live or of a recording."""

import argparse
import json
import time
from collections.abc import Iterator
from typing import Any

from audiotest.errors import MeasureError, RequestError
from audiotest.feeds.file import open_recording
from audiotest.feeds.protocol import Source
from audiotest.feeds.soundcard import open_input
from audiotest.measure.sinad import EVERY_S, WINDOW_S, SinadMeter, SinadReading
from audiotest.terminal.benchoptions import refuse_beside_recording
from audiotest.terminal.card import make_console
from audiotest.terminal.figures import clock
from audiotest.terminal.liveline import LiveLine, bar
from audiotest.tones.byhand import TurnedReceiver

SCHEMA = "audiotest-sinad-1"
MARKS_DB = (12.0, 20.0)
BAR_DB = (0.0, 40.0)
REHEARSED_S = 60.0


def run(arguments: argparse.Namespace) -> int:
    """Read until the input ends, the time is up or the user interrupts."""
    source: Source
    if arguments.rehearse:
        if any(given is not None for given in (arguments.file, arguments.device, arguments.channel)):
            raise RequestError("--rehearse needs no recording, device or channel", "leave one of them out")
        source = TurnedReceiver()
    elif arguments.file is not None:
        refuse_beside_recording(device=arguments.device)
        source = open_recording(arguments.file, arguments.channel)
    else:
        source = open_input(arguments.device, channel=arguments.channel)
    rows: list[SinadReading] = []
    try:
        with LiveLine(make_console()) as line:
            for reading in _readings(source, arguments.tone_hz, _most_s(arguments)):
                rows.append(reading)
                if not arguments.json:
                    _show(line, reading, rows[-2] if len(rows) > 1 else None)
                    if arguments.rehearse and line.redraws:
                        time.sleep(EVERY_S)
            line.done()
            if rows and line.redraws and not arguments.json:
                line.say(reading_line(rows[-1], None))
    finally:
        source.close()
        if arguments.json:
            print(json.dumps(sinad_document(arguments.file, rows), allow_nan=False))
    if not rows:
        raise MeasureError(
            f"{source.name}: too short for a SINAD reading", f"give it {WINDOW_S:g} s of the tone or more"
        )
    return 0


def _readings(source: Source, tone_hz: float, seconds: float | None) -> Iterator[SinadReading]:
    meter = SinadMeter(source.sample_rate_hz, tone_hz=tone_hz)
    for block in source.blocks():
        for reading in meter.push(block.samples):
            if seconds is not None and reading.time_s > seconds:
                return
            yield reading


def _text(value: float | None, sd_db: float | None) -> str:
    if value is None:
        return "no noise".rjust(15)
    return f"{value:6.1f} ±{2.0 * (sd_db or 0.0):4.1f} dB"


def _most_s(arguments: argparse.Namespace) -> float | None:
    """When to stop: as asked; a rehearsal that nobody watches would never end."""
    seconds: float | None = arguments.seconds
    return REHEARSED_S if seconds is None and arguments.rehearse else seconds


def marks_passed(reading: SinadReading, before: SinadReading | None) -> list[float]:
    """The marks of 12 and 20 dB between two readings."""
    now, last = reading.sinad_db, before.sinad_db if before else None
    if now is None or last is None:
        return []
    return [mark_db for mark_db in MARKS_DB if (now - mark_db) * (last - mark_db) < 0.0]


def reading_line(reading: SinadReading, before: SinadReading | None) -> str:
    """One reading on one line, the figure first: a narrow terminal cuts off the end.

    A mark of 12 or 20 dB that was passed since the last is said.
    """
    if reading.frequency_hz is None or reading.level_dbfs is None:
        return f"{reading.reason} {clock(reading.time_s):>7}"
    line = (
        f"SINAD {_text(reading.sinad_db, reading.sinad_sd_db)}"
        f" O.41 {_text(reading.psophometric_db, reading.psophometric_sd_db)}"
        f" {reading.frequency_hz:6.1f} Hz {reading.level_dbfs:6.1f} dBFS {clock(reading.time_s):>7}"
    )
    return " ".join([line, *(f"{mark_db:.0f}" for mark_db in marks_passed(reading, before))])


def _show(line: LiveLine, reading: SinadReading, before: SinadReading | None) -> None:
    """Piped, a line for each reading; on a terminal two that stay in place, with a bar to turn by."""
    if line.redraws:
        for mark_db in marks_passed(reading, before):
            line.say(f"{clock(reading.time_s):>7} passed {mark_db:.0f} dB SINAD")
    value_db = reading.sinad_db if reading.sinad_db is not None else 0.0
    shown = [reading_line(reading, None if line.redraws else before)]
    line.show([*shown, bar(value_db, *BAR_DB, MARKS_DB, width=line.bar_width)])


def sinad_document(file: str | None, rows: list[SinadReading]) -> dict[str, Any]:
    """All readings as a document; the standard deviations are one sigma, ``note`` why figures are null."""
    return {
        "schema": SCHEMA,
        "file": file,
        "readings": [
            {
                "time_s": row.time_s, "frequency_hz": row.frequency_hz, "level_dbfs": row.level_dbfs,
                "sinad_db": row.sinad_db, "sinad_sd_db": row.sinad_sd_db,
                "sinad_psophometric_db": row.psophometric_db,
                "sinad_psophometric_sd_db": row.psophometric_sd_db, "note": row.reason or None,
            }
            for row in rows
        ],
    }  # fmt: skip
