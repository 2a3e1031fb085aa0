"""From records to what the window shows; knows nothing of Qt."""

from collections import deque
from dataclasses import dataclass, replace
from typing import Literal

from audiotest.advise.rules import (
    DRIVE_ERROR_90_DB,
    HIGH_DRIVE_DB,
    LOW_DRIVE_DB,
    LOW_PEAK_RATIO,
    advise,
    uncertainty_of,
)
from audiotest.measure.peakerror import peak_error_90_db
from audiotest.records import Advice, Feed, LimitSet, LiveReading, Over, Turn
from audiotest.session.guard import HissDrift
from audiotest.session.lastturn import follow_turn
from audiotest.session.trend import Trend
from audiotest.terminal.figures import deviation_amount, mic_amount
from audiotest.units import amplitude_db, db_amplitude
from audiotest.window.minus import with_minus

OVERS_KEPT = 400
"""Readings and outlines of this many overs are listed; older ones leave the tape."""
TRAIL_N = 8
TREND_OVERS_N = 8
"""The trend looks no further back."""
DRIVE_RANGE_DB = (-15.0, 30.0)
DEVIATION_FREE_DB = 6.0
"""Half width drawn for a deviation change that nobody can state yet."""

ControlName = Literal["mic gain", "deviation"]

TURN_WORDS: dict[Turn, str] = {"raise": "UP", "keep": "LEAVE", "lower": "DOWN", "unknown": "NOT YET"}
ARROWS: dict[Turn, str] = {"raise": "▲", "keep": "●", "lower": "▼", "unknown": "?"}
LENT_WORDS = "the bench measurements have the input"
STATE_WORDS = {"waiting": "no carrier", "carrier": "carrier", "speech": "talking"}


@dataclass(frozen=True, slots=True, kw_only=True)
class Heard:
    """One over of the session: its number from 1, the time of day it ended, its record and the advice.

    ``feed`` is the scale it was measured with, ``trend`` what changed since the overs before on that input.
    """

    number: int
    time_of_day: str
    over: Over
    advice: Advice
    scale_uncertainty_db: float
    feed: Feed | None
    trend: Trend


@dataclass(frozen=True, slots=True, kw_only=True)
class ControlView:
    """What one drawn knob shows: which way, how far in dB, and the band the right place lies in."""

    name: ControlName
    turn: Turn
    word: str
    amount: str
    span: str
    change_db: float | None
    low_db: float | None
    high_db: float | None

    @property
    def spoken(self) -> str:
        """The same as a sentence, for a screen reader."""
        amount = f", {self.amount}" if self.amount else ""
        span = f", {self.span}" if self.span else ""
        return f"{self.name}: {self.word.lower()}{amount}{span}"


@dataclass(frozen=True, slots=True, kw_only=True)
class MapPoint:
    """A dot of the balance map with its 90 % bounds; a missing drive or peak is None.

    ``moved`` says that the change since the over before is worth naming.
    """

    number: int
    age: int
    turn: Turn
    drive_db: float | None
    drive_low_db: float | None
    drive_high_db: float | None
    peak_khz: float | None
    peak_low_khz: float | None
    peak_high_khz: float | None
    moved: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Region:
    """The good region of the balance map."""

    drive_low_db: float
    drive_high_db: float
    peak_low_khz: float
    peak_high_khz: float


@dataclass(frozen=True, slots=True, kw_only=True)
class FeedLine:
    """The line about the feed that is always in sight."""

    source: str
    state: str
    scale: str
    hiss: str
    lost: str
    trouble: bool


class OverLog:
    """The overs of a session, judged, oldest first."""

    def __init__(self, limits: LimitSet, feed: Feed | None) -> None:
        self.limits = limits
        self.feed = feed
        self.heard: deque[Heard] = deque(maxlen=OVERS_KEPT)
        self._count = 0
        self._run_from = 1

    def begin(self) -> None:
        """Another input, scale or set of limits: what comes now is not compared with what was before."""
        self._run_from = self._count + 1

    @property
    def latest(self) -> Heard | None:
        """The over that ended last."""
        return self.heard[-1] if self.heard else None

    def take(self, over: Over, time_of_day: str) -> Heard:
        """Judge an over and add it."""
        uncertainty = uncertainty_of(self.feed)
        self._count += 1
        run = [heard for heard in self.heard if heard.number >= self._run_from][1 - TREND_OVERS_N :]
        advised = next((heard.advice for heard in reversed(run) if heard.over.kind == "voice"), None)
        followed = follow_turn([*(heard.over for heard in run), over], advised)
        heard = Heard(
            number=self._count,
            time_of_day=time_of_day,
            over=followed.over,
            advice=advise(followed.over, self.limits, scale_uncertainty_db=uncertainty),
            scale_uncertainty_db=uncertainty,
            feed=self.feed,
            trend=followed.trend,
        )
        self.heard.append(heard)
        return heard

    def rejudge(self, limits: LimitSet) -> None:
        """Hold the overs already heard against other limits."""
        self.limits = limits
        self.heard = deque(
            (
                replace(
                    heard,
                    advice=advise(heard.over, limits, scale_uncertainty_db=heard.scale_uncertainty_db),
                )
                for heard in self.heard
            ),
            maxlen=OVERS_KEPT,
        )

    def discard(self, number: int) -> None:
        """Take an over off the tape."""
        self.heard = deque((heard for heard in self.heard if heard.number != number), maxlen=OVERS_KEPT)

    def find(self, number: int) -> Heard | None:
        """The over of this number, None when it has left the tape."""
        return next((heard for heard in self.heard if heard.number == number), None)

    def trail(self) -> tuple[MapPoint, ...]:
        """The last overs that can be placed on the map, oldest first."""
        placed = [point for heard in self.heard if (point := map_point(heard)) is not None][-TRAIL_N:]
        return tuple(replace(point, age=len(placed) - 1 - k) for k, point in enumerate(placed))


def good_region(limits: LimitSet) -> Region:
    """Where the dot belongs."""
    return Region(
        drive_low_db=LOW_DRIVE_DB,
        drive_high_db=HIGH_DRIVE_DB,
        peak_low_khz=LOW_PEAK_RATIO * limits.deviation_khz,
        peak_high_khz=limits.deviation_khz,
    )


def needs(advice: Advice) -> Turn:
    """The turn that stands for the whole advice: that of the first control that must move."""
    for turn in (advice.mic_gain, advice.deviation):
        if turn in ("raise", "lower"):
            return turn
    return "keep" if "keep" in (advice.mic_gain, advice.deviation) else "unknown"


def map_point(heard: Heard) -> MapPoint | None:
    """The dot of one over, None when neither drive nor peak is known."""
    limiter, peak = heard.over.limiter, heard.over.deviation.peak_khz
    drive, low, high = limiter.drive_db, limiter.drive_low_db, limiter.drive_high_db
    if drive is not None:
        low = drive - DRIVE_ERROR_90_DB if low is None else low
        high = drive + DRIVE_ERROR_90_DB if high is None else high
    if (drive is None and low is None and high is None) and peak is None:
        return None
    spread = db_amplitude(peak_error_90_db(heard.over.kind, heard.scale_uncertainty_db))
    return MapPoint(
        number=heard.number, age=0, turn=needs(heard.advice), drive_db=drive, drive_low_db=low,
        drive_high_db=high, peak_khz=peak,
        peak_low_khz=None if peak is None else peak / spread,
        peak_high_khz=None if peak is None else peak * spread, moved=has_moved(heard.trend),
    )  # fmt: skip


def has_moved(trend: Trend) -> bool:
    """Whether drive or deviation changed by more than chance since the last over."""
    return any(change is not None and change.real for change in (trend.drive, trend.deviation))


def trend_words(heard: Heard | None) -> str:
    """What the last turn did, as a sentence; empty when it cannot be told."""
    said = "" if heard is None else heard.trend.sentence
    return f"{said[0].upper()}{said[1:]}." if said else ""


def control_views(heard: Heard | None) -> tuple[ControlView, ControlView]:
    """What the two knobs show, mic gain first."""
    if heard is None:
        return _no_view("mic gain"), _no_view("deviation")
    advice, limiter = heard.advice, heard.over.limiter
    mic_change = 0.0 if advice.mic_gain == "keep" else advice.mic_gain_db
    below = above = DRIVE_ERROR_90_DB
    if limiter.drive_db is not None:
        if limiter.drive_high_db is not None:
            below = max(limiter.drive_high_db - limiter.drive_db, 0.0)
        if limiter.drive_low_db is not None:
            above = max(limiter.drive_db - limiter.drive_low_db, 0.0)
    mic = _view("mic gain", advice.mic_gain, mic_amount(advice), mic_change, below, above)
    change = 0.0 if advice.deviation == "keep" else None
    if advice.deviation_factor is not None:
        change = amplitude_db(advice.deviation_factor)
    error = peak_error_90_db(heard.over.kind, heard.scale_uncertainty_db)
    deviation = _view("deviation", advice.deviation, deviation_amount(advice), change, error, error)
    return mic, deviation


def _no_view(name: ControlName) -> ControlView:
    return ControlView(
        name=name, turn="unknown", word=TURN_WORDS["unknown"], amount="", span="", change_db=None,
        low_db=None, high_db=None,
    )  # fmt: skip


def _view(
    name: ControlName, turn: Turn, amount: str, change: float | None, below: float, above: float
) -> ControlView:
    low = None if change is None else change - below
    high = None if change is None else change + above
    span = ""
    if turn in ("raise", "lower") and low is not None and high is not None:
        span = span_db(low, high) if name == "mic gain" else span_factor(low, high)
    return ControlView(
        name=name, turn=turn, word=TURN_WORDS[turn], amount=amount, span=span, change_db=change, low_db=low,
        high_db=high,
    )  # fmt: skip


def span_db(low_db: float, high_db: float) -> str:
    """The band that the right turn lies in, in words; the way is said once when both ends go the same way.

    >>> span_db(-14.2, -8.0), span_db(-5.0, 1.0), span_db(2.6, 9.0)
    ('8 to 14 dB', '5 down to 1 up, dB', '3 to 9 dB')
    """
    low, high = round(low_db), round(high_db)
    if low < 0 < high:
        return f"{-low} down to {high} up, dB"
    near, far = sorted((abs(low), abs(high)))
    return f"{near} to {far} dB"


def span_factor(low_db: float, high_db: float) -> str:
    """The same for the deviation control, as factors.

    >>> span_factor(-6.0206, 0.0)
    '× 0.50 to 1.00'
    """
    return f"× {db_amplitude(low_db):.2f} to {db_amplitude(high_db):.2f}"


def cue_error_db(heard: Heard) -> float | None:
    """How far the first control that must move is off, positive when it is too high; None when not judged."""
    views = control_views(heard)
    if all(view.turn == "unknown" for view in views):
        return None
    changes = [v.change_db for v in views if v.turn in ("raise", "lower") and v.change_db is not None]
    return -changes[0] if changes else 0.0


def sure_words(heard: Heard | None) -> str:
    """How sure the advice is, in words."""
    if heard is None or (heard.advice.mic_gain == "unknown" and heard.advice.deviation == "unknown"):
        return ""
    return f"{100 * heard.advice.confidence:.0f} % sure"


def live_state(reading: LiveReading) -> str:
    """State of the feed with the length of a running over.

    >>> live_state(LiveReading(time_s=9.0, state="speech", level_dbfs=-20.0, peak_dbfs=-8.0,
    ...     deviation_khz=None, quieting_db=None, sinad_db=None, overloaded=False, over_s=7.4, lost_n=0))
    'talking 0:07'
    """
    word = STATE_WORDS[reading.state]
    if reading.over_s is None:
        return word
    return f"{word} {int(reading.over_s) // 60}:{int(reading.over_s) % 60:02}"


def state_words(reading: LiveReading | None, *, lent: bool) -> str:
    """State of the feed, also while nothing is read from it."""
    if lent:
        return "○ not listening"
    return "starting" if reading is None else live_state(reading)


def feed_line(
    source: str,
    feed: Feed | None,
    reading: LiveReading | None,
    hiss: str,
    error: str | None,
    *,
    lent: bool = False,
) -> FeedLine:
    """What is always in sight about the feed; `hiss` is the word of the hiss guard.

    ``lent`` says that the bench measurements have the input just now.
    """
    if lent:
        source, reading, hiss = LENT_WORDS, None, ""
    if feed is None:
        scale = "no scale: no figures in kHz"
    else:
        scale = (
            f"full scale {feed.scale_khz_per_fs:.2f} kHz ±{feed.scale_uncertainty_db:.1f} dB ({feed.method})"
        )
        if feed.path is not None and feed.path.ceiling_fs is not None:
            # In sight, since it holds only while volume and deviation control stay.
            scale += f", limiter holds {feed.path.ceiling_fs * feed.scale_khz_per_fs:.2f} kHz"
    lost_n = 0 if reading is None else reading.lost_n
    return FeedLine(
        source=source,
        state=error if error is not None else state_words(reading, lent=lent),
        scale=scale,
        hiss=hiss,
        lost="no drop-outs" if lost_n == 0 else f"{lost_n} samples or more lost",
        trouble=error is not None or lost_n > 0 or "moved" in hiss,
    )


def hiss_words(drift: HissDrift | None, has_scale: bool) -> str:
    """The verdict of the hiss guard in a few words."""
    if not has_scale:
        return "hiss guard: no scale to guard"
    if drift is None or drift.state == "unknown" or drift.shift_db is None:
        closed = drift is not None and drift.state == "closed"
        return "hiss guard: squelch closed" if closed else "hiss guard: waits for hiss"
    since = "" if drift.reference == "learned" else " since the first hiss"
    shift = with_minus(f"{drift.shift_db:+.1f} dB{since}")
    if drift.state == "moved":
        return f"hiss guard: level moved {shift}, learn the scale again"
    return f"hiss guard: scale holds ({shift})"


def over_label(heard: Heard) -> str:
    """One over in one line, for the tape and the screen reader."""
    mic, deviation = control_views(heard)
    return f"over {heard.number}, {heard.time_of_day}, {mic.spoken}; {deviation.spoken}"


def over_figures(heard: Heard) -> str:
    """Drive and peak of an over in the fewest characters."""
    parts = []
    limiter, peak = heard.over.limiter, heard.over.deviation.peak_khz
    if limiter.drive_db is not None:
        parts.append(f"{limiter.drive_db:+z.0f} dB")
    elif limiter.drive_high_db is not None:
        parts.append(f"< {limiter.drive_high_db:+z.0f} dB")
    if peak is not None:
        parts.append(f"{peak:.2f} kHz")
    return with_minus("  ".join(parts)) or heard.over.kind
