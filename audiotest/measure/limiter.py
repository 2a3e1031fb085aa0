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
from audiotest.measure.driveviews import FRAME_S, drive_views

MIN_ACTIVE_S = 1.5
MOST_ACTIVE_S = 40
HIGHEST_DB = 26.0
LOWEST_DB = -5.0
"""Below this the model was told nothing: a drive down there reads as "at most this"."""
REACHED_AT_DB = 0.0
AUTOMATIC_GAIN_ODDS = 0.3
"""Finds six of ten automatic gains in sound cards, and takes 3 in 1000 plain overs for one (test split)."""

HARD_DB = 8.0
PEAKY_DB = 13.5
"""How far the 99.9th percentile stands over the RMS. Of 84 plain overs of the train split's talkers that read
above 8 dB, and were, 94 in 100 stood lower; of 37 that did not reach the limiter one in three."""


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
    automatic_gain: bool
    """Whether the sound card seems to change its gain by itself."""
    crest_db: float = 0.0
    """The received 99.9th percentile over the RMS of active speech."""

    @property
    def conditions(self) -> list[str]:
        """Conditions that show in the speech (`audiotest.measure.conditions`)."""
        found = ["levelling"] if self.automatic_gain else []
        return [*found, "peaky"] if self.drive_db > HARD_DB and self.crest_db > PEAKY_DB else found

    @property
    def reached(self) -> bool:
        """Whether the limiter is believed to act."""
        return self.drive_db > REACHED_AT_DB


def _thinned(active: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """At most `MOST_ACTIVE_S` of long speech, in seconds taken evenly from all of it."""
    where = np.flatnonzero(active)
    second = round(1.0 / FRAME_S)
    seconds = len(where) // second
    if seconds <= MOST_ACTIVE_S:
        return active
    kept = np.zeros(len(active), dtype=bool)
    for k in np.linspace(0, seconds - 1, MOST_ACTIVE_S).astype(int):
        kept[where[k * second : (k + 1) * second]] = True
    return kept


def estimate_drive(
    samples: NDArray[np.floating],
    sample_rate_hz: int,
    active: NDArray[np.bool_],
    *,
    noise_db: float | None = None,
    hiss: NDArray[np.floating] | None = None,
    limited: NDArray[np.floating] | None = None,
) -> Drive | None:
    """Limiter drive from speech at the discriminator.

    Parameters
    ----------
    samples : ndarray, shape (n,)
        The over, de-emphasis undone, sub-audible tone removed, any linear unit.
    sample_rate_hz : int
        Sample rate in Hz.
    active : ndarray of bool, shape (n_frames,)
        20 ms frames that hold speech.
    noise_db : float or None
        Noise of the bare carrier in the same view relative to the speech's RMS, where it was heard.
    hiss : ndarray, shape (m,), or None
        Open-squelch hiss in the same view, where it was heard: it tells the receiver's high-pass.
    limited : ndarray, shape (n,), or None
        The over with the learnt path undone, where one was learnt.

    Returns
    -------
    Drive or None
        None for less than 1.5 s of active speech.

    Notes
    -----
    No source: a limiter leaves flat tops that filters round and tilt afterwards; what height the wave would
    have had is learnt, 20 ms by 20 ms, from simulated overs of many talkers and filters.
    `tests/benchmarks/accuracy` measures the errors on talkers, filters and limiters that had no part in it.
    """
    if np.sum(active) * FRAME_S < MIN_ACTIVE_S or not np.any(samples):
        return None
    views = drive_views(
        samples, sample_rate_hz, _thinned(active), noise_db=noise_db, hiss=hiss, limited=limited
    )
    figures = model_figures(drive_features(views))
    drive = float(np.clip(figures.drive_db, LOWEST_DB, HIGHEST_DB))
    return Drive(
        drive_db=drive,
        low_db=float(min(figures.low_db, drive)),
        high_db=float(max(figures.high_db, drive)),
        clipped_fraction=figures.clipped_fraction if drive > REACHED_AT_DB else 0.0,
        p999_ratio=figures.p999_ratio,
        peak_ratio=figures.peak_ratio,
        crest_db=views.crest_db,
        automatic_gain=figures.odds["soundcard_agc"] > AUTOMATIC_GAIN_ODDS,
    )
