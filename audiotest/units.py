"""Decibels and their inverses; the only place where a logarithm meets a level."""

import math
from typing import Any

Z_90 = 1.645
"""Standard errors on either side that hold nine in ten of a normal distribution (textbook)."""
DBFS_REFERENCE = 1.0
"""0 dBFS is the RMS of a square wave at full scale 1.0; a full-scale sine is -3.01 dBFS."""


def amplitude_db(ratio: float) -> float | None:
    """Amplitude ratio in dB, 20·log10; None when the ratio is not above zero.

    >>> round(amplitude_db(0.5), 3)
    -6.021
    >>> amplitude_db(0.0) is None
    True
    """
    return 20.0 * math.log10(ratio) if ratio > 0.0 and math.isfinite(ratio) else None


def power_db(ratio: float) -> float | None:
    """Power ratio in dB, 10·log10; None when the ratio is not above zero.

    >>> power_db(100.0)
    20.0
    """
    return 10.0 * math.log10(ratio) if ratio > 0.0 and math.isfinite(ratio) else None


def db_amplitude(level_db: float) -> float:
    """Amplitude ratio of a level in dB.

    >>> round(db_amplitude(-6.0206), 4)
    0.5
    """
    return float(10.0 ** (level_db / 20.0))


def db_power(level_db: float) -> float:
    """Power ratio of a level in dB.

    >>> db_power(20.0)
    100.0
    """
    return float(10.0 ** (level_db / 10.0))


DECIMALS = 4


def rounded(value: Any) -> Any:
    """`value` with every float in it rounded: more decimals than the measurement has only make noise.

    >>> rounded({"level_db": -10.899999999999999, "points": [(0.1 + 0.2, 1)]})
    {'level_db': -10.9, 'points': [[0.3, 1]]}
    """
    if isinstance(value, float):
        return round(value, DECIMALS)
    if isinstance(value, dict):
        return {key: rounded(inner) for key, inner in value.items()}
    if isinstance(value, list | tuple):
        return [rounded(inner) for inner in value]
    return value
