"""The last cells of a stream, 40 ms each, and what they sound like: silence, steady noise, a known noise."""

import numpy as np
from numpy.typing import NDArray

CELL_HOPS = 4
CELL_S = 0.04
WINDOW_CELLS = 5
"""Judgements rest on 200 ms: long enough for noise to show its level within 1 dB per band."""
HISTORY_CELLS = 40

LEAST_FLATNESS_DB = -3.2
MATCH_RMS_DB = 1.3
MATCH_MAX_DB = 2.8
CELL_MATCH_RMS_DB = 2.4
CELL_MATCH_MAX_DB = 6.0
UPPER_MATCH_DB = CELL_MATCH_RMS_DB * 3.0**0.5
"""Two of six bands that miss by more than this on average miss the RMS over all six by themselves."""
LOOSE_MATCH_RMS_DB = 3.2
SHAPE_RMS_DB = 1.5
SILENT_DB = -118.0
NOISY_BANDS = slice(0, 5)
"""300-2800 Hz, where noise has to be noise: a steep audio filter may end at 3 kHz, and looks like a line."""
UPPER_BANDS = slice(3, 5)
"""1600-2800 Hz: inside every receiver's audio, and where quieting shows best."""
AUDIO_BANDS = slice(0, 6)
"""300-3400 Hz, where voiced sounds show as lines. Above there may be nothing but the sound card's noise, or
the splatter of hiss that overloads it, which comes and goes."""


def upper_db(levels_db: NDArray[np.float64]) -> float:
    """Mean level of the upper bands, where quieting shows best; `levels_db` has shape (n_bands,)."""
    part = levels_db[UPPER_BANDS]
    return float(np.add.reduce(part)) / len(part)


def _median(values: NDArray[np.float64]) -> float:
    ranked = sorted(values.tolist())
    half = len(ranked) // 2
    return float(ranked[half] if len(ranked) % 2 else (ranked[half - 1] + ranked[half]) / 2.0)


class RecentCells:
    """The band levels of the last 1.6 s in cells of 40 ms; every question is about the last ones."""

    def __init__(self) -> None:
        self.levels_db: list[NDArray[np.float64]] = []
        self._flat: list[float] = []
        self._spread: list[NDArray[np.float64]] = []
        self._last_upper = 0.0

    def __len__(self) -> int:
        return len(self.levels_db)

    def push(self, levels_db: NDArray[np.float64], flatness_db: NDArray[np.float64]) -> None:
        """Take one cell: levels and flatness of its `CELL_HOPS` frames, shape (CELL_HOPS, n_bands)."""
        levels_db = levels_db[:, AUDIO_BANDS]
        mean = np.add.reduce(levels_db) / len(levels_db)
        self.levels_db.append(mean)
        self._spread.append(np.sqrt(np.add.reduce((levels_db - mean) ** 2) / len(levels_db)))
        self._flat.append(float(np.mean(flatness_db[:, NOISY_BANDS])))
        self._last_upper = upper_db(mean)
        if len(self.levels_db) > HISTORY_CELLS:
            del self.levels_db[0], self._spread[0], self._flat[0]

    def window(self, cells: int = WINDOW_CELLS) -> NDArray[np.float64]:
        """Levels of the last cells, shape (cells, n_bands)."""
        return np.array(self.levels_db[-cells:])

    def silent(self, cells: int = WINDOW_CELLS) -> bool:
        """Whether the last cells hold nothing at all."""
        if self._last_upper >= SILENT_DB or len(self.levels_db) < cells:
            return False
        return bool(np.all(self.window(cells) < SILENT_DB))

    def steady_noise(self, cells: int = WINDOW_CELLS) -> bool:
        """Whether the last cells are one steady noise: no line, no trend, no burst."""
        if len(self.levels_db) < cells:
            return False
        # The cheapest question first: nearly all of a voice fails it.
        if sum(self._flat[-cells:]) / cells <= LEAST_FLATNESS_DB:
            return False
        if _median(np.add.reduce(self._spread[-cells:]) / cells) >= 1.7:
            return False
        window = self.window(cells)
        half = cells // 2
        trend = np.abs(window[:half].mean(axis=0) - window[-half:].mean(axis=0))
        return _median(trend) < 1.9 and float(np.max(trend)) < 4.5 and _median(window.std(axis=0)) < 1.3

    def match(self, reference_db: NDArray[np.float64] | None, cells: int = WINDOW_CELLS) -> bool:
        """Whether the last cells all sound like a known noise, shape (n_bands,); never like None."""
        if reference_db is None or len(self.levels_db) < cells:
            return False
        # A cell that misses the upper bands by this much misses all six by more than is allowed.
        if self._last_upper >= SILENT_DB and abs(self._last_upper - upper_db(reference_db)) > UPPER_MATCH_DB:
            return False
        window = self.window(cells)
        away = np.abs(window.mean(axis=0) - reference_db)
        each = np.sqrt(np.mean((window - reference_db) ** 2, axis=1))
        both_silent = self.silent(cells) and bool(np.all(reference_db < SILENT_DB))
        return both_silent or (
            float(np.sqrt(np.mean(away**2))) < MATCH_RMS_DB
            and float(np.max(away)) < MATCH_MAX_DB
            and float(np.max(each)) < CELL_MATCH_RMS_DB
        )

    def shift_db(self, reference_db: NDArray[np.float64], cells: int = WINDOW_CELLS) -> float | None:
        """How far the last cells lie above a noise, shape (n_bands,), if they are it at another volume."""
        if len(self.levels_db) < cells:
            return None
        away = self.window(cells).mean(axis=0) - reference_db
        shift = float(np.mean(away))
        return shift if float(np.sqrt(np.mean((away - shift) ** 2))) < SHAPE_RMS_DB else None

    def loosely_match(self, reference_db: NDArray[np.float64], cells_back: int) -> bool:
        """Whether one cell, the last at 1, may well be a known noise, shape (n_bands,)."""
        away = self.levels_db[-cells_back] - reference_db
        return float(np.sqrt(np.mean(away**2))) < LOOSE_MATCH_RMS_DB

    def last_matches(self, reference_db: NDArray[np.float64]) -> bool:
        """Whether the last cell by itself is a known noise, shape (n_bands,)."""
        away = np.abs(self.levels_db[-1] - reference_db)
        return (
            float(np.sqrt(np.mean(away**2))) < CELL_MATCH_RMS_DB and float(np.max(away)) < CELL_MATCH_MAX_DB
        )
