"""What an over seems to begin with may be no carrier: hiss at another volume, or a receiver switched on.

A carrier's own noise is the lowest that is heard while the carrier is up, and no louder than hiss. So a
noise with the spectrum of known hiss that stands at or above it is hiss at once; one that stood first and
then falls, or is back after something quieter, was hiss.
"""

from typing import Literal

from audiotest.session.cells import WINDOW_CELLS, RecentCells, upper_db
from audiotest.session.running import Idle, RunningOver

DROP_DB = 4.0
HISS_CELLS = 11
"""Hiss not heard before must last 440 ms: longer than a drawn-out sibilant."""
LONG_HISS_CELLS = 20
"""On a squelched feed it would be a squelch tail, and must last 800 ms."""
TURNING_CELLS = 75
"""A hand at the volume takes up to three seconds."""
LARGEST_TURN_DB = 18.0
"""What falls further is a carrier, even if its noise has the spectrum of the hiss."""
TURNED_DB, TURNED_BACK_CELLS = 2.0, 25
SWITCH_ON_CELLS = 12
"""A receiver that is switched on may thump and mute for half a second before its hiss stands."""
ODD_CELLS = 3
EDGE_CELLS = 2
"""An edge may spread over this many cells before the new level shows."""

Verdict = Literal["open", "turned", "fell"]


def judge_beginning(over: RunningOver, idle: Idle, cells: RecentCells, now_cell: int) -> Verdict:
    """Judge the steady noise that an over has held so far, cell by cell.

    Returns
    -------
    "open", "turned" or "fell"
        "turned": it is hiss at a new volume, ``over.noise_db``, and no over. "fell": it was hiss, and the
        over begins where that fell, ``over.odd`` cells ago. "open": nothing of the kind so far.
    """
    if over.noise_db is None:
        return _see_noise(over, idle, cells, now_cell)
    if cells.last_matches(over.noise_db):
        over.noise_db += 0.05 * (cells.levels_db[-1] - over.noise_db)
        over.odd = 0
        return "open"
    over.odd += 1
    if idle.kind == "hiss" and over.turned_db is None:
        over.turned_db, over.turned_cell = over.noise_db, now_cell - 1
    if over.odd < ODD_CELLS:
        return "open"
    bound_db = upper_db(over.noise_db) - DROP_DB
    lower = all(upper_db(cell) < bound_db for cell in cells.levels_db[-ODD_CELLS:])
    if lower and not cells.silent(2):
        if not cells.loosely_match(idle.levels_db, 1):
            return "fell"
        over.fallen_db, over.fallen_cell = over.noise_db, now_cell - over.odd
    if lower or over.odd >= ODD_CELLS + EDGE_CELLS:
        over.noise_db = None
    return "open"


def _see_noise(over: RunningOver, idle: Idle, cells: RecentCells, now_cell: int) -> Verdict:
    """Note the steady noise that an over begins with; "turned" if it is surely hiss at a new volume."""
    age = len(over.uppers_db) if over.turned_db is None else now_cell - over.turned_cell
    latest = HISS_CELLS + (TURNING_CELLS if idle.kind == "hiss" else SWITCH_ON_CELLS)
    if not HISS_CELLS <= age <= latest or not cells.steady_noise(HISS_CELLS):
        return "open"
    noise_db = cells.window(HISS_CELLS).mean(axis=0)
    near = False
    if idle.kind == "hiss":
        shift_db = cells.shift_db(idle.levels_db, HISS_CELLS)
        if shift_db is None or shift_db < -LARGEST_TURN_DB:
            return "open"
        near = not over.dropped or shift_db > -DROP_DB
        before_db = over.turned_db
        same = before_db is not None and abs(upper_db(noise_db) - upper_db(before_db)) < TURNED_DB
        if same and not near:
            return "open"
    over.noise_db, over.turned_db = noise_db, None
    return "turned" if near else "open"


def is_back(over: RunningOver, cells: RecentCells, now_cell: int) -> bool:
    """Whether the noise that the over began with is back after a quieter one: hiss, both times.

    The over then began where that noise first ended. Noise at the microphone, which may sound alike, is
    heard for as long as that only before a carrier drops.
    """
    if over.turned_db is None or not cells.match(over.turned_db, LONG_HISS_CELLS):
        return False
    heard = over.uppers_db[over.turned_cell - now_cell : -LONG_HISS_CELLS]
    return sum(upper < upper_db(over.turned_db) - DROP_DB for upper in heard) >= WINDOW_CELLS


def only_turned(over: RunningOver, end_cell: int) -> bool:
    """Whether an over that hiss ended was hiss turned down and up again, with no room for words between."""
    return over.turned_db is not None and end_cell < over.turned_cell + TURNED_BACK_CELLS
