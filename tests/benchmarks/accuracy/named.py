"""How often each condition is named where it holds, and where it does not: the tables of ``page.py``."""

from collections.abc import Callable
from typing import Any

from tests.benchmarks.accuracy.score import Prediction, Record
from tests.benchmarks.accuracy.tables import table

HELD_DB = 8.0


def _of_kind(kind: str) -> Callable[[Record], bool]:
    return lambda record: bool(record["kind"] == kind)


def _held_down(least_db: float, most_db: float) -> Callable[[Record], bool]:
    def holds(record: Record) -> bool:
        levelled = record["transmitter"]["limiter"].startswith("levelling")
        held = least_db < record["truth"]["drive_db"] <= most_db
        return bool(levelled and held and record["kind"] in ("plain", "levelling"))

    return holds


WHERE: tuple[tuple[str, str, Callable[[Record], bool]], ...] = (
    ("overload", "the sound card is overloaded", _of_kind("soundcard_overload")),
    ("if_narrow", "the swing goes far past the IF filter", _of_kind("if_clipping")),
    ("levelling", "automatic gain in the sound card", _of_kind("soundcard_agc")),
    ("level_control", "a level control in the set, held down by more than 8 dB", _held_down(HELD_DB, 99.0)),
    ("level_control", "a level control in the set, by 3 to 8 dB", _held_down(3.0, HELD_DB)),
    ("codec", "a telephone's codec", _of_kind("codec")),
)
"""Condition, what it is there, whether an over has it."""

TURNED = {
    "clipper": "mic gain, before a clipper",
    "compressed": "mic gain, of a voice compressed and clipped beforehand",
    "level control": "mic gain, before a level control",
    "deviation": "deviation",
}


def named_table(records: list[Record], plain: list[Record], tool: dict[str, Prediction]) -> str:
    """Each condition: named among the overs that have it, and among the plain ones before a clipper."""

    def count(name: str, part: list[Record]) -> str:
        found = sum(name in (tool.get(r["id"], {}).get("conditions") or ()) for r in part)
        return f"{found} of {len(part)}"

    clipped = [record for record in plain if not record["transmitter"]["limiter"].startswith("levelling")]
    body = [
        [what, f"`{name}`", count(name, [r for r in records if holds(r)]), count(name, clipped)]
        for name, what, holds in WHERE
    ]
    return table(["what stands in the way", "condition", "named", "named of plain overs"], body)


def turns_table(turns: dict[str, dict[str, int]]) -> str:
    """What is said after a turn, as `turns.py` found it."""
    body = [
        [words, *(str(turns[kind][key]) for key in ("n", "asked", "cut_before", "lower_again", "lower_now"))]
        for kind, words in TURNED.items()
    ]
    head = ["turned down by 3 to 12 dB", "pairs", "asked for less mic gain alone", "said to be cut before it"]
    return table([*head, "told to lower again without that", "and with it"], body)


def any_named(tool: dict[str, Prediction]) -> bool:
    """Whether the conditions were kept when the set was measured."""
    return any(said.get("conditions") is not None for said in tool.values())


def level_controls(records: list[Record], tool: dict[str, Prediction]) -> dict[str, Any]:
    """What the mic gain is told among overs whose level control holds down by more than 8 dB."""
    part = [record for record in records if _held_down(HELD_DB, 99.0)(record)]
    said = [tool.get(record["id"], {}).get("mic_gain", "unknown") for record in part]
    return {"n": len(part)} | {turn: said.count(turn) for turn in ("raise", "keep", "lower", "unknown")}
