"""Where FM's threshold makes a peak deviation meaningless: clicks then exceed any swing of the carrier."""

from audiotest.measure.conditions import WEAK_SNR_DB
from audiotest.records import Noise
from audiotest.units import amplitude_db

LEAST_QUIETING_DB = 21.0
"""At 21.5 dB of quieting and above (CNR 10 dB) simulated peaks read 0 to 1.9 dB high; at 19.6 dB and below
(CNR 8 dB) 3 to 8 dB, and where speech is faint 17 to 20 dB."""
PEAK_OVER_HISS_DB = 18.0
HISS_REFERENCE_KHZ = 2.5
"""Speech at this peak deviation and a drive of -3 dB has an active level that far below open-squelch hiss,
give or take voices and IF bandwidths (from the simulated radio)."""


def quieting_by_peak(snr_db: float, peak_khz: float) -> float | None:
    """What the quieting would be in dB, where no hiss was heard: the scale says how loud hiss is.

    >>> quieting_by_peak(12.0, 2.5)
    30.0
    """
    peak_db = amplitude_db(peak_khz / HISS_REFERENCE_KHZ)
    return None if peak_db is None else snr_db + PEAK_OVER_HISS_DB - peak_db


def clicks_hide_peak(noise: Noise, peak_khz: float) -> bool:
    """Whether the peak of noisy speech may be the clicks of a carrier below the threshold, and no swing."""
    if noise.snr_db is None or noise.snr_db >= WEAK_SNR_DB:
        return False
    quieting_db = noise.quieting_db
    if quieting_db is None:
        quieting_db = quieting_by_peak(noise.snr_db, peak_khz)
    return quieting_db is not None and quieting_db < LEAST_QUIETING_DB
