"""What a guided bench measurement found, on its way to a sheet: its figures, and its curves as a plot.

Reads the document that ``audiotest bench PROCEDURE --json`` prints (schema ``audiotest-bench-1``).
"""

import math
from dataclasses import dataclass
from typing import Any

from audiotest.errors import FileError
from audiotest.keep.jsonfile import read_json
from audiotest.keep.plotfile import MOST_LINES, MOST_POINTS, Curves
from audiotest.keep.quantities import impossible
from audiotest.keep.sheetrecords import Figure

BENCH_SCHEMA = "audiotest-bench-1"
WIDE_RATIO = 20.0
"""Figures across that span more than this are drawn on a logarithmic axis."""

_SHEET_QUANTITIES = {
    ("limiting", "level_60_mv"): "mic-level",
    ("limiting", "worst_khz"): "deviation",
    ("distortion", "distortion_percent"): "distortion",
    ("hum", "hum_noise_db"): "transmit-hum",
    ("balance", "drive_db"): "drive",
    ("balance", "peak_khz"): "deviation",
    ("drive-by-speech", "drive_db"): "drive",
    ("drive-by-speech", "clipped_percent"): "clipped",
    ("drive-by-speech", "peak_khz"): "deviation",
    ("frequency", "frequency_error_hz"): "frequency-error",
    ("frequency-iq", "frequency_error_hz"): "frequency-error",
    ("sensitivity", "sinad_12_microvolt_pd"): "sensitivity",
    ("squelch", "opening_dbm"): "squelch-opens",
    ("squelch", "closing_dbm"): "squelch-closes",
    ("rx-distortion", "distortion_percent"): "receive-distortion",
    ("rx-hum", "hum_noise_db"): "receive-hum",
}
"""Procedure and key of a figure, and the line of the sheet that it belongs to."""


@dataclass(frozen=True, slots=True, kw_only=True)
class BenchResult:
    """One procedure's figures for the sheet, and its plot if it has one."""

    title: str
    figures: tuple[Figure, ...]
    curves: Curves | None


def read_bench_result(content: bytes, name: str) -> BenchResult:
    """Read the document of a procedure.

    Raises
    ------
    FileError
        It is no such document, or comes from a rehearsal: nothing was measured on a set then.
    """
    try:
        document = read_json(content)
        if document["schema"] != BENCH_SCHEMA:
            raise ValueError(f"its schema is not {BENCH_SCHEMA}")
        rehearsed = document["rehearsed"] is not False
        procedure, title = str(document["procedure"]), str(document["title"])
        title = title if document["complete"] is True else f"{title} (not complete)"
        figures = tuple(
            figure for entry in document["figures"] if (figure := _figure(procedure, entry)) is not None
        )
        curves = _curves(document, title)
    except (ValueError, LookupError, TypeError, RecursionError, OverflowError) as error:
        reason = f"{error} is missing" if isinstance(error, KeyError) else str(error)
        raise FileError(
            f"{name}: is not the result of a bench measurement: {reason}", "measure again"
        ) from error
    if rehearsed:
        raise FileError(
            f"{name}: comes from a rehearsal on the simulated radio", "measure a set without --rehearse"
        )
    return BenchResult(title=title, figures=figures, curves=curves)


def _figure(procedure: str, entry: dict[str, Any]) -> Figure | None:
    quantity = _SHEET_QUANTITIES.get((procedure, entry["key"]))
    value, low, high = (_number(entry[key]) for key in ("value", "low", "high"))
    if quantity is None or value is None:
        return None
    if entry["unit"] == "dBm":
        value, low, high = (None if dbm is None else _microvolts(dbm) for dbm in (value, low, high))
    if value is None or impossible(quantity, value) is not None:
        return None
    return Figure(quantity=quantity, value=value, low=low, high=high)


def _microvolts(dbm: float) -> float:
    """Level across 50 ohms in microvolts.

    >>> round(_microvolts(-107.0), 3)
    0.999
    """
    return 1e6 * math.sqrt(50.0 * 1e-3 * 10.0 ** (dbm / 10.0))


def _curves(document: dict[str, Any], title: str) -> Curves | None:
    lines = []
    for curve in document["curves"][:MOST_LINES]:
        points = tuple(
            (x, y)
            for pair in curve["points"][:MOST_POINTS]
            if (x := _number(pair[0])) is not None and (y := _number(pair[1])) is not None
        )
        if points:
            lines.append((str(curve["name"]), points))
    across = [x for _, points in lines for x, _ in points]
    if len(set(across)) < 2:
        return None
    return Curves(
        title=title, x_label=str(document["x_label"]), y_label=str(document["y_label"]), lines=tuple(lines),
        log_x=min(across) > 0.0 and max(across) / min(across) >= WIDE_RATIO,
    )  # fmt: skip


def _number(value: Any) -> float | None:
    if value is None:
        return None
    if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(float(value)):
        raise ValueError("something else than a number stands where one belongs")
    return float(value)
