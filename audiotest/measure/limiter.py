"""How hard speech drives a limiter that can no longer be seen.

Definition of the drive: 20·log10 of the 99.9th percentile of the limiter's input over active speech,
relative to the limiter's threshold. Other trades state clipping against other peaks; their figures
differ from this one by several decibels.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from audiotest.measure.drivefeatures import drive_features
from audiotest.measure.drivemodel import ModelFigures, model_figures
from audiotest.measure.driveviews import FRAME_S, drive_views

MIN_ACTIVE_S = 1.5
MOST_ACTIVE_S = 40
HIGHEST_DB = 26.0
LOWEST_DB = -5.0
"""Below this the model was told nothing: a drive down there reads as "at most this"."""
REACHED_AT_DB = 0.0
AUTOMATIC_GAIN_ODDS = 0.3
"""Finds six of ten automatic gains in sound cards, and takes 3 in 1000 plain overs for one (test split)."""

LOWEST_OVER_CEILING_DB = -30.0
"""No talker stays that far under his limiter: 99 of 100 lessons driven by -20 to -9 dB stood above -27 dB."""
HIGHEST_OVER_CEILING_DB = 5.0
"""Filters round and lift a wave that was cut flat, by 4.3 dB at most (99 of 100 quiet lessons)."""
BELIEVED_WITHIN = 1.25
"""Times the interval that the drive has without the ceiling. At 1.0 a ceiling learnt 6 dB too high is
left out of nearly four overs in ten, here of three; but at 1.0 a good one is left out of just the overs
that are read quite wrong without it (test split)."""
LOW_NOISE_DB = -20.0
"""Noise under the speech down there adds nothing to its peaks."""
CEILING_USED = (
    "the drive counts on this set's limiter as learnt: once the volume or the deviation control is turned, "
    "learn the path again, or leave its ceiling out"
)
CEILING_MOVED = (
    "the drive is told without the limiter's ceiling: since it was learnt, the volume or the deviation "
    "control was turned, or was to be; learn the path again"
)
CEILING_VOID = (
    "the drive is told without the limiter's ceiling, which as learnt does not fit this over: if the volume "
    "or the deviation control was turned since, learn the path again"
)

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
    note: str | None = None
    """What became of the limiter's ceiling, where it was learnt."""

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
    ceiling: float | None = None,
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
    ceiling : float or None
        Height of the limiter's flat tops in ``limited``, where it was learnt and is kept. It is not believed
        where the drive would go far out of the interval that it has without.

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
        samples, sample_rate_hz, _thinned(active), noise_db=noise_db, hiss=hiss, limited=limited,
        ceiling=ceiling,
    )  # fmt: skip
    features, over_db = drive_features(views), views.over_ceiling_db
    figures, note = model_figures(features), None
    if over_db is not None:
        told = model_figures(features, over_db)
        if _ceiling_fits(over_db, told, figures, noise_db):
            figures, note = told, CEILING_USED
        else:
            note = CEILING_VOID
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
        note=note,
    )


def _ceiling_fits(over_db: float, told: ModelFigures, untold: ModelFigures, noise_db: float | None) -> bool:
    """Whether the ceiling may be believed: a control turned since it was learnt moves it."""
    quiet = noise_db is not None and noise_db < LOW_NOISE_DB
    impossible = over_db < LOWEST_OVER_CEILING_DB or (quiet and over_db > HIGHEST_OVER_CEILING_DB)
    low_db, high_db = (
        untold.drive_db + BELIEVED_WITHIN * (bound - untold.drive_db)
        for bound in (untold.low_db, untold.high_db)
    )
    return low_db <= told.drive_db <= high_db and not impossible
