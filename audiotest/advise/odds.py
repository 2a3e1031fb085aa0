"""How likely a bound lies on one side of a figure with a 90 % interval."""

import math

Z_90 = 1.645
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
