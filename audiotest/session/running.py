"""The over that is running, what was heard before it, and the floor that its noise shows."""

from dataclasses import dataclass, field
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from audiotest.session.cells import LOOSE_MATCH_RMS_DB, SILENT_DB, upper_db

FLOOR_STEP_DB = 3.0
FLOOR_CELLS = 25
"""In a second of speech there is a pause; before that the lowest level need not be the carrier's floor."""
LONGEST_KEPT_CELLS, FORGOTTEN_CELLS = 6000, 3000

ACTIVE_DB = 8.0
SPOKEN_CELLS, RESUMED_CELLS = 12, 3

Edge = Literal["hiss", "closed", "none"]


@dataclass(frozen=True, slots=True)
class FoundOver:
    """One over in cells: ``[start_cell, end_cell)``; the edges say what was heard outside it.

    ``idle_cell`` is the first cell of the noise before it.
    """

    start_cell: int
    end_cell: int
    start_edge: Edge
    end_edge: Edge
    idle_cell: int = 0


@dataclass(slots=True)
class Idle:
    """The steady noise between overs, and since when; of an unknown kind until it shows which it is."""

    levels_db: NDArray[np.float64]
    start_cell: int
    kind: Literal["hiss", "closed", "unknown"]

    @property
    def edge(self) -> Edge:
        """What an over that begins out of it began with."""
        return "none" if self.kind == "unknown" else self.kind


@dataclass(slots=True)
class RunningOver:
    """An over that has not ended yet; ``uppers_db`` holds the upper bands' level of each of its cells."""

    start_cell: int
    idle: Idle | None
    dropped: bool
    uppers_db: list[float]
    last_active_cell: int
    loudest_db: float = -200.0
    lows_db: list[float] = field(default_factory=list)
    """Lowest pair of neighbours up to each cell from the third on, one entry less two than `uppers_db`."""
    noise_db: NDArray[np.float64] | None = None
    """The steady noise that is all the over has held so far; None before it stands and once it is over."""
    odd: int = 0
    turned_db: NDArray[np.float64] | None = None
    """The steady noise that it began with although hiss had stood before: that hiss, turned down, perhaps."""
    turned_cell: int = 0
    """The first cell that is no more of that noise."""
    fallen_db: NDArray[np.float64] | None = None
    """That noise, once it fell back to what was heard before the over, and the cell where it did."""
    fallen_cell: int = 0
    silent: int = 0
    """For how many cells on end it has held nothing at all."""
    idle_again: int = 0
    """For how many cells on end it has sounded as before the over."""
    steady_db: float | None = None
    """Lowest level of a steady noise in it that is not what was heard before it."""
    carrier_db: NDArray[np.float64] | None = None
    """That noise, band by band."""
    first: list[NDArray[np.float64]] = field(default_factory=list)
    """Its first cells, band by band."""

    def add(self, level_db: float) -> None:
        """Take the level of the next cell in the upper bands."""
        self.uppers_db.append(level_db)
        self.loudest_db = max(self.loudest_db, level_db)
        if len(self.uppers_db) > LONGEST_KEPT_CELLS:
            self._find_lows()
            del self.uppers_db[:FORGOTTEN_CELLS], self.lows_db[:FORGOTTEN_CELLS]

    def floor_db(self, leave_out: int) -> float:
        """Lowest 100 ms of the over so far in the upper bands, the last cells and the first one left out."""
        end = len(self.uppers_db) - leave_out
        if end < 3:
            return max(self.uppers_db)
        self._find_lows()
        return self.lows_db[end - 3]

    def has_own_floor(self, idle_upper_db: float) -> bool:
        """Whether the over shows a floor of its own, several cells at one level above the idle noise."""
        uppers_db = self.uppers_db
        waiting = 0
        while waiting < len(uppers_db) and uppers_db[-waiting - 1] < idle_upper_db + FLOOR_STEP_DB:
            waiting += 1
        # One more cell is left out: the edge may lie inside it.
        waiting += 1
        floor_db = self.floor_db(waiting)
        at_floor = sum(upper < floor_db + FLOOR_STEP_DB for upper in uppers_db[:-waiting])
        return floor_db > idle_upper_db + FLOOR_STEP_DB and at_floor >= 4 and len(uppers_db) >= FLOOR_CELLS

    def see_steady(self, levels_db: NDArray[np.float64], idle_upper_db: float) -> None:
        """Take the levels of the steady noise that the last cells are, shape (n_bands,)."""
        level_db = upper_db(levels_db)
        if level_db > idle_upper_db + FLOOR_STEP_DB and (self.steady_db is None or level_db < self.steady_db):
            self.steady_db, self.carrier_db = level_db, levels_db

    def see_activity(self, now_cell: int, leave_out: int, *, steady: bool) -> None:
        """Note that the last cell is no pause: it is louder than the floor, or no noise and as loud as ever.

        That is how a tone sounds, which never sinks to the floor. What the over began with may be a click.
        """
        level_db = self.uppers_db[-1]
        tone = not steady and level_db > self.loudest_db - ACTIVE_DB
        if tone or level_db > self.floor_db(leave_out) + ACTIVE_DB:
            self.last_active_cell = now_cell

    def shows_floor(self, leave_out: int) -> bool:
        """Whether the lowest level before the last cells was a steady noise, as a carrier's own is."""
        return self.steady_db is not None and self.steady_db < self.floor_db(leave_out) + FLOOR_STEP_DB

    def may_be_gated(self) -> bool:
        """Whether nothing at all in it may be a noise gate in a pause: it came out of nothing with a word.

        Nobody talks in the moment of keying, and a squelch takes its time to open: there the carrier's noise
        is heard first. The first cell, which the edge may lie in, does not tell.
        """
        if self.idle is None or upper_db(self.idle.levels_db) >= SILENT_DB:
            return False
        if self.carrier_db is None:
            # One more cell is left out: the end of the sound may lie inside it.
            floor_db = self.floor_db(self.silent + 1)
            return all(upper_db(cell) > floor_db + FLOOR_STEP_DB for cell in self.first[1:])
        away = np.array(self.first[1:]) - self.carrier_db
        return bool(np.all(np.sqrt(np.mean(away**2, axis=1)) > LOOSE_MATCH_RMS_DB))

    def rises_above(self, level_db: float) -> bool:
        """Whether it was that loud as often as speech is."""
        return sum(upper > level_db for upper in self.uppers_db) >= SPOKEN_CELLS

    def speaks_out_of(self, idle_upper_db: float) -> bool:
        """Whether it sank to the idle noise and rose again, as speech does on a carrier as quiet as that."""
        active = [upper > idle_upper_db + ACTIVE_DB for upper in self.uppers_db]
        if not all(active[-RESUMED_CELLS:]) or sum(active) < SPOKEN_CELLS:
            return False
        return self.floor_db(RESUMED_CELLS) < idle_upper_db + FLOOR_STEP_DB

    def _find_lows(self) -> None:
        """The running floor up to now: each cell is looked at once, however long the over."""
        lows_db, uppers_db = self.lows_db, self.uppers_db
        for k in range(len(lows_db) + 2, len(uppers_db)):
            pair_db = (uppers_db[k - 1] + uppers_db[k]) / 2.0
            lows_db.append(min(lows_db[-1], pair_db) if lows_db else pair_db)


@dataclass(frozen=True, slots=True)
class HeldOver:
    """An over of one steady noise between two quieter ones that are alike.

    A bare carrier behind a squelch is such a one, and so is the hiss of a receiver that is switched on late,
    before a carrier as quiet as the receiver was when off: what comes next tells.
    """

    found: FoundOver
    noise_db: NDArray[np.float64]
