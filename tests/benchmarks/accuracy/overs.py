"""What was measured, over by over, in one file: ``docs/accuracy-overs.json``, from which the page is made.

It holds no audio: of each over the truth and the conditions that tables and plots sort by, what the tool
said, what the baseline said, and what the tool said with the path learnt, where one was. Besides that, which
drive model was at work, the figures of further scripts as they wrote them, and what the tool said of the few
overs of ``telltales.py``, by which anybody can see whether it would still say so.
"""

import json
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from tests.benchmarks.accuracy.score import Prediction, Record

SCHEMA = "audiotest-accuracy-1"
DIGITS = 4
COLUMNS = {
    "over": (
        "id", "kind", "held_out", "natural", "limit_khz", "sample_rate_hz", "full_scale_n",
        "mouth.talker", "mouth.seconds", "transmitter.limiter", "receiver.cnr_db",
        "truth.drive_db", "truth.p999_khz", "truth.peak_khz", "in_band_db",
    ),
    "tool": ("drive_db", "low_db", "high_db", "p999_khz", "peak_khz", "mic_gain", "deviation", "conditions"),
    "crest": ("drive_db", "low_db", "high_db"),
    "path": ("drive_db", "low_db", "high_db"),
}  # fmt: skip
"""A point steps into a part of the record."""
Predictions = dict[str, Prediction]


@dataclass(frozen=True, slots=True, kw_only=True)
class Measured:
    """All that the page and its plots are made from; predictions by the over's id."""

    model_sha256: str
    seen: str
    records: list[Record]
    tool: Predictions
    crest: Predictions
    path: Predictions = field(default_factory=dict)
    telltales: list[Prediction] = field(default_factory=list)
    further: dict[str, Any] = field(default_factory=dict)


def rounded(value: Any) -> Any:
    """`value` with every figure in it cut to what the file keeps."""
    if isinstance(value, dict):
        return {key: rounded(part) for key, part in value.items()}
    if isinstance(value, list | tuple):
        return [rounded(part) for part in value]
    return round(float(value), DIGITS) if isinstance(value, float) else value


def _pick(record: Record, column: str) -> Any:
    for name in column.split("."):
        record = record.get(name) if record is not None else None
    return record


def _put(record: Record, column: str, value: Any) -> None:
    *parts, name = column.split(".")
    for part in parts:
        record = record.setdefault(part, {})
    record[name] = value


def _row(measured: Measured, record: Record) -> list[Any]:
    row: list[Any] = [[_pick(record, column) for column in COLUMNS["over"]]]
    for group in ("tool", "crest", "path"):
        said = getattr(measured, group).get(record["id"])
        row.append(None if said is None else [said.get(column) for column in COLUMNS[group]])
    return row


def write(measured: Measured, path: Path) -> None:
    """Write the file, one over a line, so that two versions of it can be compared."""
    head = {
        "schema": SCHEMA, "model_sha256": measured.model_sha256, "seen": measured.seen,
        "further": measured.further, "telltales": measured.telltales, "columns": COLUMNS,
    }  # fmt: skip
    lines = [json.dumps(rounded(_row(measured, r)), separators=(",", ":")) for r in measured.records]
    opening = json.dumps(rounded(head), indent=1)[:-2]
    path.write_text(opening + ',\n "overs": [\n' + ",\n".join(lines) + "\n]}\n", "utf-8")


def read(path: Path) -> Measured:
    """What `write` wrote; what was not measured has no key in its prediction."""
    found = json.loads(path.read_text("utf-8"))
    if found["schema"] != SCHEMA:
        raise ValueError(f"{path}: schema {found['schema']}, not {SCHEMA}")
    columns = found["columns"]
    records: list[Record] = []
    said: dict[str, Predictions] = {"tool": {}, "crest": {}, "path": {}}
    for over, *groups in found["overs"]:
        record: Record = {}
        for column, value in zip(columns["over"], over, strict=True):
            _put(record, column, value)
        records.append(record)
        for group, figures in zip(said, groups, strict=True):
            if figures is not None:
                pairs = zip(columns[group], figures, strict=True)
                said[group][record["id"]] = {name: value for name, value in pairs if value is not None}
    kept = {key: found[key] for key in ("model_sha256", "seen", "further", "telltales")}
    return Measured(records=records, **said, **kept)
