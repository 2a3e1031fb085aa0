"""Level of a recording and the sound card's own overload."""

import numpy as np
from numpy.typing import NDArray

from audiotest.units import amplitude_db

SHORTEST_RUN = 3
LOWEST_EXTREME_FS = 0.05
MARGIN = 1.05
SMALLEST_CODE_FS = 2.0**-24
STEEPNESS_BINS = 101
"""Quarter octaves from the smallest code of a float recording to full scale and beyond."""


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
