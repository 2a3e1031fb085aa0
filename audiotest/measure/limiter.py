"""How hard speech drives a limiter that can no longer be seen.

Definition of the drive: 20·log10 of the 99.9th percentile of the limiter's input over active speech,
relative to the limiter's threshold. Other trades state clipping against other peaks; their figures
differ from this one by several decibels.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from audiotest.measure.drivefeatures import drive_features
from audiotest.measure.drivemodel import model_figures

MIN_ACTIVE_S = 1.5
MOST_ACTIVE_S = 60
HIGHEST_DB = 26.0
LOWEST_DB = -5.0
"""Below this the model was told nothing: a drive down there reads as "at most this"."""
REACHED_AT_DB = 0.0
INTERVAL_STRETCH = 1.6
"""Makes the model's own interval hold nine times in ten on talkers, filters and limiters it never met:
measured on 72 overs of the accuracy benchmark with a twin of the model that had not heard their talkers."""


@dataclass(frozen=True, slots=True)
class Drive:
    """Drive into the limiter with bounds that hold about nine times in ten, and what else follows from it.

    ``p999_ratio`` and ``peak_ratio`` turn the received 99.9th percentile into the sent one and into the
    sent peak: noise, overshoot and the receiver's filters taken out.
    """

    drive_db: float
    low_db: float
    high_db: float
    clipped_fraction: float
    p999_ratio: float
    peak_ratio: float

    @property
    def reached(self) -> bool:
        """Whether the limiter is believed to act."""
        return self.drive_db > REACHED_AT_DB


def _spread_out(active: NDArray[np.floating], sample_rate_hz: int) -> NDArray[np.floating]:
    """At most a minute of long speech, in seconds taken evenly from all of it."""
    seconds = len(active) // sample_rate_hz
    if seconds <= MOST_ACTIVE_S:
        return active
    chosen = np.linspace(0, seconds - 1, MOST_ACTIVE_S).astype(int)
    return np.asarray(active[: seconds * sample_rate_hz].reshape(seconds, sample_rate_hz)[chosen].ravel())


def estimate_drive(
    active: NDArray[np.floating], sample_rate_hz: int, *, noise_db: float | None = None
) -> Drive | None:
    """Limiter drive from active speech at the discriminator.

    Parameters
    ----------
    active : ndarray, shape (n,)
        Active speech, de-emphasis undone, sub-audible tone removed, any linear unit.
    sample_rate_hz : int
        Sample rate in Hz.
    noise_db : float or None
        Noise of the bare carrier in the same view relative to the speech's RMS, where it was heard.

    Returns
    -------
    Drive or None
        None for less than 1.5 s of active speech.

    Notes
    -----
    A limiter leaves flat tops that filters round and tilt afterwards; how flat, how often and in frames of
    what height is what `drive_features` describes. The relation to the drive is learnt from simulated
    overs of many talkers and filters; `tests/benchmarks/accuracy` measures its errors on talkers never heard
    before.
    """
    if len(active) < MIN_ACTIVE_S * sample_rate_hz or not np.any(active):
        return None
    figures = model_figures(drive_features(_spread_out(active, sample_rate_hz), sample_rate_hz, noise_db))
    drive = float(np.clip(figures.drive_db, LOWEST_DB, HIGHEST_DB))
    low = figures.drive_db - INTERVAL_STRETCH * (figures.drive_db - figures.low_db)
    high = figures.drive_db + INTERVAL_STRETCH * (figures.high_db - figures.drive_db)
    return Drive(
        drive_db=drive,
        low_db=min(low, drive),
        high_db=max(high, drive),
        clipped_fraction=figures.clipped_fraction if drive > REACHED_AT_DB else 0.0,
        p999_ratio=figures.p999_ratio,
        peak_ratio=figures.peak_ratio,
    )
