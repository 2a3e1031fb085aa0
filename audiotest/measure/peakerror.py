"""How far a peak deviation may be off: the one figure behind card, map, sheet and report."""

import math

from audiotest.records import OverKind
from audiotest.units import Z_90

SPEECH_PEAK_ERROR_DB = 1.6
"""Standard error of the peak deviation of speech, in dB, besides the scale's: a peak has to be found behind
the receiver's filters. Of 265 overs over the simulated radio, with voices never met before, 18 dB and more
over the noise, nine in ten were within 2.4 dB of the truth, which are 1.645 standard errors of 1.5 dB (normal
distribution); a tenth of a decibel is added, since no simulation covers every set. A test holds it against
docs/accuracy-overs.json. The 99.9th percentile stands on more samples and is surer (docs/accuracy.md). How
well the peaks of one talker repeat from over to over of one radio is another figure (0.65 dB,
`session/trend.py`): the filters' share is the same in both."""


def peak_error_db(kind: OverKind, scale_uncertainty_db: float) -> float:
    """Standard error of a peak deviation in dB: independent errors add by their squares (textbook).

    Parameters
    ----------
    kind : OverKind
        What modulates: the peak of a tone is its amplitude and as sure as the scale.
    scale_uncertainty_db : float
        How far the feed's scale may be off, at about 90 %.

    >>> round(peak_error_db("voice", 0.5), 2), round(peak_error_db("tone", 0.5), 2)
    (1.63, 0.3)
    """
    return math.hypot(SPEECH_PEAK_ERROR_DB if kind == "voice" else 0.0, scale_uncertainty_db / Z_90)


def peak_error_90_db(kind: OverKind, scale_uncertainty_db: float) -> float:
    """Half width of the 90 % interval of a peak deviation in dB, see `peak_error_db`."""
    return Z_90 * peak_error_db(kind, scale_uncertainty_db)
