"""When somebody speaks inside an over."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import binary_closing, binary_opening

FRAME_S = 0.02
ACTIVE_RANGE_DB = 25.0
"""A frame is active within this range of the 98th percentile of frame levels."""
OVER_NOISE_DB = 6.0


@dataclass(frozen=True, slots=True)
class Activity:
    """Speech activity of an over in 20 ms frames.

    ``active`` has shape (n_frames,); ``start_n`` and ``end_n`` bound the speech in samples, None without.
    """

    frame_n: int
    active: NDArray[np.bool_]
    start_n: int | None
    end_n: int | None

    @property
    def active_s(self) -> float:
        """Seconds of active speech."""
        return float(np.sum(self.active)) * FRAME_S

    def select(self, samples: NDArray[np.floating]) -> NDArray[np.floating]:
        """The active frames of `samples`, joined."""
        frames = samples[: len(self.active) * self.frame_n].reshape(-1, self.frame_n)
        return frames[self.active[: len(frames)]].ravel()


def frame_rms(samples: NDArray[np.floating], frame_n: int) -> NDArray[np.float64]:
    """RMS of consecutive frames of `frame_n` samples, shape (n // frame_n,)."""
    count = len(samples) // frame_n
    frames = np.asarray(samples[: count * frame_n], dtype=np.float64).reshape(count, frame_n)
    return np.asarray(np.sqrt(np.mean(frames**2, axis=1)))


def find_activity(
    samples: NDArray[np.floating], sample_rate_hz: int, *, noise_rms_fs: float | None = None
) -> Activity:
    """Active frames of the discriminator's view of an over.

    Parameters
    ----------
    samples : ndarray, shape (n,)
        De-emphasis undone, sub-audible tone removed.
    sample_rate_hz : int
        Sample rate in Hz.
    noise_rms_fs : float or None
        Noise of the bare carrier in the same view, where it was heard.

    Returns
    -------
    Activity
        Frames of 20 ms within 25 dB of the 98th percentile and at least 6 dB over the noise. Lone frames
        are dropped; start and end need 60 ms of speech in a row.
    """
    frame_n = round(sample_rate_hz * FRAME_S)
    rms = frame_rms(samples, frame_n)
    if len(rms) == 0:
        return Activity(frame_n, np.zeros(0, dtype=bool), None, None)
    noise = float(noise_rms_fs) if noise_rms_fs is not None else 0.0
    top = float(np.percentile(rms, 98))
    threshold = max(top * 10 ** (-ACTIVE_RANGE_DB / 20), noise * 10 ** (OVER_NOISE_DB / 20))
    active = rms >= threshold if top > max(2.2 * noise, 1e-7) else np.zeros(len(rms), dtype=bool)
    solid = binary_opening(binary_closing(np.pad(active, 2), np.ones(3))[2:-2], np.ones(3))
    where = np.flatnonzero(solid)
    if len(where) == 0:
        return Activity(frame_n, np.zeros(len(rms), dtype=bool), None, None)
    start, end = int(where[0]), int(where[-1]) + 1
    inside = np.zeros(len(rms), dtype=bool)
    inside[start:end] = True
    return Activity(frame_n, active & inside, start * frame_n, end * frame_n)
