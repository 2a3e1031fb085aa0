"""What is noted on a sheet beside its readings: each call opens the file, does one thing, says what it did.

As in `sheetdesk`, nothing here knows of Qt, and each call may run in any thread.
"""

from pathlib import Path

from audiotest.keep.sheetrecords import STAGE_WORDS, Stage
from audiotest.keep.sheets import Sheets


def note_fault(path: Path, visit_id: int, fault: str, cure: str) -> str:
    """Note a fault; without a cure it counts as not cured yet."""
    with Sheets(path) as sheets:
        sheets.add_fault(visit_id, fault, cure if cure.strip() else None)
    return f"fault on sheet {visit_id}{'' if cure.strip() else ', not cured yet'}"


def note_cure(path: Path, fault_id: int, cure: str) -> str:
    """Note how a fault was cured."""
    with Sheets(path) as sheets:
        sheets.cure_fault(fault_id, cure)
    return "the cure is on the sheet"


def note_part(path: Path, visit_id: int, name: str, count: int) -> str:
    """Note a part that was fitted."""
    with Sheets(path) as sheets:
        sheets.add_part(visit_id, name, count)
    return f"{count} × {' '.join(name.split())} on sheet {visit_id}"


def note_spoken(
    path: Path, visit_id: int, stage: Stage, readability: int, strength: int, who: str, place: str, words: str
) -> str:  # fmt: skip
    """Note what the helper said of the set on the air."""
    with Sheets(path) as sheets:
        sheets.add_spoken(visit_id, stage, readability, strength, who=who, place=place, words=words)
    return f"R{readability} S{strength} {STAGE_WORDS[stage]} on sheet {visit_id}"


def withdraw(path: Path, reading_id: int, words: str) -> str:
    """Take a reading that was a slip out of what stands."""
    with Sheets(path) as sheets:
        sheets.withdraw_reading(reading_id)
    return f"withdrawn: {words}; it stays on record"


def close_visit(path: Path, visit_id: int) -> str:
    """Note that the set has left the bench."""
    with Sheets(path) as sheets:
        sheets.close_visit(visit_id)
    return f"sheet {visit_id} is closed: the set has left the bench"
