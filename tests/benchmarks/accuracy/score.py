"""Scores predictions against the truth: small pure functions, one per figure of the report.

A prediction is a mapping with ``drive_db, low_db, high_db, clipped_fraction, p999_khz, peak_khz`` (None: not
measured) and ``mic_gain, deviation`` (raise, keep, lower, unknown).
"""

from typing import Any

import numpy as np
from numpy.typing import NDArray

Record = dict[str, Any]
Prediction = dict[str, Any]

LOWEST_DB = -3.0
BETWEEN_DB = (3.0, 24.0)
"""The drives that the accuracy aimed at is stated for."""
BINS_DB = (
    (-15.0, -3.0),
    (-3.0, 0.0),
    (0.0, 3.0),
    (3.0, 6.0),
    (6.0, 9.0),
    (9.0, 12.0),
    (12.0, 16.0),
    (16.0, 25.1),
)
IN_BAND_DB = ((-99.0, -8.0), (-8.0, -5.0), (-5.0, -3.0), (-3.0, 9.0))
"""Peaks of the limiter's input in the band that is heard, re all of its peaks."""
CLIPPING_SAID_DB = 3.0
NONE_BELOW_DB = 0.0


def in_band_names() -> list[str]:
    """What the parts of `IN_BAND_DB` are called."""
    between = [f"{lo:.0f} … {hi:.0f} dB" for lo, hi in IN_BAND_DB[1:-1]]
    return [f"under {IN_BAND_DB[0][1]:.0f} dB", *between, f"{IN_BAND_DB[-1][0]:.0f} dB and up"]


def paired(records: list[Record], predictions: dict[str, Prediction], key: str) -> tuple[NDArray[Any], ...]:
    """True and predicted drive, and low and high bound, of the overs whose `key` was measured."""
    rows = [
        (r["truth"]["drive_db"], p["drive_db"], p["low_db"], p["high_db"])
        for r in records
        if (p := predictions.get(r["id"])) is not None and p.get(key) is not None
    ]
    table = np.array(rows, dtype=float).reshape(-1, 4)
    return tuple(table.T)


def drive_row(records: list[Record], predictions: dict[str, Prediction]) -> dict[str, float | int | None]:
    """Errors of the drive over some overs, both sides clamped at −3 dB; coverage of the interval unclamped.

    An interval whose lower end is at or under −3 dB counts as open downwards: that is how the tool means it.
    """
    true, said, low, high = paired(records, predictions, "drive_db")
    row: dict[str, float | int | None] = {"n": len(records), "measured": len(true)}
    if len(true) == 0:
        missing = ("rms_db", "median_db", "bias_db", "e90_db", "coverage", "width_db")
        return row | dict.fromkeys(missing)
    error = np.maximum(said, LOWEST_DB) - np.maximum(true, LOWEST_DB)
    within = ((true >= low) | (low <= LOWEST_DB)) & ((true <= high) | (high >= BINS_DB[-1][1] - 0.2))
    return row | {
        "rms_db": float(np.sqrt(np.mean(error**2))),
        "median_db": float(np.median(np.abs(error))),
        "bias_db": float(np.mean(error)),
        "e90_db": float(np.quantile(np.abs(error), 0.9)),
        "coverage": float(np.mean(within)),
        "width_db": float(np.mean(np.maximum(high, LOWEST_DB) - np.maximum(low, LOWEST_DB))),
    }


def area_under_curve(
    records: list[Record], predictions: dict[str, Prediction], lo: float, hi: float
) -> float | None:
    """Chance that an over of `lo` … `hi` dB drive is given a higher drive than one below −1 dB."""
    true, said, _, _ = paired(records, predictions, "drive_db")
    none, some = said[true < -1.0], said[(true >= lo) & (true < hi)]
    if len(none) == 0 or len(some) == 0:
        return None
    larger = np.sum(some[:, None] > none[None, :]) + 0.5 * np.sum(some[:, None] == none[None, :])
    return float(larger / (len(none) * len(some)))


def deviation_row(
    records: list[Record], predictions: dict[str, Prediction], key: str
) -> dict[str, float | int | None]:
    """Errors of a deviation (`peak_khz` or `p999_khz`) in dB."""
    errors = [
        20 * np.log10(p[key] / r["truth"][key])
        for r in records
        if (p := predictions.get(r["id"])) and p.get(key) and r["truth"][key]
    ]
    row: dict[str, float | int | None] = {"n": len(records), "measured": len(errors)}
    if not errors:
        return row | {"bias_db": None, "median_db": None, "e95_db": None}
    size = np.abs(errors)
    return row | {
        "bias_db": float(np.mean(errors)),
        "median_db": float(np.median(size)),
        "e95_db": float(np.quantile(size, 0.95)),
    }


def clear_mic(record: Record) -> str | None:
    """What the table of advice says of the mic gain where the truth lies well inside a row; else None."""
    drive = record["truth"]["drive_db"]
    ratio = record["truth"]["peak_khz"] / record["limit_khz"]
    if drive < -6.0:
        return "raise" if ratio < 0.92 else ("keep or lower" if ratio > 1.08 else None)
    if 0.0 <= drive <= 5.0:
        return "keep"
    return "lower" if drive > 11.0 else None


def clear_deviation(record: Record) -> str | None:
    """What the table of advice says of the deviation where the truth lies well inside a row; else None."""
    drive = record["truth"]["drive_db"]
    ratio = record["truth"]["peak_khz"] / record["limit_khz"]
    if ratio > 1.12:
        return "lower"
    if drive < -6.0:
        return "unknown" if ratio < 0.92 else None
    if drive < 1.0:
        return None
    if 0.76 <= ratio <= 0.92:
        return "keep"
    return "raise" if ratio < 0.62 else None


def advice_outcome(wanted: str, given: str) -> str:
    """`right`, `abstained`, `opposite` (raise for lower or the reverse) or `wrong` (anything else)."""
    if given in wanted.split(" or "):
        return "right"
    if given == "unknown":
        return "abstained"
    return "opposite" if {given, *wanted.split(" or ")} >= {"raise", "lower"} else "wrong"


def advice_row(
    records: list[Record], predictions: dict[str, Prediction], control: str, wanted: str | None = None
) -> dict[str, int]:
    """Outcomes of one control's advice over the clear cases that want `wanted`, or over all of them."""
    clear = clear_mic if control == "mic_gain" else clear_deviation
    row = {"n": 0, "right": 0, "abstained": 0, "wrong": 0, "opposite": 0}
    for record in records:
        want = clear(record)
        if want is None or wanted not in (None, want):
            continue
        row["n"] += 1
        given = (predictions.get(record["id"]) or {}).get(control, "unknown")
        row[advice_outcome(want, given)] += 1
    return row


def confounder_row(records: list[Record], predictions: dict[str, Prediction]) -> dict[str, int]:
    """Among overs that do not reach the limiter: how many were said to clip, told to lower, or not judged."""
    row = {"n": 0, "said_clipping": 0, "told_lower": 0, "not_judged": 0}
    for record in records:
        if record["truth"]["drive_db"] >= NONE_BELOW_DB:
            continue
        prediction = predictions.get(record["id"]) or {}
        drive, mic = prediction.get("drive_db"), prediction.get("mic_gain", "unknown")
        row["n"] += 1
        row["said_clipping"] += bool(drive is not None and drive > CLIPPING_SAID_DB)
        row["told_lower"] += mic == "lower"
        row["not_judged"] += mic == "unknown"
    return row
