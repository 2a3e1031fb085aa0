"""Whether the feed still has the level at which its scale was learned, told by the hiss between overs.

Open-squelch hiss has one level for one receiver (Rice 1948): when it moves, a volume control or an input
level was moved, and every figure in kHz with it.

`judge_hiss` is the rule, `HissWatch` gathers what it judges.
"""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from audiotest.measure.filters import bandpass
from audiotest.units import amplitude_db

HissState = Literal["unknown", "holds", "moved", "closed"]

MOVED_DB = 1.5
"""Half a second of hiss in 3.1 kHz scatters by 4.34/sqrt(B·T) = 0.11 dB (textbook), a receiver that
warms up adds some tenths; 1.5 dB is 19 % of deviation, enough to turn "under the limit" into over."""
NO_LEVEL_DB = 1000.0
"""No sound card gives such a level; not a number is none either."""
CLOSED_DB = 15.0
"""So far down it is no hiss but the sound card's noise behind a shut squelch, or a volume near zero."""
LATEST_N = 5
LEAST_N = 3
"""One reading can hold a squelch tail or a passing carrier; three that agree cannot."""
AGREE_DB = 1.0
READING_ERROR_DB = 0.2
FIRST_N = 3
HISS_BAND_HZ = (300.0, 3400.0)
LOOK_S = 0.5
STEADY_SPREAD = 0.25
"""Eight parts of half a second of hiss scatter by 4 % in RMS (1/(2·sqrt(B·T)), textbook); a syllable or the
edge of an over scatters far more."""
SILENT_DBFS = -120.0
KEPT_AT_EACH_END_N = 1000


@dataclass(frozen=True, slots=True, kw_only=True)
class HissDrift:
    """What the hiss says about the scale.

    ``state`` is "unknown" (too few readings, or they disagree), "holds", "moved", or "closed" (no open hiss).
    ``shift_db`` is the level now over the reference, ``error_db`` its standard error, ``since_s`` the time of
    the first reading at the new level. ``reference`` names what it is held against: the level learned with
    the scale, or the session's first hiss. ``sentence`` is for the user, empty when there is nothing to say.
    """

    state: HissState
    shift_db: float | None
    error_db: float | None
    since_s: float | None
    reference: Literal["learned", "session"]
    readings_n: int
    sentence: str


def judge_hiss(
    readings: Sequence[tuple[float, float]], learned_dbfs: float | None, *, has_scale: bool = True
) -> HissDrift:
    """Hold the hiss heard between overs against the learned level, or against the session's first.

    Parameters
    ----------
    readings : sequence of (time_s, hiss_dbfs)
        In order of time: level in 300-3400 Hz of half a second or more without a carrier, as
        ``Feed.hiss_dbfs`` is. Figures that are not finite do not count. They may come from stretches with the
        squelch shut, or hold a squelch tail: those are told apart here.
    learned_dbfs : float or None
        ``Feed.hiss_dbfs``; None when the scale was learned from a tone, or there is none.
    has_scale : bool
        Whether figures in kHz are shown, for the sentence.

    Returns
    -------
    HissDrift
        By the median of the last open readings, of which three must agree within 1 dB, so that one squelch
        tail or passing carrier decides nothing. A level 15 dB or more under the reference is no open hiss.

    Examples
    --------
    >>> drift = judge_hiss([(10.0, -14.1), (20.0, -11.4), (30.0, -11.6), (40.0, -11.5)], -14.5)
    >>> drift.state, drift.shift_db, drift.since_s
    ('moved', 3.0, 20.0)
    >>> drift.sentence
    "the feed's hiss is 3 dB up since the scale was learned: put the volume back, or learn it again"
    """
    heard = [(t, level) for t, level in readings if math.isfinite(t) and abs(level) < NO_LEVEL_DB]
    kind: Literal["learned", "session"] = "session" if learned_dbfs is None else "learned"
    reference = _first_level(heard) if learned_dbfs is None else learned_dbfs
    if reference is None or not heard:
        return _record("unknown", kind, len(heard))
    is_open = [(t, level) for t, level in heard if level > reference - CLOSED_DB]
    if all(level <= reference - CLOSED_DB for _, level in heard[-LEAST_N:]) and len(heard) >= LEAST_N:
        return _record("closed", kind, len(is_open))
    latest = np.array([level for _, level in is_open[-LATEST_N:]])
    middle = _settled(latest)
    if middle is None:
        return _record("unknown", kind, len(is_open))
    shift = middle - reference
    agreeing = int(np.sum(np.abs(latest - middle) <= AGREE_DB))
    error = READING_ERROR_DB / math.sqrt(agreeing)
    if kind == "session":
        error = math.hypot(error, READING_ERROR_DB / math.sqrt(FIRST_N))
    if abs(shift) < MOVED_DB:
        return _record("holds", kind, len(is_open), shift, error)
    since_s = _since(is_open, middle)
    sentence = _sentence(shift, kind, since_s, has_scale)
    return _record("moved", kind, len(is_open), shift, error, since_s, sentence)


def _record(
    state: HissState, reference: Literal["learned", "session"], readings_n: int, shift: float | None = None,
    error: float | None = None, since_s: float | None = None, sentence: str = "",
) -> HissDrift:  # fmt: skip
    return HissDrift(
        state=state, shift_db=None if shift is None else round(shift, 2),
        error_db=None if error is None else round(error, 2), since_s=since_s, reference=reference,
        readings_n=readings_n, sentence=sentence,
    )  # fmt: skip


def _first_level(heard: Sequence[tuple[float, float]]) -> float | None:
    """Level of the session's first open hiss: the first three readings in a row that agree.

    Much louder readings later mean that the squelch was shut before.
    """
    if len(heard) < FIRST_N:
        return None
    loudest = float(np.quantile([level for _, level in heard], 0.9))
    levels = [level for _, level in heard if level > loudest - CLOSED_DB]
    for first in range(len(levels) - FIRST_N + 1):
        part = levels[first : first + FIRST_N]
        if max(part) - min(part) <= 2.0 * AGREE_DB:
            return float(np.median(part))
    return None


def _settled(latest: NDArray[np.float64]) -> float | None:
    """Level on which the latest readings agree: the last three when it has just moved, or all of them."""
    if len(latest) < LEAST_N:
        return None
    for part in (latest[-LEAST_N:], latest):
        middle = float(np.median(part))
        if int(np.sum(np.abs(part - middle) <= AGREE_DB)) >= LEAST_N:
            return middle
    return None


def _since(is_open: Sequence[tuple[float, float]], level: float) -> float:
    """Time of the first reading of the run at this level, over single readings that fall out."""
    since = is_open[-1][0]
    misses = 0
    for t, value in reversed(is_open):
        if abs(value - level) <= AGREE_DB:
            since, misses = t, 0
        else:
            misses += 1
            if misses > 1:
                break
    return since


def _sentence(shift_db: float, kind: str, since_s: float, has_scale: bool) -> str:
    way = "up" if shift_db > 0 else "down"
    size = f"{abs(shift_db):.0f} dB {way}"
    if kind == "learned":
        return (
            f"the feed's hiss is {size} since the scale was learned: put the volume back, or learn it again"
        )
    moved = f"the feed's hiss is {size} since {_clock(since_s)}: the volume or the input level was moved"
    return f"{moved}; put it back, or learn the feed again" if has_scale else moved


def _clock(time_s: float) -> str:
    return f"{int(time_s) // 60}:{int(time_s) % 60:02d} of this session"


# -- gathering -------------------------------------------------------------------------------------


class HissWatch:
    """Takes the stream as it is heard and keeps the verdict on its open hiss up to date.

    Parameters
    ----------
    rate_hz : int
        Sample rate.
    learned_dbfs : float or None
        As for `judge_hiss`.
    waiting : callable
        Whether no over is running at this moment of the stream; called in the thread that calls `push`.
    """

    def __init__(self, rate_hz: int, learned_dbfs: float | None, waiting: Callable[[], bool]) -> None:
        self._rate_hz = rate_hz
        self._learned_dbfs = learned_dbfs
        self._waiting = waiting
        self._waited = False
        self._parts: list[NDArray[np.floating]] = []
        self._held_n = 0
        self._heard_n = 0
        self._readings: list[tuple[float, float]] = []
        self._drift = judge_hiss((), learned_dbfs)

    @property
    def drift(self) -> HissDrift:
        """The verdict after the last half second of hiss; may be read from any thread."""
        return self._drift

    def push(self, samples: NDArray[np.floating]) -> None:
        """Take a block, shape (n,), full scale 1.0; what lies between moments without carrier is judged."""
        self._heard_n += len(samples)
        self._held_n += len(samples)
        self._parts.append(samples)
        if self._held_n < LOOK_S * self._rate_hz:
            return
        piece = np.concatenate(self._parts)[-round(LOOK_S * self._rate_hz) :]
        self._parts, self._held_n = [], 0
        waited, self._waited = self._waited, self._waiting()
        if not (waited and self._waited):
            return
        level_dbfs, steady = hiss_level(piece, self._rate_hz)
        if not steady:
            return
        self._readings.append((self._heard_n / self._rate_hz, level_dbfs))
        # The first are the reference of a session, the last are judged: of a long one the middle is let go.
        del self._readings[KEPT_AT_EACH_END_N:-KEPT_AT_EACH_END_N]
        self._drift = judge_hiss(self._readings, self._learned_dbfs)


def hiss_level(samples: NDArray[np.floating], rate_hz: int) -> tuple[float, bool]:
    """Level of samples, shape (n,), in 300-3400 Hz in dBFS, and whether it is as steady as hiss is.

    Digital silence counts as steady, at -120 dBFS.
    """
    band = bandpass(np.asarray(samples, dtype=np.float64), rate_hz, *HISS_BAND_HZ)
    pieces = np.sqrt(np.mean(band[: len(band) // 8 * 8].reshape(8, -1) ** 2, axis=1))
    level_dbfs = amplitude_db(float(np.sqrt(np.mean(pieces**2))))
    if level_dbfs is None or level_dbfs < SILENT_DBFS:
        return SILENT_DBFS, True
    return level_dbfs, float(np.std(pieces)) <= STEADY_SPREAD * float(np.mean(pieces))
