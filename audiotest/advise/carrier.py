"""How strong the carrier is: as the hiss tells, or else as the feed's scale does."""

from audiotest.records import Over
from audiotest.units import amplitude_db

STRONG_QUIETING_DB = 20.0
"""A carrier that quiets the receiver by this much is what receivers' sensitivity is stated for."""
PEAK_OVER_HISS_DB = 18.0
HISS_REFERENCE_KHZ = 2.5
SPEECH_TO_HISS_SPREAD_DB = 3.0
"""Without a scale the hiss is one: speech at 2.5 kHz peak and a drive of -3 dB has an active level this far
below open-squelch hiss, give or take voices and IF bandwidths (from the simulated radio)."""


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
    peak_db = amplitude_db(peak_khz / HISS_REFERENCE_KHZ)
    if peak_db is None:
        return False
    return snr_db + PEAK_OVER_HISS_DB - peak_db >= STRONG_QUIETING_DB + SPEECH_TO_HISS_SPREAD_DB
