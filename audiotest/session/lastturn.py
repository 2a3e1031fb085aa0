"""What turning the mic gain gives away about what stands before it.

A limiter that is hit less shows less drive, and holds the peaks as long as it acts. Where the mic gain was
turned down and the peaks fell while the drive stayed, the marks of clipping are older than the mic gain: the
voice was cut or compressed before it.

A deviation control turned down also leaves the drive and lowers the peaks, and no over tells which of the two
was turned. So nothing is said unless the advice before asked for the mic gain alone to go down, and what is
said of it (`measure/conditions.py`) holds "if the mic gain was turned".
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

from audiotest.records import Advice, Over
from audiotest.session.trend import NAMED_ODDS, Change, Trend, follow_trim, odds_above_nought
from audiotest.units import Z_90

CUT_BEFORE = "compressed_source"
FELL_DB = -2.0
STAYED_WORDS = ", and the drive stayed"


@dataclass(frozen=True, slots=True)
class Followed:
    """The trend, with what the last turn gives away, and the last over with the doubt in it."""

    trend: Trend
    over: Over


def follow_turn(overs: Sequence[Over], advised: Advice | None) -> Followed:
    """Follow the trim, knowing what was asked for before the last over.

    Parameters
    ----------
    overs : sequence of Over
        Of one session, in order of time, at least one; those before the last as they were returned here.
    advised : Advice or None
        What was said of the voice over before the last.

    Returns
    -------
    Followed
        The condition ``compressed_source`` is put into the last over when the drive fell less than the peaks
        did, surely (odds of 19 in 20 from the errors of both differences), the limiter is surely reached by
        what the drive reads, and only the mic gain was to go down. It stays in the overs that follow until
        the drive moves.

    Notes
    -----
    No source. A clipper's peaks never fall by more than its drive does. Of simulated pairs of overs between
    which the mic gain went down by 3 to 12 dB it named none with a clipper and one in five with a voice
    cut beforehand (`tests/benchmarks/accuracy/turns.py`). That nothing moves when a level control makes
    up for the turn is not said: it looks like a control that was turned by less than was asked for.
    """
    trend = follow_trim(overs)
    last = overs[-1]
    if _fell_alone(trend, last) and _asked_for_less_gain_alone(advised):
        return Followed(replace(trend, sentence=trend.sentence + STAYED_WORDS), _doubted(last))
    return Followed(trend, _as_before(overs, trend))


def _asked_for_less_gain_alone(advised: Advice | None) -> bool:
    return advised is not None and advised.mic_gain == "lower" and advised.deviation != "lower"


def _fell_alone(trend: Trend, last: Over) -> bool:
    """Whether the peaks fell, and the drive surely by less, although it reads as if the limiter acted."""
    drive, peak, low_db = trend.drive, trend.deviation, last.limiter.drive_low_db
    if drive is None or peak is None or low_db is None or low_db <= 0.0 or drive.real:
        return False
    levels_db = [20.0 * math.log10(peak.before + by) for by in (0.0, peak.low, peak.change, peak.high)]
    fell_db = levels_db[2] - levels_db[0]
    error_db = math.hypot(_error(drive), (levels_db[3] - levels_db[1]) / (2.0 * Z_90))
    odds = odds_above_nought(drive.change - fell_db, error_db)
    return peak.real and fell_db <= FELL_DB and odds >= NAMED_ODDS


def _as_before(overs: Sequence[Over], trend: Trend) -> Over:
    """The last over, doubted as the voice over before it was unless the drive moved since."""
    spoken = [over for over in overs if over.kind == "voice"]
    doubted_before = len(spoken) > 1 and spoken[-1] is overs[-1] and CUT_BEFORE in spoken[-2].conditions
    stayed = trend.drive is not None and not trend.drive.real
    return _doubted(overs[-1]) if doubted_before and stayed else overs[-1]


def _doubted(over: Over) -> Over:
    return over if CUT_BEFORE in over.conditions else replace(over, conditions=(*over.conditions, CUT_BEFORE))


def _error(change: Change) -> float:
    return (change.high - change.low) / (2.0 * Z_90)
