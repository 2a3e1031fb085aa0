"""Level of a recording and the sound card's own overload."""

from collections import Counter

import numpy as np
from numpy.typing import NDArray

from audiotest.units import amplitude_db

SHORTEST_RUN_N = 3
LEAST_EXTREME_FS = 0.1
"""A recording that never passes -20 dBFS overloads nothing."""
BEYOND_FS = 2.0
"""Lossy coding overshoots full scale a little; this far above, the samples are in some other scale."""
WINDOW_N = 256
PIECE_N = 1 << 18
SMOOTH_DROP_STEPS = 20.0
COARSEST_STEP = 1.0 / 32.0
"""Step below the extreme as a share of it, at most: that of 8-bit µ-law (ITU-T G.711)."""


def peak_dbfs(samples: NDArray[np.floating]) -> float | None:
    """Largest magnitude of `samples`, shape (n,), in dB re full scale 1.0; None when empty or silent.

    >>> round(peak_dbfs(np.array([0.1, -0.5])), 3)
    -6.021
    """
    return amplitude_db(float(np.max(np.abs(samples)))) if len(samples) else None


def rms_dbfs(samples: NDArray[np.floating]) -> float | None:
    """RMS of `samples`, shape (n,), in dB re full scale 1.0; None when empty or silent.

    >>> sine = np.sin(2 * np.pi * np.arange(48) / 48)
    >>> round(rms_dbfs(sine), 2)
    -3.01
    """
    if len(samples) == 0:
        return None
    return amplitude_db(float(np.sqrt(np.mean(np.square(samples, dtype=np.float64)))))


def dc_percent_fs(samples: NDArray[np.floating]) -> float | None:
    """Mean of `samples`, shape (n,), in percent of full scale; None when empty or silent.

    >>> dc_percent_fs(np.array([0.25, 0.75]))
    50.0
    """
    if len(samples) == 0 or not np.any(samples):
        return None
    return 100.0 * float(np.mean(samples, dtype=np.float64))


class _Side:
    """One polarity: the extreme so far, and how far the wave climbed into each run at it."""

    def __init__(self) -> None:
        self._extreme = 0.0
        self._second = 0.0
        self._before = np.zeros(0)
        self._open_n = 0
        self._drops: Counter[float] = Counter()

    def push(self, samples: NDArray[np.float64]) -> None:
        """Take the next samples; a new extreme makes all earlier runs irrelevant."""
        top = float(np.max(samples))
        if top < self._extreme and not self._open_n:
            self._second = max(self._second, top)
            self._before = np.concatenate([self._before, samples[-WINDOW_N:]])[-WINDOW_N:]
            return
        if top > self._extreme:
            self._second, self._extreme = self._extreme, top
            self._before = np.append(self._before, np.full(min(self._open_n, WINDOW_N), self._second))
            self._open_n = 0
            self._drops.clear()
        hit = samples == self._extreme
        self._second = max(self._second, float(np.max(samples[~hit], initial=0.0)))
        self._find_runs(samples, hit)

    def _find_runs(self, samples: NDArray[np.float64], hit: NDArray[np.bool_]) -> None:
        """Enter the runs ending in `samples`; keep what precedes the run still open, or the last samples."""
        if self._open_n and hit.all():
            self._open_n += len(samples)
            return
        edges = np.flatnonzero(np.diff(np.concatenate([[False], hit, [False]]).astype(np.int8)))
        starts, ends = edges[::2], edges[1::2]
        if self._open_n:
            first_n = int(ends[0]) if len(starts) and starts[0] == 0 else 0
            self._enter(self._before, self._open_n + first_n)
            if first_n:
                starts, ends = starts[1:], ends[1:]
        running = np.full(min(self._open_n, WINDOW_N), self._extreme)
        joined = np.concatenate([self._before[-WINDOW_N:], running, samples])
        shift = len(joined) - len(samples)
        still_open = len(ends) > 0 and ends[-1] == len(samples)
        self._open_n = int(ends[-1] - starts[-1]) if still_open else 0
        last = shift + int(starts[-1]) if still_open else len(joined)
        self._before = joined[max(0, last - WINDOW_N) : last].copy()
        done = len(ends) - 1 if still_open else len(ends)
        self._enter_all(joined, shift + starts[:done], (ends - starts)[:done])

    def _enter_all(
        self, joined: NDArray[np.float64], starts: NDArray[np.intp], lengths: NDArray[np.intp]
    ) -> None:
        whole = (lengths >= SHORTEST_RUN_N) & (starts > 0)
        starts, lengths = starts[whole], lengths[whole]
        if len(starts) == 0:
            return
        from_n = np.maximum(starts - np.minimum(lengths, WINDOW_N), 0)
        lowest = np.minimum.reduceat(joined, np.column_stack([from_n, starts]).ravel())[::2]
        self._drops.update((self._extreme - lowest).tolist())

    def _drop(self, before: NDArray[np.float64], run_n: int) -> float:
        near = before[-min(run_n, WINDOW_N) :]
        return self._extreme - float(np.min(near)) if run_n >= SHORTEST_RUN_N and len(near) else 0.0

    def _enter(self, before: NDArray[np.float64], run_n: int) -> None:
        drop = self._drop(before, run_n)
        if drop > 0.0:
            self._drops[drop] += 1

    @property
    def runs(self) -> int:
        if self._extreme < LEAST_EXTREME_FS:
            return 0
        step = min(self._extreme - self._second, COARSEST_STEP * self._extreme)
        limit = SMOOTH_DROP_STEPS * step
        count = sum(times for drop, times in self._drops.items() if drop > limit)
        return count + int(self._drop(self._before, self._open_n) > limit)


class OverloadCounter:
    """Counts the sound card's overload: runs of three or more equal samples at the extreme code.

    Each polarity is judged by itself. A crest that merely fits into one step of a coarse quantiser is no
    overload: near its top a smooth wave is a parabola, so if it stays within one step for a run of samples,
    it was at most 9 steps lower one run length earlier (16 for the shortest run, where sampling is coarse).
    A run that the wave climbed into from further down was cut off. The step is the distance from the extreme
    to the highest value below it that occurs anywhere in the stream.

    The result does not depend on how the stream is cut into pieces. Extremes below -20 dBFS do not count.
    """

    def __init__(self) -> None:
        self._sides = (_Side(), _Side())

    def push(self, samples: NDArray[np.floating]) -> None:
        """Take the next samples of the stream, shape (n,), full scale 1.0."""
        wide = np.asarray(samples, dtype=np.float64)
        if len(wide):
            self._sides[0].push(wide)
            self._sides[1].push(-wide)

    @property
    def runs(self) -> int:
        """Runs so far, one in progress included."""
        return self._sides[0].runs + self._sides[1].runs


def overload_runs(samples: NDArray[np.floating]) -> int:
    """Count the overload runs in `samples`, shape (n,), full scale 1.0; see `OverloadCounter`.

    >>> wave = 1.2 * np.sin(2 * np.pi * np.arange(480) / 48 + 0.1)
    >>> overload_runs(np.clip(wave, -1.0, 1.0)), overload_runs(wave / 1.2)
    (20, 0)
    """
    counter = OverloadCounter()
    for at in range(0, len(samples), PIECE_N):
        counter.push(samples[at : at + PIECE_N])
    return counter.runs
