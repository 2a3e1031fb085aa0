"""``audiotest sinad``: SINAD and psophometric SINAD, five readings a second, live or of a recording."""

import argparse
import json
from collections.abc import Iterator
from typing import Any

from rich.console import Console

from audiotest.errors import MeasureError
from audiotest.feeds.file import open_recording
from audiotest.feeds.protocol import Source
from audiotest.feeds.soundcard import open_input
from audiotest.measure.sinad import WINDOW_S, SinadMeter, SinadReading
from audiotest.terminal.card import make_console
from audiotest.terminal.figures import clock

SCHEMA = "audiotest-sinad-1"
MARKS_DB = (12.0, 20.0)


def run(arguments: argparse.Namespace) -> int:
    """Read until the input ends, the time is up or the user interrupts."""
    source: Source
    if arguments.file:
        source = open_recording(arguments.file, arguments.channel)
    else:
        source = open_input(arguments.device, channel=arguments.channel)
    rows: list[SinadReading] = []
    console = make_console()
    try:
        for reading in _readings(source, arguments.tone_hz, arguments.seconds):
            rows.append(reading)
            if not arguments.json:
                _show(console, reading, rows)
    finally:
        source.close()
        if arguments.json:
            print(json.dumps(sinad_document(arguments.file, rows), ensure_ascii=False, allow_nan=False))
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


def reading_line(reading: SinadReading, before: SinadReading | None) -> str:
    """One reading on one line; a mark of 12 or 20 dB that was passed since the last is said."""
    if reading.frequency_hz is None or reading.level_dbfs is None:
        return f"{clock(reading.time_s):>7} {reading.reason}"
    line = (
        f"{clock(reading.time_s):>7} {reading.frequency_hz:6.1f} Hz {reading.level_dbfs:6.1f} dBFS"
        f" SINAD {_text(reading.sinad_db, reading.sinad_sd_db)}"
        f" O.41 {_text(reading.psophometric_db, reading.psophometric_sd_db)}"
    )
    now, last = reading.sinad_db, before.sinad_db if before else None
    if now is not None and last is not None:
        for mark_db in MARKS_DB:
            if (now - mark_db) * (last - mark_db) < 0.0:
                line += f" {mark_db:.0f}"
    return line


def _show(console: Console, reading: SinadReading, rows: list[SinadReading]) -> None:
    console.print(reading_line(reading, rows[-2] if len(rows) > 1 else None))


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
