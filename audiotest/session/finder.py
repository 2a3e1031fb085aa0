"""Finds overs from the audio alone: hiss falling to quiet, a squelch opening, or no edge at all.

The finder looks at band levels in cells of 40 ms and knows two things about the time between overs: what
open-squelch hiss sounds like on this feed, and what a closed squelch sounds like. Both are steady noise,
so a stretch counts as "no carrier" only while it is steady, noise-like and like one of the two. A gap in
speech is steady and noise-like too, but it has the carrier's own, different floor.
"""

from typing import Literal

import numpy as np
from numpy.typing import NDArray

from audiotest.session.cells import CELL_S, SILENT_DB, WINDOW_CELLS, RecentCells, upper_db
from audiotest.session.firstnoise import (
    DROP_DB,
    EDGE_CELLS,
    HISS_CELLS,
    LONG_HISS_CELLS,
    is_back,
    judge_beginning,
    only_turned,
)
from audiotest.session.running import FLOOR_STEP_DB, Edge, FoundOver, HeldOver, Idle, RunningOver

HISS_STEP_DB = 6.0
LEAST_LAST_CELLS = 2
"""The last noise of a stream need not be long: if it was none, little is cut from a pause."""
SETTLE_CELLS = 2
"""A sound card may take this long to settle before the first steady noise."""
HELD_CELLS = 250
"""An over that may have been hiss is held back for 10 s at most, for speech to show which it was."""
UNSURE_CLOSED_CELLS = 36
"""Without a steady floor seen, what was heard first must last 1.4 s to be a closed squelch, and no gap."""
SILENT_GAP_CELLS = 38
"""Nothing at all for 1.5 s is no gap in speech, even on a carrier that shows no noise of its own."""
MUTED_CELLS = 125
"""Where hiss fell to nothing at all, that is how the carrier sounds: 5 s of it, and the feed is muted."""
LEAST_HISS_DB = -55.0
"""Noise louder than this in the upper bands is hiss rather than a carrier's own: if it falls to nothing at
all, a carrier came; if that lasts, as `MUTED_CELLS` says, the squelch was closed."""
LOUDER_DB = 6.0
"""Hiss is the loudest on a feed: what speech rises above by this much for long was a carrier's noise."""


class OverFinder:
    """Cells in, finished overs out.

    Parameters
    ----------
    pause_ends_over_s : float or None
        On a feed without any carrier edge, a pause in speech of this length ends an over; None never.
    """

    def __init__(self, *, pause_ends_over_s: float | None = None) -> None:
        self._pause_cells = None if pause_ends_over_s is None else round(pause_ends_over_s / CELL_S)
        self._cells = RecentCells()
        self._n = 0
        self._idle: Idle | None = None
        self._over: RunningOver | None = None
        self._pending: list[NDArray[np.float64]] = []
        self._hiss_db: NDArray[np.float64] | None = None
        self._closed_db: NDArray[np.float64] | None = None
        self._noisy_cells = 0
        self._ends_in_noise = False
        self._held: HeldOver | None = None

    @property
    def in_over(self) -> bool:
        """Whether a carrier is believed to be up."""
        return self._over is not None

    @property
    def over_start_cell(self) -> int | None:
        """First cell of the running over."""
        return None if self._over is None else self._over.start_cell

    @property
    def over_start_edge(self) -> Edge:
        """What was heard before the running over."""
        if self._over is None or self._over.idle is None:
            return "none"
        return "hiss" if self._over.dropped else "closed"

    @property
    def began_in_hiss(self) -> bool:
        """Whether the running over began by hiss falling to quiet."""
        return self._over is not None and self._over.dropped

    @property
    def earliest_start_cell(self) -> int:
        """First cell that a running, held or coming over may still claim as its start."""
        if self._held is not None:
            return self._held.found.start_cell
        if self._over is not None:
            idle = self._over.idle
            if idle is not None and idle.kind == "unknown":
                return idle.start_cell
            return self._over.start_cell
        if self._idle is None:
            return 0
        return self._idle.start_cell if self._idle.kind == "unknown" else self._n

    @property
    def hiss_known(self) -> bool:
        """Whether open-squelch hiss has been heard on this feed."""
        return self._hiss_db is not None

    @property
    def ends_in_noise(self) -> bool:
        """Whether the stream ended in a noise that nothing fell below: hiss, or a carrier without speech."""
        return self._ends_in_noise

    def push(self, levels_db: NDArray[np.float64], flatness_db: NDArray[np.float64]) -> list[FoundOver]:
        """Take one cell: levels and flatness of its `CELL_HOPS` frames, shape (CELL_HOPS, n_bands)."""
        self._cells.push(levels_db, flatness_db)
        self._n += 1
        found: list[FoundOver] = []
        if self._over is not None:
            found = self._step_over(self._over)
        elif self._idle is not None:
            self._step_idle(self._idle)
        else:
            self._step_unknown()
        held = self._held
        if held is not None and (found or self._n - held.found.end_cell > HELD_CELLS):
            return [*self._release(), *found]
        return found

    def _release(self) -> list[FoundOver]:
        """An over that was held back, as what it was taken for at first."""
        held, self._held = self._held, None
        return [] if held is None else [held.found]

    def finish(self) -> list[FoundOver]:
        """Close a running over at the end of the stream, or make the whole of it one."""
        return [*self._release(), *self._finish()]

    def _finish(self) -> list[FoundOver]:
        over, self._over = self._over, None
        if over is not None:
            self._ends_in_noise = over.noise_db is not None and over.odd == 0
            return [] if self._ends_in_noise else [self._cut_short(over)]
        idle = self._idle
        if idle is not None and idle.kind == "unknown" and idle.start_cell == 0 and self._n > 0:
            if self._pending or upper_db(idle.levels_db) > SILENT_DB:
                return [FoundOver(0, self._n, "none", "none")]
            return []
        if self._idle is None and self._n > 0:
            return [FoundOver(0, self._n, "none", "none")]
        if self._pending and self._idle is not None and len(self._pending) >= 2:
            start, idle = self._n - len(self._pending), self._idle
            return [FoundOver(start, self._n, idle.edge, "none", idle.start_cell)]
        return []

    def _cut_short(self, over: RunningOver) -> FoundOver:
        """An over that the stream's end cut short, or that ended too shortly before it to be sure."""
        if over.silent >= LEAST_LAST_CELLS:
            return self._found(over, self._n - over.silent, "closed")
        for known, edge in self._known_idle(over):
            back = 0
            while back < min(len(self._cells), len(over.uppers_db)) and self._cells.loosely_match(
                known, back + 1
            ):
                back += 1
            if back >= LEAST_LAST_CELLS and (edge == "hiss" or over.has_own_floor(upper_db(known))):
                return self._found(over, self._n - back, edge)
        return self._found(over, self._n, "none")

    def _known_idle(self, over: RunningOver) -> list[tuple[NDArray[np.float64], Literal["hiss", "closed"]]]:
        known: list[tuple[NDArray[np.float64], Literal["hiss", "closed"]]] = []
        if self._hiss_db is not None:
            known.append((self._hiss_db, "hiss"))
        if over.idle is not None and over.idle.kind != "hiss":
            known.append((over.idle.levels_db, "closed"))
        elif self._closed_db is not None:
            known.append((self._closed_db, "closed"))
        return known

    # -- the three states -------------------------------------------------------------------------

    def _step_unknown(self) -> None:
        if self._cells.silent() or self._cells.steady_noise():
            if self._n <= WINDOW_CELLS + SETTLE_CELLS:
                self._rest(self._cells.window().mean(axis=0), 0, "unknown")
                return
        elif self._n < 2 * WINDOW_CELLS:
            return
        # Something else came before the first steady noise: the recording began inside an over.
        self._over = RunningOver(0, None, False, [upper_db(cell) for cell in self._cells.levels_db], self._n)

    def _step_idle(self, idle: Idle) -> None:
        cell = self._cells.levels_db[-1]
        if self._cells.last_matches(idle.levels_db) or (
            self._cells.silent(1) and np.all(idle.levels_db < SILENT_DB)
        ):
            idle.levels_db += 0.05 * (cell - idle.levels_db)
            self._pending.clear()
            return
        self._pending.append(cell)
        if len(self._pending) >= WINDOW_CELLS and self._cells.match(self._closed_db):
            self._rest(self._cells.window().mean(axis=0), self._n - len(self._pending), "closed")
            return
        muted = idle.kind == "closed" or upper_db(idle.levels_db) < LEAST_HISS_DB
        if muted and self._cells.silent(2):
            if len(self._pending) >= WINDOW_CELLS:
                self._rest(self._cells.window().mean(axis=0), self._n - len(self._pending), "closed")
            return
        start = self._n - len(self._pending)
        lower = [upper_db(c) - upper_db(idle.levels_db) < -DROP_DB for c in self._pending]
        if sum(lower) >= 2 and idle.kind != "closed":
            idle.kind = "hiss"
            self._hiss_db = idle.levels_db
            self._begin(start, idle, dropped=True)
        elif len(self._pending) >= 3:
            self._begin(start, idle, dropped=False)

    def _begin(self, start: int, idle: Idle, *, dropped: bool) -> None:
        uppers_db = [upper_db(c) for c in self._pending]
        self._over = RunningOver(start, idle, dropped, uppers_db, self._n, first=self._pending[:3])
        self._idle = None
        self._noisy_cells = 0
        self._pending.clear()

    def _step_over(self, over: RunningOver) -> list[FoundOver]:
        over.add(upper_db(self._cells.levels_db[-1]))
        self._tell_held(over)
        idle = self._idle_before(over)
        if idle is not None and self._was_no_over(over, idle):
            return []
        if idle is not None and not over.dropped and idle.kind == "unknown":
            below = [u < upper_db(idle.levels_db) - DROP_DB for u in over.uppers_db[-3:]]
            spoken = over.rises_above(upper_db(idle.levels_db) + LOUDER_DB)
            if all(below) and len(below) == 3 and not spoken and not self._cells.silent(2):
                idle.kind, over.dropped, self._hiss_db = "hiss", True, idle.levels_db
        again = idle is not None and idle.kind == "unknown" and self._cells.match(idle.levels_db)
        over.idle_again = over.idle_again + 1 if again else 0
        steady = self._cells.steady_noise()
        over.see_activity(self._n, WINDOW_CELLS, steady=steady)
        if steady and not self._cells.silent(1):
            before_db = SILENT_DB if idle is None else upper_db(idle.levels_db)
            over.see_steady(self._cells.window().mean(axis=0), before_db)
        over.silent = over.silent + 1 if self._cells.silent(1) else 0
        if self._silence_ends(over):
            return self._end(over, over.silent, "closed")
        if over.silent and over.may_be_gated():
            return []
        if self._cells.match(self._hiss_db):
            return self._end(over, WINDOW_CELLS, "hiss")
        if over.turned_db is not None and is_back(over, self._cells, self._n):
            over.idle = Idle(over.turned_db, over.start_cell, "hiss")
            over.start_cell, over.turned_db, self._hiss_db = over.turned_cell, None, over.turned_db
            return self._end(over, LONG_HISS_CELLS, "hiss")
        if idle is not None and idle.kind != "hiss" and self._cells.match(idle.levels_db):
            if over.has_own_floor(upper_db(idle.levels_db)) and self._surely_closed(over, idle):
                return self._end(over, WINDOW_CELLS, "closed")
        elif self._cells.match(self._closed_db) and over.has_own_floor(
            upper_db(self._cells.window().mean(axis=0))
        ):
            return self._end(over, WINDOW_CELLS, "closed")
        return self._end_by_new_noise(over, steady=steady) or self._end_by_pause(over)

    def _idle_before(self, over: RunningOver) -> Idle | None:
        """The noise before the over; None, and no hiss known, once speech outdid it: a carrier's it was."""
        idle = over.idle
        if idle is None or idle.kind != "hiss" or over.dropped:
            return idle
        turned_up = self._cells.shift_db(idle.levels_db) is not None
        if not turned_up and over.rises_above(upper_db(idle.levels_db) + LOUDER_DB):
            over.start_cell, over.idle, self._hiss_db = idle.start_cell, None, None
        return over.idle

    def _surely_closed(self, over: RunningOver, idle: Idle) -> bool:
        """Whether what was heard before the over, and is again, is no gap in speech that was going on before.

        The program may have been started in a pause of an over. Speech has lowest levels too, but only a
        carrier's own noise is steady there.
        """
        if idle.kind == "closed" or over.idle_again + WINDOW_CELLS > UNSURE_CLOSED_CELLS:
            return True
        return over.shows_floor(over.idle_again + WINDOW_CELLS)

    def _silence_ends(self, over: RunningOver) -> bool:
        """Whether nothing at all is a closed squelch, and no gap in speech on a carrier without noise."""
        if over.dropped:
            return over.silent >= MUTED_CELLS
        sure = over.silent >= WINDOW_CELLS and over.shows_floor(over.silent) and not over.may_be_gated()
        return sure or over.silent >= SILENT_GAP_CELLS

    def _tell_held(self, over: RunningOver) -> None:
        """Take a held over for hiss, and this one for begun where it fell, once the pauses show the carrier.

        Behind a squelch no pause in speech is as quiet as the squelch when closed.
        """
        held, idle = self._held, over.idle
        if held is None or idle is None or not over.speaks_out_of(upper_db(idle.levels_db)):
            return
        over.start_cell, over.dropped = held.found.end_cell, True
        over.idle = Idle(held.noise_db, held.found.start_cell, "hiss")
        self._hiss_db, self._closed_db, self._held = held.noise_db, None, None

    def _was_no_over(self, over: RunningOver, idle: Idle) -> bool:
        """Take back an over that was hiss, and begin another where it fell, if it did."""
        verdict = judge_beginning(over, idle, self._cells, self._n)
        if verdict == "open" or over.noise_db is None:
            return False
        self._hiss_db = over.noise_db
        if verdict == "turned":
            self._over = None
            self._rest(over.noise_db, over.start_cell, "hiss")
        else:
            self._pending = self._cells.levels_db[-over.odd :]
            self._begin(self._n - over.odd, Idle(over.noise_db, over.start_cell, "hiss"), dropped=True)
        return True

    def _end_by_new_noise(self, over: RunningOver, *, steady: bool) -> list[FoundOver]:
        """Hiss never heard before (the recording began inside an over), or a squelch never seen closed."""
        if not steady:
            self._noisy_cells = 0
            return []
        self._noisy_cells += 1
        cells = self._noisy_cells + WINDOW_CELLS - 1
        needed = HISS_CELLS if over.idle is None else LONG_HISS_CELLS
        if cells < needed or not self._cells.steady_noise(needed):
            return []
        level = upper_db(self._cells.window(needed).mean(axis=0))
        floor = over.floor_db(needed)
        louder = self._hiss_db is None or level > upper_db(self._hiss_db) + LOUDER_DB
        if louder and level > floor + HISS_STEP_DB:
            loud = float(np.percentile(over.uppers_db[:-needed] or [level], 90))
            if level > loud - 2.0:
                # What was taken for hiss was a pause in speech on a noisy carrier.
                self._hiss_db = None
                return self._end(over, needed, "hiss")
        enough = len(over.uppers_db) > 2 * needed
        if not over.dropped and enough and level < floor - HISS_STEP_DB:
            return self._end(over, needed, "closed")
        return []

    def _end_by_pause(self, over: RunningOver) -> list[FoundOver]:
        if self._pause_cells is None or over.dropped or self._n - over.last_active_cell < self._pause_cells:
            return []
        found = self._found(over, self._n, "none")
        self._over = None
        self._rest(self._cells.window().mean(axis=0), self._n, "unknown")
        return [found]

    def _end(self, over: RunningOver, cells: int, edge: Literal["hiss", "closed"]) -> list[FoundOver]:
        levels = self._cells.window(cells).mean(axis=0)
        # Noise shows its level loosely in one cell: the over may have ended before the match was certain.
        while cells < min(len(self._cells), len(over.uppers_db)) and self._cells.loosely_match(
            levels, cells + 1
        ):
            cells += 1
        found = self._found(over, self._n - cells, edge)
        if edge == "hiss":
            self._hiss_db = levels if self._hiss_db is None else self._hiss_db
        else:
            self._closed_db = levels
        self._over = None
        self._rest(levels, self._n - cells, edge)
        if (
            edge == "closed"
            and over.fallen_db is not None
            and found.end_cell <= over.fallen_cell + EDGE_CELLS
        ):
            before = self._release()
            self._held = HeldOver(found, over.fallen_db)
            return before
        if edge == "hiss" and only_turned(over, found.end_cell):
            return []
        return [found] if found.end_cell > found.start_cell + 1 else []

    def _found(self, over: RunningOver, end_cell: int, end_edge: Edge) -> FoundOver:
        heard_after = self._n - end_cell
        if over.idle is None:
            return FoundOver(over.start_cell, end_cell, "none", end_edge)
        same_floor = (
            not over.dropped
            and over.idle.kind == "unknown"
            and upper_db(over.idle.levels_db) > SILENT_DB
            and over.floor_db(heard_after) < upper_db(over.idle.levels_db) + FLOOR_STEP_DB
        )
        if same_floor:
            # The noise before the speech was the carrier's own: the over began before it was heard. Nothing
            # at all tells no carrier from none.
            return FoundOver(over.idle.start_cell, end_cell, "none", end_edge)
        start_edge: Edge = "hiss" if over.dropped else "closed"
        return FoundOver(over.start_cell, end_cell, start_edge, end_edge, over.idle.start_cell)

    def _rest(
        self, levels_db: NDArray[np.float64], start_cell: int, kind: Literal["hiss", "closed", "unknown"]
    ) -> None:
        self._idle = Idle(levels_db.copy(), start_cell, kind)
        self._pending.clear()
        self._noisy_cells = 0
