"""How strong the carrier is: as the hiss tells, or else as the feed's scale does."""

from audiotest.measure.threshold import quieting_by_peak
from audiotest.records import Over

STRONG_QUIETING_DB = 20.0
"""A carrier that quiets the receiver by this much is what receivers' sensitivity is stated for."""
SPEECH_TO_HISS_SPREAD_DB = 3.0
"""How far voices and IF bandwidths move speech against hiss (from the simulated radio)."""


def strong_carrier(over: Over) -> bool:
    """Whether the carrier quiets the receiver well, so that faint speech is the transmitter's.

    Where no hiss was heard, as behind a closed squelch, the scale tells what the hiss would be: the noise of
    the bare carrier lies ``snr_db`` under speech whose peak deviation is known.
    """
    if over.noise.quieting_db is not None:
        return over.noise.quieting_db >= STRONG_QUIETING_DB
    snr_db, peak_khz = over.noise.snr_db, over.deviation.peak_khz
    if snr_db is None or peak_khz is None or over.kind != "voice":
        return False
    quieting_db = quieting_by_peak(snr_db, peak_khz)
    return quieting_db is not None and quieting_db >= STRONG_QUIETING_DB + SPEECH_TO_HISS_SPREAD_DB
