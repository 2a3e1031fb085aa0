"""How hard speech drives a limiter that can no longer be seen: the censored frame-peak model.

Definition of the drive: 20·log10 of the 99.9th percentile of the limiter's input over active speech,
relative to the limiter's threshold. Other trades state clipping against other peaks; their figures
differ from this one by several decibels.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import minimize
from scipy.special import log_ndtr, ndtr

FRAME_S = 0.04
FLOOR_DB = -20.0
MIN_ACTIVE_S = 1.5
LOCAL_BIAS_DB = 0.4
INTERVAL_DB = 6.0
CEILING_DB = 25.0
REACHED_AT_DB = 0.0


@dataclass(frozen=True, slots=True)
class Drive:
    """Drive into the limiter with bounds that hold about nine times in ten, and the clipped share."""

    drive_db: float
    low_db: float
    high_db: float
    clipped_fraction: float

    @property
    def reached(self) -> bool:
        """Whether the limiter is believed to act."""
        return self.drive_db > REACHED_AT_DB


def frame_peaks_db(active: NDArray[np.floating], sample_rate_hz: int) -> NDArray[np.float64]:
    """Peak of each 40 ms of active speech in dB relative to their 97th percentile, the weakest left out."""
    frame_n = round(sample_rate_hz * FRAME_S)
    count = len(active) // frame_n
    peaks = np.max(np.abs(np.asarray(active[: count * frame_n]).reshape(count, frame_n)), axis=1)
    levels = 20.0 * np.log10(np.maximum(peaks, 1e-9))
    relative = levels - np.percentile(levels, 97)
    return np.asarray(relative[relative > FLOOR_DB])


def _log_likelihood(y: NDArray[np.float64], mean: float, spread: float, blur: float, top: float) -> float:
    total = spread**2 + blur**2
    centre = (mean * blur**2 + y * spread**2) / total
    width = spread * blur / np.sqrt(total)
    free = (
        np.exp(-((y - mean) ** 2) / (2 * total)) / np.sqrt(2 * np.pi * total) * ndtr((top - centre) / width)
    )
    held = (
        np.exp(-((y - top) ** 2) / (2 * blur**2) + log_ndtr((mean - top) / spread))
        / np.sqrt(2 * np.pi)
        / blur
    )
    seen = max(1.0 - ndtr((FLOOR_DB - mean) / np.sqrt(total)), 1e-6)
    return float(np.sum(np.log(free + held + 1e-12)) - len(y) * np.log(seen))


def _cost(parameters: NDArray[np.float64], y: NDArray[np.float64]) -> float:
    mean, log_spread, log_blur, top = parameters
    prior = (
        ((log_spread - np.log(7.0)) / 0.15) ** 2 / 2
        + ((log_blur - np.log(0.8)) / 0.35) ** 2 / 2
        + 3.0 * ((mean + 9.0) / 6.0) ** 2 / 2
    )
    return float(prior) - _log_likelihood(y, mean, np.exp(log_spread), np.exp(log_blur), top)


def estimate_drive(active: NDArray[np.floating], sample_rate_hz: int) -> Drive | None:
    """Limiter drive from active speech at the discriminator.

    Parameters
    ----------
    active : ndarray, shape (n,)
        Active speech, de-emphasis undone, sub-audible tone removed, any linear unit.
    sample_rate_hz : int
        Sample rate in Hz.

    Returns
    -------
    Drive or None
        None for less than 1.5 s of active speech.

    Notes
    -----
    Frame peaks in dB are taken as a normal distribution that the limiter censors at T and that overshoot
    and noise blur by a second normal distribution (Tobin 1958, Econometrica 26, 24-36, for the censored
    model). Its parameters are found by maximum a posteriori with weak priors; the drive is two standard
    deviations above the mean of the uncensored peaks, relative to T.
    """
    if len(active) < MIN_ACTIVE_S * sample_rate_hz:
        return None
    y = frame_peaks_db(active, sample_rate_hz)
    if len(y) < 20:
        return None
    fits = [
        minimize(
            _cost, np.array([-9.0, np.log(7.0), np.log(0.8), top]), args=(y,), method="Nelder-Mead",
            options={"maxiter": 250, "xatol": 0.02, "fatol": 0.02},
        )
        for top in (-1.0, 1.0, 5.0)
    ]  # fmt: skip
    mean, log_spread, _, top = min(fits, key=lambda fit: float(fit.fun)).x
    spread = float(np.exp(log_spread))
    drive = float(np.clip(mean + 2.0 * spread - top - LOCAL_BIAS_DB, -CEILING_DB, CEILING_DB))
    # Within a frame the waveform passes the threshold for part of the time only; a third is typical.
    clipped = float(np.clip(0.33 * ndtr((mean - top) / spread) * 2.0, 0.0, 1.0)) if drive > 0 else 0.0
    return Drive(drive, drive - INTERVAL_DB, drive + INTERVAL_DB, clipped)
