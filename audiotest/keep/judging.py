"""A reading on the sheet held against what it should be: pass, fail, or an honest doubt."""

from dataclasses import dataclass
from typing import Literal

from audiotest.advise.rules import HIGH_DRIVE_DB, LOW_DRIVE_DB, LOW_PEAK_RATIO
from audiotest.errors import RequestError
from audiotest.keep.quantities import get_quantity
from audiotest.keep.sheetrecords import Reading, Visit
from audiotest.keep.yardsticks import COMMON_PRACTICE, yardstick
from audiotest.records import LimitSet
from audiotest.standards.limits import channel_frequency

Verdict = Literal["pass", "fail", "doubt", "none"]
FURTHEST_FROM_CHANNEL_HZ = 5000.0
"""A carrier further off than this is on another channel, or mistyped."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Judged:
    """The verdict on one reading with its limit and source; ``none`` means nothing to hold it against."""

    verdict: Verdict
    limit: str = ""
    source: str = ""
    words: str = ""


NOT_JUDGED = Judged(verdict="none")


def nominal_mhz(limits_id: str, channel: int | None) -> float | None:
    """Frequency of a channel in MHz; None when no channel was given or the service has none.

    >>> nominal_mhz("uk-27fm", 1), nominal_mhz("land-25k", 1)
    (27.60125, None)
    """
    if channel is None:
        return None
    try:
        return channel_frequency(limits_id, channel)
    except RequestError:
        return None


def nominal_of(visit: Visit) -> float | None:
    """Frequency in MHz that a visit's carrier should be on, None when it is not known."""
    return visit.assigned_mhz or nominal_mhz(visit.limits, visit.channel)


def frequency_error_hz(frequency_mhz: float, nominal: float) -> float:
    """How far a carrier is from its channel, in Hz.

    >>> frequency_error_hz(27.6016, 27.60125)
    350.0
    """
    return round((frequency_mhz - nominal) * 1e6, 1)


def off_channel(key: str, value: float, nominal: float | None) -> str | None:
    """Say by how much a carrier is further off than any set drifts; None when it is not, or unknown."""
    if key != "frequency" or nominal is None:
        return None
    error_hz = frequency_error_hz(value, nominal)
    if abs(error_hz) <= FURTHEST_FROM_CHANNEL_HZ:
        return None
    return f"{value:g} MHz is {error_hz / 1e3:+.1f} kHz from the channel's {nominal:.5f} MHz"


def judge_reading(
    key: str,
    value: float,
    limits: LimitSet,
    *,
    nominal: float | None = None,
    low: float | None = None,
    high: float | None = None,
) -> Judged:
    """Judge one reading in its own unit.

    Parameters
    ----------
    key, value : str, float
        The quantity, one of `QUANTITIES`, and the reading in its own unit.
    limits : LimitSet
        The service's limits.
    nominal : float or None
        Assigned carrier frequency in MHz, as `nominal_mhz` gives it for a channel.
    low, high : float or None
        Bounds of the reading where they are known.

    >>> from audiotest.standards.limits import get_limits
    >>> judge_reading("deviation", 2.9, get_limits("uk-27fm")).verdict
    'fail'
    >>> judge_reading("frequency", 27.60165, get_limits("uk-27fm"), nominal=27.60125).words
    '+400 Hz, +14.5 ppm of 27.60125 MHz'
    """
    low = value if low is None else min(low, value)
    high = value if high is None else max(high, value)
    if key == "deviation":
        return _deviation(value, low, high, limits)
    if key == "drive":
        return _drive(value, low, high)
    if key in ("frequency", "frequency-error"):
        return _frequency(key, value, limits, nominal)
    stick = yardstick(key, limits.id, nominal)
    if stick is None:
        return NOT_JUDGED
    verdict, words = _by_reference(value, stick.highest)
    limit = f"ref. at most {stick.highest:g} {get_quantity(key).unit}".rstrip()
    return Judged(verdict=verdict, limit=limit, source=stick.source, words=words)


def judge_on_sheet(reading: Reading, visit: Visit, limits: LimitSet) -> Judged:
    """Judge a reading of a sheet, with its own bounds and against the visit's own carrier."""
    return judge_reading(
        reading.quantity, reading.value, limits, nominal=nominal_of(visit), low=reading.low, high=reading.high
    )


def _by_reference(value: float, highest: float) -> tuple[Verdict, str]:
    """A figure from memory or common practice says what to expect: over it there is doubt, no failure."""
    return ("pass", "") if value <= highest else ("doubt", "over the reference")


def _against(low: float, high: float, value: float, highest: float) -> tuple[Verdict, str]:
    if low <= highest < high:
        return "doubt", "the limit lies within its uncertainty"
    return ("pass", "") if value <= highest else ("fail", "")


def _deviation(value: float, low: float, high: float, limits: LimitSet) -> Judged:
    highest = limits.deviation_khz
    verdict, words = _against(low, high, value, highest)
    share = f"{100 * value / highest:.0f} % of the limit"
    if verdict == "pass" and value < LOW_PEAK_RATIO * highest:
        verdict, words = "doubt", "low: quiet on the air"
    return Judged(
        verdict=verdict,
        limit=f"±{highest:g} kHz",
        source=limits.source,
        words=f"{share}; {words}" if words else share,
    )


def _drive(value: float, low: float, high: float) -> Judged:
    verdict: Verdict = "pass"
    words = ""
    if value > HIGH_DRIVE_DB:
        verdict, words = "fail", "too hard"
    elif value < LOW_DRIVE_DB:
        verdict, words = "fail", "too weak"
    if verdict == "fail" and low <= HIGH_DRIVE_DB and high >= LOW_DRIVE_DB:
        verdict, words = "doubt", f"{words}, but the bound lies within its uncertainty"
    return Judged(
        verdict=verdict, limit=f"{LOW_DRIVE_DB:+.0f} to {HIGH_DRIVE_DB:+.0f} dB", source=COMMON_PRACTICE,
        words=words,
    )  # fmt: skip


def _frequency(key: str, value: float, limits: LimitSet, nominal: float | None) -> Judged:
    if key == "frequency":
        if nominal is None:
            return NOT_JUDGED
        error_hz = frequency_error_hz(value, nominal)
    else:
        error_hz = value
    words = f"{error_hz:+.0f} Hz"
    if nominal is not None:
        words += f", {error_hz / nominal:+.1f} ppm of {nominal:.5f} MHz"
    stick = yardstick("frequency-error", limits.id, nominal)
    if stick is None:
        return Judged(verdict="none", words=words)
    verdict, doubt = _by_reference(abs(error_hz), stick.highest)
    limit = f"ref. within ±{stick.highest:g} Hz"
    return Judged(
        verdict=verdict, limit=limit, source=stick.source, words=f"{words}; {doubt}" if doubt else words
    )
