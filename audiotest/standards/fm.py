"""Closed-form relations of a frequency-modulated carrier: occupied bandwidth and carrier nulls."""

from scipy.special import jn_zeros


def carson_bandwidth_khz(deviation_khz: float, audio_high_khz: float) -> float:
    """Necessary bandwidth in kHz, twice the sum of peak deviation and highest audio frequency.

    Recommendation ITU-R SM.1138, F3E: ``2M + 2DK`` with K = 1 for commercial telephony.

    >>> carson_bandwidth_khz(2.5, 3.0)
    11.0
    """
    return 2.0 * (deviation_khz + audio_high_khz)


def null_tone_hz(deviation_khz: float, null: int = 1) -> float:
    """Tone in Hz that makes the carrier vanish at this peak deviation, for the `null`-th time.

    The carrier of a tone-modulated signal is J0 of the modulation index (textbook), so the tone is the
    deviation over the zero of that order. Raise the deviation from nothing and count the nulls.

    Raises
    ------
    ValueError
        `null` is below 1.

    >>> round(null_tone_hz(2.5), 2)
    1039.58
    """
    if null < 1:
        raise ValueError(f"carrier nulls are counted from 1, not {null}")
    return 1e3 * deviation_khz / float(jn_zeros(0, null)[-1])
