"""How loud a clip is to the ear, and the gains that make two clips equally loud."""

import math
import warnings

import numpy as np
from numpy.typing import NDArray

from audiotest.errors import RequestError
from audiotest.extras import how_to_install

SHORTEST_S = 0.4
"""One gating block of ITU-R BS.1770-4, annex 1."""
HIGHEST_PEAK_DBFS = -1.0


def integrated_loudness_lufs(samples: NDArray[np.floating], rate_hz: int) -> float | None:
    """Integrated loudness of one channel by ITU-R BS.1770-4, in LUFS; None when it has none.

    K-weighting, blocks of 400 ms with 75 % overlap, an absolute gate at -70 LUFS and a relative one 10 LU
    below. ``samples`` has shape (n,), full scale 1.0. None for less than 400 ms and for what is gated
    away whole. Computed by pyloudnorm.

    Raises
    ------
    RequestError
        pyloudnorm is not installed.

    >>> sine = np.sin(2 * np.pi * 997 * np.arange(96000) / 48000)
    >>> abs(integrated_loudness_lufs(sine, 48000) - -3.01) < 0.1
    True
    """
    try:
        from pyloudnorm import Meter
    except ImportError as error:
        raise RequestError(
            f"loudness needs {error.name}, which is not installed",
            how_to_install("report"),
        ) from error
    if len(samples) < SHORTEST_S * rate_hz or not np.any(samples):
        return None
    with warnings.catch_warnings(), np.errstate(divide="ignore", invalid="ignore"):
        # Blocks of silence have the logarithm of nothing, and a clip below the gate the mean of none.
        warnings.simplefilter("ignore", RuntimeWarning)
        found = float(Meter(rate_hz).integrated_loudness(samples.astype(np.float64)))
    return found if math.isfinite(found) else None


def matching_gains_db(
    loud_lufs: tuple[float | None, float | None], clips: tuple[NDArray[np.floating], NDArray[np.floating]]
) -> tuple[float, float] | None:
    """Gains in dB that make two clips, shapes (n,), equally loud; None when one of them has no loudness.

    The quieter one stays as it is and the louder one is turned down, then both together if a peak would
    still come above -1 dBFS.
    """
    loud_a, loud_b = loud_lufs
    if loud_a is None or loud_b is None:
        return None
    target = min(loud_a, loud_b)
    gains = (target - loud_a, target - loud_b)
    peaks = [
        20.0 * math.log10(max(float(np.max(np.abs(clip))), 1e-9)) + gain
        for clip, gain in zip(clips, gains, strict=True)
    ]
    surplus = max(max(peaks) - HIGHEST_PEAK_DBFS, 0.0)
    return gains[0] - surplus, gains[1] - surplus
