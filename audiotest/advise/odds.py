"""How likely a bound lies on one side of a figure with a 90 % interval, and what a low peak adds to that."""

import math
from typing import NamedTuple

from audiotest.units import Z_90

SMALLEST_SPREAD_DB = 0.25


def share_below(bound: float, centre: float, low: float, high: float) -> float:
    """Probability that the true figure is below `bound`.

    The figure is read as a normal distribution about `centre` whose 5 % and 95 % points are `low` and
    `high`, each half with its own width.

    >>> round(share_below(0.0, 0.0, -2.0, 2.0), 3), round(share_below(-2.0, 0.0, -2.0, 5.0), 3)
    (0.5, 0.05)
    """
    half = centre - low if bound < centre else high - centre
    spread = max(half / Z_90, SMALLEST_SPREAD_DB)
    return 0.5 * (1.0 + math.erf((bound - centre) / spread / math.sqrt(2.0)))


GRID_DB = tuple(step / 4.0 for step in range(-96, 121))
"""Drives that are thought possible, -24 to +30 dB."""
USUAL_CEILING_DB = 0.0
CEILING_SPREAD_DB = 4.0
"""Where the deviation control stands on sets that come in: the ceiling over the limit, mean and standard
deviation (common practice, no source)."""
SEEN_DOWN_TO_DB = -5.0
"""Below this no peak touches the limiter: a drive as measured speaks for all drives from here down alike."""
PEAK_OVER_P999_DB = 3.0
PEAK_OVER_P999_SPREAD_DB = 1.5
"""How far the highest peak of unlimited speech stands above its 99.9th percentile: 1 to 5 dB on the voices
of the simulated radio."""


class DriveOdds(NamedTuple):
    """The drive with its 5th and 95th percentile in dB."""

    low_db: float
    drive_db: float
    high_db: float


def drive_given_reach(
    reach_db: float, spread_db: float, drive: tuple[float, float, float] | None = None
) -> DriveOdds:
    """The drive when the peaks reach `reach_db` re the limit, by Bayes' rule (textbook).

    A limiter that is hit lifts the peaks to the ceiling, and ceilings stand about the limit. The further
    the peaks stay below, the more likely the limiter is not reached.

    Parameters
    ----------
    reach_db : float
        Peak deviation over the limit in dB.
    spread_db : float
        Standard deviation of `reach_db`.
    drive : (low_db, drive_db, high_db) or None
        The drive as measured with its 90 % interval, read as in `share_below`; None when it was not.

    >>> faint = drive_given_reach(-14.0, 1.0)
    >>> faint.high_db < -3.0, drive_given_reach(-14.0, 1.0, (4.0, 6.0, 8.0)).drive_db > 3.0
    (True, True)
    """
    spread = math.sqrt(CEILING_SPREAD_DB**2 + PEAK_OVER_P999_SPREAD_DB**2 + spread_db**2)
    weights = []
    for grid_db in GRID_DB:
        expected = USUAL_CEILING_DB + min(grid_db + PEAK_OVER_P999_DB, 0.0)
        exponent = ((reach_db - expected) / spread) ** 2
        if drive is not None:
            low, middle, high = drive
            seen_db = max(grid_db, min(SEEN_DOWN_TO_DB, middle))
            half = middle - low if seen_db < middle else high - middle
            exponent += ((seen_db - middle) / max(half / Z_90, SMALLEST_SPREAD_DB)) ** 2
        weights.append(-exponent / 2.0)
    top = max(weights)
    shares = [math.exp(weight - top) for weight in weights]
    total, below = sum(shares), 0.0
    points = []
    wanted = [0.05, 0.5, 0.95]
    for grid_db, share in zip(GRID_DB, shares, strict=True):
        below += share / total
        while wanted and below >= wanted[0] - 1e-12:
            points.append(grid_db)
            del wanted[0]
    return DriveOdds(*points)
