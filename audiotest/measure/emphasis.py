"""Whether a feed is de-emphasised, judged from its noise."""

import numpy as np
from numpy.typing import NDArray

from audiotest.measure.lean import power_density
from audiotest.measure.views import LOW_RATE_HZ, Sound
from audiotest.records import Feed
from audiotest.units import power_db

SLOPE_BAND_HZ = (600.0, 2200.0)
HISS_SLOPE_LIMIT_DB_PER_OCTAVE = -3.9
QUIET_SLOPE_LIMIT_DB_PER_OCTAVE = 2.6
USUAL_DEEMPHASIS_US = 750.0


def noise_slope_db_per_octave(samples: NDArray[np.floating], sample_rate_hz: int) -> float | None:
    """Slope of a noise, shape (n,), over 600-2200 Hz in dB of density per octave; None below 0.1 s.

    >>> rng = np.random.default_rng(1)
    >>> abs(noise_slope_db_per_octave(rng.standard_normal(96000), 48000)) < 0.5
    True
    """
    if len(samples) < 0.1 * sample_rate_hz:
        return None
    hz, density = power_density(samples, sample_rate_hz, sample_rate_hz // 25)
    inside = (hz >= SLOPE_BAND_HZ[0]) & (hz <= SLOPE_BAND_HZ[1])
    if not np.any(inside) or power_db(float(np.min(density[inside]))) is None:
        return None
    slope, _ = np.polyfit(np.log2(hz[inside]), 10.0 * np.log10(density[inside]), 1)
    return float(slope)


def estimate_deemphasis_us(
    hiss: NDArray[np.floating] | None, quiet: NDArray[np.floating] | None, sample_rate_hz: int
) -> float | None:
    """De-emphasis of a feed from its noise: 0, the usual 750 µs, or None when neither noise was heard.

    Parameters
    ----------
    hiss : ndarray, shape (n,), or None
        Open-squelch noise without a carrier.
    quiet : ndarray, shape (n,), or None
        Noise of the bare carrier.
    sample_rate_hz : int
        Sample rate in Hz.

    Notes
    -----
    With a carrier the noise of a frequency discriminator rises 6 dB per octave (the FM noise triangle,
    Carson & Fry 1937) and de-emphasis makes it flat; without one it is about flat, and falls 6 dB per
    octave after de-emphasis. The limits stand between. Hiss is judged first: at a high carrier level the
    sound card's own noise can stand for the carrier's.
    """
    if hiss is not None:
        slope = noise_slope_db_per_octave(hiss, sample_rate_hz)
        if slope is not None:
            return USUAL_DEEMPHASIS_US if slope < HISS_SLOPE_LIMIT_DB_PER_OCTAVE else 0.0
    if quiet is not None:
        slope = noise_slope_db_per_octave(quiet, sample_rate_hz)
        if slope is not None:
            return USUAL_DEEMPHASIS_US if slope < QUIET_SLOPE_LIMIT_DB_PER_OCTAVE else 0.0
    return None


def low_response(hiss: NDArray[np.floating], sample_rate_hz: int, frequency_hz: float) -> float | None:
    """Gain of a receiver's audio at a low frequency relative to 1 kHz, from its open-squelch hiss.

    Parameters
    ----------
    hiss : ndarray, shape (n,)
        Hiss without a carrier, half a second or more.
    sample_rate_hz : int
        Sample rate in Hz.
    frequency_hz : float
        Where the gain is wanted, 60 to 300 Hz.

    Returns
    -------
    float or None
        Amplitude ratio, good to about 1 dB from a second of hiss; None for less than half a second.

    Notes
    -----
    Without a carrier the density of a discriminator's noise is the same at 100 Hz and at 1 kHz within a few
    per cent (Rice 1948), so its ratio after the audio filters is their gain squared.
    """
    if len(hiss) < 0.5 * sample_rate_hz:
        return None
    hz, density = power_density(hiss, sample_rate_hz, sample_rate_hz // 20)
    near = np.argsort(np.abs(hz - frequency_hz))[:3]
    reference = density[(hz > 850.0) & (hz < 1150.0)]
    if not np.all(density[near] > 0.0) or not np.all(reference > 0.0):
        return None
    # The mean of logarithms leaves the slope of a high-pass between three bins without effect.
    level = np.mean(np.log(density[near])) - np.mean(np.log(reference))
    return float(np.exp(level / 2.0))


def stated_or_heard_us(
    hiss: Sound | None, quiet: Sound | None, feed: Feed | None
) -> tuple[float, str | None]:
    """De-emphasis of a feed as it was learned, else from its noise, with a note on what was assumed."""
    if feed is not None and feed.deemphasis_us is not None:
        return feed.deemphasis_us, None
    rate_hz = LOW_RATE_HZ if hiss is None else hiss.low_rate_hz
    rate_hz = rate_hz if quiet is None else quiet.low_rate_hz
    found = estimate_deemphasis_us(
        None if hiss is None else hiss.low, None if quiet is None else quiet.low, rate_hz
    )
    if found is None:
        return USUAL_DEEMPHASIS_US, "de-emphasis of the feed not known: 750 µs assumed"
    return found, f"de-emphasis of the feed judged from its noise: {found:.0f} µs"
