"""Finds overs from the audio alone: hiss falling to quiet, a squelch opening, or no edge at all.

The finder looks at band levels in cells of 40 ms and knows two things about the time between overs: what
open-squelch hiss sounds like on this feed, and what a closed squelch sounds like. Both are steady noise,
so a stretch counts as "no carrier" only while it is steady, noise-like and like one of the two. A gap in
speech is steady and noise-like too, but it has the carrier's own, different floor.
"""

from dataclasses import dataclass, field
from typing import Literal

import numpy as np
from numpy.typing import NDArray

CELL_HOPS = 4
CELL_S = 0.04
WINDOW_CELLS = 5
"""Judgements rest on 200 ms: long enough for noise to show its level within 1 dB per band."""

LEAST_FLATNESS_DB = -3.2
MATCH_RMS_DB = 1.3
MATCH_MAX_DB = 2.8
CELL_MATCH_RMS_DB = 2.4
CELL_MATCH_MAX_DB = 6.0
UPPER_MATCH_DB = CELL_MATCH_RMS_DB * 3.0**0.5
"""Two of six bands that miss by more than this on average miss the RMS over all six by themselves."""
DROP_DB = 4.0
FLOOR_STEP_DB = 3.0
HISS_STEP_DB = 6.0
HISS_CELLS = 11
"""Hiss not heard before must last 440 ms: longer than a drawn-out sibilant."""
LONG_HISS_CELLS = 20
"""On a squelched feed it would be a squelch tail, and must last 800 ms."""
LEAST_LAST_CELLS = 3
FLOOR_CELLS = 25
"""In a second of speech there is a pause; before that the lowest level need not be the carrier's floor."""
HISTORY_CELLS = 40
LOOSE_MATCH_RMS_DB = 3.2
SETTLE_CELLS = 2
"""A sound card may take this long to settle before the first steady noise."""
SWITCH_ON_CELLS = 12
"""A receiver that is switched on may thump and mute for half a second before its hiss stands."""
ODD_CELLS = 3
EDGE_CELLS = 2
"""An edge may spread over this many cells before the new level shows."""
SILENT_DB = -118.0
UPPER_BANDS = slice(3, 5)
"""1600-2800 Hz: inside every receiver's audio, and where quieting shows best."""

AUDIO_BANDS = slice(0, 6)
"""300-3400 Hz, where voiced sounds show as lines. Above there may be nothing but the sound card's noise, or
the splatter of hiss that overloads it, which comes and goes."""

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
class _Idle:
    levels_db: NDArray[np.float64]
    start_cell: int
    kind: Literal["hiss", "closed", "unknown"]


@dataclass(slots=True)
class _Running:
    start_cell: int
    idle: _Idle | None
    dropped: bool
    uppers_db: list[float]
    last_active_cell: int
    lows_db: list[float] = field(default_factory=list)
    """Lowest pair of neighbours up to each cell from the third on, one entry less two than `uppers_db`."""
    noise_db: NDArray[np.float64] | None = None
    """The steady noise that is all the over has held so far; None before it stands and once it is over."""
    odd: int = 0


def _upper(levels_db: NDArray[np.float64]) -> float:
    part = levels_db[UPPER_BANDS]
    return float(np.add.reduce(part)) / len(part)


def _median(values: NDArray[np.float64]) -> float:
    ranked = sorted(values.tolist())
    half = len(ranked) // 2
    return float(ranked[half] if len(ranked) % 2 else (ranked[half - 1] + ranked[half]) / 2.0)


class OverFinder:
    """Cells in, finished overs out.

    Parameters
    ----------
    pause_ends_over_s : float or None
        On a feed without any carrier edge, a pause in speech of this length ends an over; None never.
    """

    def __init__(self, *, pause_ends_over_s: float | None = None) -> None:
        self._pause_cells = None if pause_ends_over_s is None else round(pause_ends_over_s / CELL_S)
        self._cells: list[NDArray[np.float64]] = []
        self._flat: list[float] = []
        self._spread: list[NDArray[np.float64]] = []
        self._n = 0
        self._last_upper = 0.0
        self._idle: _Idle | None = None
        self._over: _Running | None = None
        self._pending: list[NDArray[np.float64]] = []
        self._hiss_db: NDArray[np.float64] | None = None
        self._closed_db: NDArray[np.float64] | None = None
        self._noisy_cells = 0
        self._ends_in_noise = False

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
        """First cell that a running or coming over may still claim as its start."""
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
        levels_db = levels_db[:, AUDIO_BANDS]
        mean = np.add.reduce(levels_db) / len(levels_db)
        self._cells.append(mean)
        self._spread.append(np.sqrt(np.add.reduce((levels_db - mean) ** 2) / len(levels_db)))
        self._flat.append(float(np.mean(flatness_db[:, AUDIO_BANDS])))
        self._last_upper = _upper(mean)
        if len(self._cells) > HISTORY_CELLS:
            del self._cells[0], self._spread[0], self._flat[0]
        self._n += 1
        if self._over is not None:
            return self._step_over(self._over)
        if self._idle is not None:
            self._step_idle(self._idle)
        else:
            self._step_unknown()
        return []

    def finish(self) -> list[FoundOver]:
        """Close a running over at the end of the stream, or make the whole of it one."""
        over, self._over = self._over, None
        if over is not None:
            self._ends_in_noise = over.noise_db is not None and over.odd == 0
            return [] if self._ends_in_noise else [self._cut_short(over)]
        idle = self._idle
        if idle is not None and idle.kind == "unknown" and idle.start_cell == 0 and self._n > 0:
            if self._pending or _upper(idle.levels_db) > SILENT_DB:
                return [FoundOver(0, self._n, "none", "none")]
            return []
        if self._idle is None and self._n > 0:
            return [FoundOver(0, self._n, "none", "none")]
        if self._pending and self._idle is not None and len(self._pending) >= 2:
            start, idle = self._n - len(self._pending), self._idle
            return [FoundOver(start, self._n, self._edge(idle), "none", idle.start_cell)]
        return []

    def _cut_short(self, over: _Running) -> FoundOver:
        """An over that the stream's end cut short, or that ended too shortly before it to be sure."""
        for known, edge in self._known_idle(over):
            back = 0
            while back < min(len(self._cells), len(over.uppers_db)) and self._loosely(known, back + 1):
                back += 1
            if back >= LEAST_LAST_CELLS and (edge == "hiss" or self._own_floor(over, _upper(known))):
                return self._found(over, self._n - back, edge)
        return self._found(over, self._n, "none")

    def _known_idle(self, over: _Running) -> list[tuple[NDArray[np.float64], Literal["hiss", "closed"]]]:
        known: list[tuple[NDArray[np.float64], Literal["hiss", "closed"]]] = []
        if self._hiss_db is not None:
            known.append((self._hiss_db, "hiss"))
        if over.idle is not None and over.idle.kind != "hiss":
            known.append((over.idle.levels_db, "closed"))
        elif self._closed_db is not None:
            known.append((self._closed_db, "closed"))
        return known

    # -- what the last cells are ----------------------------------------------------------------

    def _window(self, cells: int = WINDOW_CELLS) -> NDArray[np.float64]:
        return np.array(self._cells[-cells:])

    def _silent(self, cells: int = WINDOW_CELLS) -> bool:
        if self._last_upper >= SILENT_DB or len(self._cells) < cells:
            return False
        return bool(np.all(self._window(cells) < SILENT_DB))

    def _steady_noise(self, cells: int = WINDOW_CELLS) -> bool:
        """Whether the last cells are one steady noise: no line, no trend, no burst."""
        if len(self._cells) < cells:
            return False
        # The cheapest question first: nearly all of a voice fails it.
        if sum(self._flat[-cells:]) / cells <= LEAST_FLATNESS_DB:
            return False
        if _median(np.add.reduce(self._spread[-cells:]) / cells) >= 1.7:
            return False
        window = self._window(cells)
        half = cells // 2
        trend = np.abs(window[:half].mean(axis=0) - window[-half:].mean(axis=0))
        return _median(trend) < 1.9 and float(np.max(trend)) < 4.5 and _median(window.std(axis=0)) < 1.3

    def _matches(self, reference_db: NDArray[np.float64] | None, cells: int = WINDOW_CELLS) -> bool:
        if reference_db is None or len(self._cells) < cells:
            return False
        # A cell that misses the upper bands by this much misses all six by more than is allowed.
        if self._last_upper >= SILENT_DB and abs(self._last_upper - _upper(reference_db)) > UPPER_MATCH_DB:
            return False
        window = self._window(cells)
        away = np.abs(window.mean(axis=0) - reference_db)
        each = np.sqrt(np.mean((window - reference_db) ** 2, axis=1))
        both_silent = self._silent(cells) and bool(np.all(reference_db < SILENT_DB))
        return both_silent or (
            float(np.sqrt(np.mean(away**2))) < MATCH_RMS_DB
            and float(np.max(away)) < MATCH_MAX_DB
            and float(np.max(each)) < CELL_MATCH_RMS_DB
        )

    def _loosely(self, reference_db: NDArray[np.float64], cells_back: int) -> bool:
        away = self._cells[-cells_back] - reference_db
        return float(np.sqrt(np.mean(away**2))) < LOOSE_MATCH_RMS_DB

    def _cell_matches(self, reference_db: NDArray[np.float64]) -> bool:
        away = np.abs(self._cells[-1] - reference_db)
        return (
            float(np.sqrt(np.mean(away**2))) < CELL_MATCH_RMS_DB and float(np.max(away)) < CELL_MATCH_MAX_DB
        )

    # -- the three states -------------------------------------------------------------------------

    def _step_unknown(self) -> None:
        if self._silent() or self._steady_noise():
            if self._n <= WINDOW_CELLS + SETTLE_CELLS:
                self._rest(self._window().mean(axis=0), 0, "unknown")
                return
        elif self._n < 2 * WINDOW_CELLS:
            return
        # Something else came before the first steady noise: the recording began inside an over.
        self._over = _Running(0, None, False, [_upper(cell) for cell in self._cells], self._n)

    def _step_idle(self, idle: _Idle) -> None:
        cell = self._cells[-1]
        if self._cell_matches(idle.levels_db) or (self._silent(1) and np.all(idle.levels_db < SILENT_DB)):
            idle.levels_db += 0.05 * (cell - idle.levels_db)
            self._pending.clear()
            return
        self._pending.append(cell)
        if len(self._pending) >= WINDOW_CELLS and self._matches(self._closed_db):
            self._rest(self._window().mean(axis=0), self._n - len(self._pending), "closed")
            return
        if self._silent(2):
            if len(self._pending) >= WINDOW_CELLS:
                self._rest(self._window().mean(axis=0), self._n - len(self._pending), "closed")
            return
        start = self._n - len(self._pending)
        lower = [_upper(c) - _upper(idle.levels_db) < -DROP_DB for c in self._pending]
        if sum(lower) >= 2 and idle.kind != "closed":
            idle.kind = "hiss"
            self._hiss_db = idle.levels_db
            self._begin(start, idle, dropped=True)
        elif len(self._pending) >= 3:
            self._begin(start, idle, dropped=False)

    def _begin(self, start: int, idle: _Idle, *, dropped: bool) -> None:
        self._over = _Running(start, idle, dropped, [_upper(c) for c in self._pending], self._n)
        self._idle = None
        self._noisy_cells = 0
        self._pending.clear()

    def _step_over(self, over: _Running) -> list[FoundOver]:
        upper = _upper(self._cells[-1])
        over.uppers_db.append(upper)
        if len(over.uppers_db) > 6000:
            over.lows_db = self._lows(over)
            del over.uppers_db[:3000], over.lows_db[:3000]
        idle = over.idle
        if idle is not None and not over.dropped and self._was_hiss(over, idle):
            return []
        if idle is not None and not over.dropped and idle.kind == "unknown":
            below = [u < _upper(idle.levels_db) - DROP_DB for u in over.uppers_db[-3:]]
            if all(below) and len(below) == 3 and not self._silent(2):
                idle.kind, over.dropped, self._hiss_db = "hiss", True, idle.levels_db
        floor = self._floor(over, WINDOW_CELLS)
        if upper > floor + 8.0:
            over.last_active_cell = self._n
        if self._silent():
            return self._end(over, WINDOW_CELLS, "closed")
        if self._matches(self._hiss_db):
            return self._end(over, WINDOW_CELLS, "hiss")
        if idle is not None and idle.kind != "hiss" and self._matches(idle.levels_db):
            if self._own_floor(over, _upper(idle.levels_db)):
                return self._end(over, WINDOW_CELLS, "closed")
        elif self._matches(self._closed_db) and self._own_floor(over, _upper(self._window().mean(axis=0))):
            return self._end(over, WINDOW_CELLS, "closed")
        return self._end_by_new_noise(over) or self._end_by_pause(over)

    def _was_hiss(self, over: _Running, idle: _Idle) -> bool:
        """Take back an over that was the hiss of a receiver switched on, and begin another where it drops.

        A carrier's own noise is the lowest that is heard while the carrier is up. If what rose has been one
        steady noise ever since and then falls, to something else than before it rose, it was no carrier's.
        """
        age = len(over.uppers_db)
        if over.noise_db is None:
            if HISS_CELLS <= age <= HISS_CELLS + SWITCH_ON_CELLS and self._steady_noise(HISS_CELLS):
                over.noise_db = self._window(HISS_CELLS).mean(axis=0)
            return False
        if self._cell_matches(over.noise_db):
            over.noise_db += 0.05 * (self._cells[-1] - over.noise_db)
            over.odd = 0
            return False
        over.odd += 1
        if over.odd < ODD_CELLS:
            return False
        lower = all(_upper(cell) < _upper(over.noise_db) - DROP_DB for cell in self._cells[-ODD_CELLS:])
        if lower and not self._silent(2) and not self._loosely(idle.levels_db, 1):
            self._hiss_db = over.noise_db
            self._pending = list(self._cells[-over.odd :])
            self._begin(self._n - over.odd, _Idle(over.noise_db, over.start_cell, "hiss"), dropped=True)
            return True
        if lower or over.odd >= ODD_CELLS + EDGE_CELLS:
            over.noise_db = None
        return False

    def _end_by_new_noise(self, over: _Running) -> list[FoundOver]:
        """Hiss never heard before (the recording began inside an over), or a squelch never seen closed."""
        if not self._steady_noise():
            self._noisy_cells = 0
            return []
        self._noisy_cells += 1
        cells = self._noisy_cells + WINDOW_CELLS - 1
        needed = HISS_CELLS if over.idle is None else LONG_HISS_CELLS
        if cells < needed or not self._steady_noise(needed):
            return []
        level = _upper(self._window(needed).mean(axis=0))
        floor = self._floor(over, needed)
        if self._hiss_db is None and level > floor + HISS_STEP_DB:
            loud = float(np.percentile(over.uppers_db[:-needed] or [level], 90))
            if level > loud - 2.0:
                return self._end(over, needed, "hiss")
        enough = len(over.uppers_db) > 2 * needed
        if not over.dropped and enough and level < floor - HISS_STEP_DB:
            return self._end(over, needed, "closed")
        return []

    def _end_by_pause(self, over: _Running) -> list[FoundOver]:
        if self._pause_cells is None or over.dropped or self._n - over.last_active_cell < self._pause_cells:
            return []
        found = self._found(over, self._n, "none")
        self._over = None
        self._rest(self._window().mean(axis=0), self._n, "unknown")
        return [found]

    def _own_floor(self, over: _Running, idle_upper_db: float) -> bool:
        """Whether the over shows a floor of its own, several cells at one level above the idle noise."""
        waiting = 0
        while waiting < len(over.uppers_db) and over.uppers_db[-waiting - 1] < idle_upper_db + FLOOR_STEP_DB:
            waiting += 1
        # One more cell is left out: the edge may lie inside it.
        waiting += 1
        floor = self._floor(over, waiting)
        at_floor = sum(upper < floor + FLOOR_STEP_DB for upper in over.uppers_db[:-waiting])
        return floor > idle_upper_db + FLOOR_STEP_DB and at_floor >= 4 and len(over.uppers_db) >= FLOOR_CELLS

    def _floor(self, over: _Running, leave_out: int) -> float:
        """Lowest 100 ms of the over so far in the upper bands, the last cells and the first one left out."""
        end = len(over.uppers_db) - leave_out
        return self._lows(over)[end - 3] if end >= 3 else max(over.uppers_db)

    def _lows(self, over: _Running) -> list[float]:
        """The running floor up to now: each cell is looked at once, however long the over."""
        lows, uppers = over.lows_db, over.uppers_db
        for k in range(len(lows) + 2, len(uppers)):
            pair = (uppers[k - 1] + uppers[k]) / 2.0
            lows.append(min(lows[-1], pair) if lows else pair)
        return lows

    def _end(self, over: _Running, cells: int, edge: Literal["hiss", "closed"]) -> list[FoundOver]:
        levels = self._window(cells).mean(axis=0)
        # Noise shows its level loosely in one cell: the over may have ended before the match was certain.
        while cells < min(len(self._cells), len(over.uppers_db)) and self._loosely(levels, cells + 1):
            cells += 1
        found = self._found(over, self._n - cells, edge)
        if edge == "hiss":
            self._hiss_db = levels if self._hiss_db is None else self._hiss_db
        else:
            self._closed_db = levels
        self._over = None
        self._rest(levels, self._n - cells, edge)
        return [found] if found.end_cell > found.start_cell + 1 else []

    def _found(self, over: _Running, end_cell: int, end_edge: Edge) -> FoundOver:
        heard_after = self._n - end_cell
        if over.idle is None:
            return FoundOver(over.start_cell, end_cell, "none", end_edge)
        same_floor = (
            not over.dropped
            and over.idle.kind == "unknown"
            and self._floor(over, heard_after) < _upper(over.idle.levels_db) + FLOOR_STEP_DB
        )
        if same_floor:
            # The noise before the speech was the carrier's own: the over began before it was heard.
            return FoundOver(over.idle.start_cell, end_cell, "none", end_edge)
        start_edge: Edge = "hiss" if over.dropped else "closed"
        return FoundOver(over.start_cell, end_cell, start_edge, end_edge, over.idle.start_cell)

    def _edge(self, idle: _Idle) -> Edge:
        return "none" if idle.kind == "unknown" else idle.kind

    def _rest(
        self, levels_db: NDArray[np.float64], start_cell: int, kind: Literal["hiss", "closed", "unknown"]
    ) -> None:
        self._idle = _Idle(levels_db.copy(), start_cell, kind)
        self._pending.clear()
        self._noisy_cells = 0
