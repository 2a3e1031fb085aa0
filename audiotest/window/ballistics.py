"""How the needles move: a volume indicator, and a peak that holds and falls."""

import math

import numpy as np
from numpy.typing import NDArray

from audiotest.units import amplitude_db

# IEC 60268-17 (from memory): a tone that begins suddenly reads 99 % of its steady value after 300 ms and
# swings over by 1 to 1.5 %. A second-order system with this damping swings over by exp(-pi z / sqrt(1 - z^2))
# = 1.25 %; its angular frequency is the one that passes 99 % after 300 ms.
DAMPING = 0.8127
ANGULAR = 13.51
BLOCK_N = 1024
SINE_RMS_OVER_MEAN = math.pi / (2.0 * math.sqrt(2.0))

HOLD_S = 2.0
FALL_DB_PER_S = 12.0
FLOOR_DB = -90.0


class VolumeIndicator:
    """Mean of the rectified audio with the motion of a volume indicator, read as the RMS of a sine.

    Parameters
    ----------
    rate_hz : int
        Sample rate.
    """

    def __init__(self, rate_hz: int) -> None:
        # The needle's place and speed at the samples, from the equation of its motion by the bilinear
        # transform: x' = step x + gain u. Only where it stands after a block is asked for, so that what each
        # of a block's samples has done to it by then is worked out once. SciPy's filters, to which a test
        # holds it, would hold up the first picture for half a second while they are loaded.
        motion = np.array([[0.0, 1.0], [-(ANGULAR**2), -2.0 * DAMPING * ANGULAR]]) / (2.0 * rate_hz)
        ahead = np.linalg.inv(np.eye(2) - motion)
        step = ahead @ (np.eye(2) + motion)
        gain = ahead @ np.array([0.0, ANGULAR**2 / rate_hz])
        self._steps, self._done = [np.eye(2)], np.zeros((2, BLOCK_N))
        for place in range(BLOCK_N - 1, -1, -1):
            self._done[:, place] = self._steps[-1] @ gain
            self._steps.append(step @ self._steps[-1])
        self._state = np.zeros(2)

    def push(self, samples: NDArray[np.floating]) -> None:
        """Take the next samples, shape (n,), full scale 1.0."""
        for first in range(0, len(samples), BLOCK_N):
            block = np.abs(samples[first : first + BLOCK_N]).astype(np.float64)
            count = len(block)
            self._state = self._steps[count] @ self._state + self._done[:, BLOCK_N - count :] @ block

    @property
    def level_dbfs(self) -> float | None:
        """Reading in dBFS, -3.01 on a full-scale sine; None on digital silence."""
        level = amplitude_db(float(self._state[0]) * SINE_RMS_OVER_MEAN)
        return None if level is None or level < FLOOR_DB - 30.0 else level


class PeakHold:
    """A peak that stands for two seconds and then falls; time is the stream's own."""

    def __init__(self, hold_s: float = HOLD_S, fall_db_per_s: float = FALL_DB_PER_S) -> None:
        self._hold_s = hold_s
        self._fall_db_per_s = fall_db_per_s
        self._peak_db: float | None = None
        self._at_s = 0.0

    def update(self, level_db: float | None, time_s: float) -> float | None:
        """Show a level at a time; the peak in dB, None when it has fallen out of sight."""
        shown = self.value(time_s)
        if level_db is not None and (shown is None or level_db >= shown):
            self._peak_db, self._at_s = level_db, time_s
            return level_db
        return shown

    def value(self, time_s: float) -> float | None:
        """The peak as it stands at a time."""
        if self._peak_db is None:
            return None
        fallen = max(time_s - self._at_s - self._hold_s, 0.0) * self._fall_db_per_s
        shown = self._peak_db - fallen
        return shown if shown > FLOOR_DB else None

    def clear(self) -> None:
        """Forget the peak."""
        self._peak_db = None
