"""Level of a recording and the sound card's own overload."""

import numpy as np
from numpy.typing import NDArray

from audiotest.units import amplitude_db

SHORTEST_RUN_N = 3
LEAST_EXTREME_FS = 0.1
"""A recording that never passes -20 dBFS overloads nothing."""
WINDOW_N = 256
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
    """One polarity: the extreme so far, and how far the wave had climbed before each run at it."""

    def __init__(self) -> None:
        self._extreme = 0.0
        self._second = 0.0
        self._before = np.zeros(0)
        self._open_n = 0
        self._drops: list[float] = []
        self._sure = 0
        self._sure_at = np.inf

    def push(self, samples: NDArray[np.float64]) -> None:
        """Take the next samples; anything above the extreme so far makes earlier runs irrelevant."""
        top = float(np.max(samples))
        if top > self._extreme:
            self._second = max(self._second, self._extreme)
            self._extreme = top
            self._before = np.concatenate([self._before, np.full(self._open_n, self._second)])[-WINDOW_N:]
            self._open_n = 0
            self._drops, self._sure, self._sure_at = [], 0, np.inf
        hit = samples == self._extreme
        if not hit.all():
            self._second = max(self._second, float(np.max(samples, where=~hit, initial=0.0)))
        self._runs(samples, hit)

    def _runs(self, samples: NDArray[np.float64], hit: NDArray[np.bool_]) -> None:
        running = np.full(min(self._open_n, WINDOW_N), self._extreme)
        joined = np.concatenate([self._before, running, samples])
        known_n = len(joined) - len(samples)
        turns = np.flatnonzero(np.diff(np.concatenate([[self._open_n > 0], hit]).astype(np.int8)))
        # Positions in `samples`; the first turn ends a run that an earlier block began.
        starts = turns[1::2] if self._open_n else turns[::2]
        ends = turns[::2] if self._open_n else turns[1::2]
        if self._open_n:
            if len(ends) == 0:
                self._open_n += len(samples)
                return
            self._close(self._before, self._open_n + int(ends[0]))
            ends = ends[1:]
        for start, end in zip(starts, ends, strict=False):
            if end - start >= SHORTEST_RUN_N:
                self._close(joined[max(0, known_n + start - WINDOW_N) : known_n + start], int(end - start))
        self._open_n = len(samples) - int(starts[-1]) if len(starts) > len(ends) else 0
        cut = known_n + int(starts[-1]) if self._open_n else len(joined)
        self._before = joined[max(0, cut - WINDOW_N) : cut].copy()

    def _drop(self, before: NDArray[np.float64], run_n: int) -> float:
        near = before[-run_n:]
        return self._extreme - float(np.min(near)) if run_n >= SHORTEST_RUN_N and len(near) else 0.0

    def _close(self, before: NDArray[np.float64], run_n: int) -> None:
        drop = self._drop(before, run_n)
        if drop <= 0.0:
            return
        if drop > self._smooth_drop:
            self._sure += 1
        else:
            self._drops.append(drop)

    @property
    def _smooth_drop(self) -> float:
        step = min(self._extreme - self._second, COARSEST_STEP * self._extreme)
        return SMOOTH_DROP_STEPS * step

    @property
    def runs(self) -> int:
        if self._extreme < LEAST_EXTREME_FS:
            return 0
        limit = self._smooth_drop
        if limit < self._sure_at:
            # The step is now known better: runs that looked like smooth crests may not be.
            kept = [drop for drop in self._drops if drop <= limit]
            self._sure += len(self._drops) - len(kept)
            self._drops, self._sure_at = kept, limit
        return self._sure + int(self._drop(self._before, self._open_n) > limit)


class OverloadCounter:
    """Counts runs of three or more equal samples at the extreme code, each polarity on its own.

    A smooth crest can rest on one code too: a slow or coarsely quantised wave does. Its crest is a parabola,
    though: if it stays within one code q for m samples, the next sample lies at most q(1+2/m)² below, and
    rounding adds one q. An overload is cut off: the wave comes in steeper than that. A run counts when the
    step into or out of it is steeper; q is the smallest step seen in the whole stream. The result does not
    depend on how the stream is cut into pieces, and memory does not grow.
    """

    def __init__(self) -> None:
        self._extreme = [LOWEST_EXTREME_FS, LOWEST_EXTREME_FS]
        self._steepness = [np.zeros(STEEPNESS_BINS, dtype=np.int64) for _ in range(2)]
        self._code_fs = 1.0
        self._held = np.zeros(0)

    def push(self, samples: NDArray[np.floating]) -> None:
        """Take the next samples, shape (n,)."""
        whole = np.concatenate([self._held, np.asarray(samples, dtype=np.float64)])
        if not len(whole):
            return
        steps = np.abs(np.diff(whole))
        steps = steps[steps > SMALLEST_CODE_FS]
        if len(steps):
            self._code_fs = min(self._code_fs, float(np.min(steps)))
        # The last run may go on in the next piece: it stays, with the one sample before it.
        different = np.flatnonzero(whole != whole[-1])
        last = int(different[-1]) + 1 if len(different) else 0
        for side in range(2):
            self._extreme[side] = self._tally(side, whole[: last + 1], self._steepness[side])
        self._held = whole[max(last - 1, 0) :]

    @property
    def runs(self) -> int:
        """Runs so far, an unfinished one at the end included."""
        first = _steepness_bin(max(self._code_fs, SMALLEST_CODE_FS)) + 1
        total = 0
        for side in range(2):
            tally = self._steepness[side].copy()
            # A last sample that cannot belong to the run closes an unfinished one.
            self._tally(side, np.append(self._held, 0.0), tally)
            total += int(np.sum(tally[first:]))
        return total

    def _tally(self, side: int, samples: NDArray[np.float64], tally: NDArray[np.int64]) -> float:
        """Enter the steepness of each finished run into `tally`; return the extreme."""
        wave = samples if side == 0 else -samples
        extreme = self._extreme[side]
        top = float(np.max(wave)) if len(wave) else 0.0
        if top > extreme:
            extreme = top
            tally[:] = 0
        at_top = np.concatenate([[False], wave == extreme, [False]])
        edges = np.diff(at_top.astype(np.int8))
        starts, ends = np.flatnonzero(edges == 1), np.flatnonzero(edges == -1)
        whole = (ends - starts >= SHORTEST_RUN) & (ends < len(wave))
        for start, end in zip(starts[whole], ends[whole], strict=True):
            step = extreme - wave[end]
            if start > 0:
                step = max(step, extreme - wave[start - 1])
            tally[_steepness_bin(step / ((1.0 + 2.0 / (end - start)) ** 2 + 1.0) / MARGIN)] += 1
        return extreme


def _steepness_bin(step_fs: float) -> int:
    octaves = np.log2(max(step_fs, SMALLEST_CODE_FS) / SMALLEST_CODE_FS)
    return min(int(4.0 * octaves), STEEPNESS_BINS - 1)


def overload_runs(samples: NDArray[np.floating]) -> int:
    """Runs of three or more equal samples at the extreme of a clip, shape (n,); see `OverloadCounter`.

    >>> t = np.arange(4800) / 48000
    >>> overload_runs(np.sin(2 * np.pi * 440 * t)), overload_runs(np.clip(2 * np.sin(2 * np.pi * 440 * t), -1, 1))
    (0, 88)
    """
    counter = OverloadCounter()
    counter.push(samples)
    return counter.runs
