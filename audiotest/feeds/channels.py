"""Which channel of a running stereo input to listen to, when only one of them has a receiver on it."""

import numpy as np
from numpy.typing import NDArray

SIGNAL_DBFS = -60.0
"""Well above the noise of any sound card, well below a receiver at a usable level."""
AHEAD_DB = 12.0
SETTLE_S = 0.2


class ChannelChooser:
    """Listens to all channels until one has a signal, and stays with that one.

    A channel has a signal when its level without DC, averaged over about 0.2 s, is above -60 dBFS. The
    first channel is taken unless another is 12 dB ahead: a cross-talking neighbour is not a signal.
    """

    def __init__(self, sample_rate_hz: int) -> None:
        self.notes: tuple[str, ...] = ()
        self._rate = sample_rate_hz
        self._square: NDArray[np.float64] | None = None
        self._heard_n = 0
        self._column: int | None = None

    def choose(self, frames: NDArray[np.float32]) -> int:
        """Column to take from `frames`, shape (n, channels)."""
        if self._column is not None:
            return self._column
        if len(frames) < 2:
            return 0
        square = np.var(frames.astype(np.float64), axis=0)
        share = min(1.0, len(frames) / (SETTLE_S * self._rate))
        self._square = share * square + (1.0 - share) * (0.0 if self._square is None else self._square)
        self._heard_n += len(frames)
        loudest = int(np.argmax(self._square))
        if self._heard_n < SETTLE_S * self._rate or self._square[loudest] < 10.0 ** (SIGNAL_DBFS / 10.0):
            return 0
        ahead = self._square[loudest] > self._square[0] * 10.0 ** (AHEAD_DB / 10.0)
        self._column = loudest if ahead else 0
        self.notes = (f"channel {self._column + 1} of {frames.shape[1]} taken: the first with a signal",)
        return self._column
