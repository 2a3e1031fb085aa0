"""What a procedure asks for and what it leaves behind: steps, figures, curves, the report."""

from dataclasses import dataclass, field
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from audiotest.tones.signals import Signal

Setting = Literal[
    "generator_dbm", "generator_tone_hz", "generator_deviation_khz", "squelch", "mic_gain_db",
    "deviation_factor",
]  # fmt: skip
"""What the technician sets; the rehearsal does the same to the simulated radio.

``squelch`` is 0 for wide open and 1 for set as in use; ``mic_gain_db`` and ``deviation_factor`` are turns.
"""
GENERATOR_OFF_DBM = -999.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Ask:
    """One thing to set or to answer, with the value suggested; the answer may differ from it."""

    setting: Setting
    words: str
    suggested: float
    unit: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """One move of a procedure.

    ``prompt`` tells the technician what is going on. ``asks`` come first; then ``signal`` (None is silence)
    sounds at ``level_mv`` for as long as it takes: ``settle_s`` that nobody looks at, ``listen_s`` that is
    measured. ``keyed`` says whether the transmitter is on the air or the dummy load meanwhile; with ``speak``
    the technician keys it, talks and lets go while it is listened to. ``feed`` is what is listened to: the
    receiver's audio, an I/Q feed, or the beat note of a receiver for CW. With ``listen_s`` 0 it only asks.
    ``wait`` says that the prompt is something to do, and that the technician says when it is done.
    ``live`` is one of many readings while somebody turns something: its prompt takes the place of the one
    before. ``onward`` goes on where the last step of the kind ended, without a gap: for meters that run.
    """

    prompt: str
    asks: tuple[Ask, ...] = ()
    signal: Signal | None = None
    level_mv: float = 0.0
    settle_s: float = 0.3
    listen_s: float = 0.5
    keyed: bool = False
    speak: bool = False
    wait: bool = False
    live: bool = False
    onward: bool = False
    feed: Literal["audio", "iq", "beat"] = "audio"


@dataclass(frozen=True, slots=True, kw_only=True)
class Heard:
    """What a step brought: samples of shape (n,), complex from an I/Q feed, and the answers in order.

    ``remark`` is what the bench has to say about it, for the report's notes.
    """

    samples: NDArray[np.inexact]
    rate_hz: int
    answers: tuple[float, ...] = ()
    remark: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Figure:
    """One figure of a procedure, with limits if there are any, and where those come from.

    ``low`` and ``high`` bound the value itself at about 95 %, where the procedure knows. A limit that is
    known from memory or by common practice only is a ``reference``: it tells what to expect, no more.
    """

    key: str
    label: str
    value: float | None
    unit: str
    low: float | None = None
    high: float | None = None
    limit_low: float | None = None
    limit_high: float | None = None
    limit_source: str = ""
    reference: bool = False

    @property
    def inside(self) -> bool | None:
        """Whether the value is within its limits, whatever those are worth; None without either."""
        if self.value is None or (self.limit_low is None and self.limit_high is None):
            return None
        over = self.limit_high is not None and self.value > self.limit_high
        under = self.limit_low is not None and self.value < self.limit_low
        return not (over or under)

    @property
    def passed(self) -> bool | None:
        """Whether the value keeps its limits; None where those are a reference, or there are none."""
        return None if self.reference else self.inside


@dataclass(frozen=True, slots=True, kw_only=True)
class Curve:
    """Points of a plot."""

    name: str
    points: tuple[tuple[float, float], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Point:
    """One point, and the name of the curve that it belongs to."""

    curve: str
    x: float
    y: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Report:
    """All that a procedure found, complete or as far as it came, without audio."""

    procedure: str
    title: str
    complete: bool
    x_label: str
    y_label: str
    x_logarithmic: bool
    figures: tuple[Figure, ...]
    curves: tuple[Curve, ...]
    notes: tuple[str, ...]

    @property
    def passed(self) -> bool | None:
        """Whether every figure with a limit keeps it; None when there is none, or it is incomplete."""
        verdicts = [figure.passed for figure in self.figures if figure.passed is not None]
        if False in verdicts:
            return False
        return True if verdicts and self.complete else None


@dataclass(slots=True, kw_only=True)
class Notebook:
    """Where a running procedure writes, point by point, so that nothing is lost when it is cut short.

    ``open_ended`` says that it has no end of its own: a stop completes it.
    """

    procedure: str
    title: str
    x_label: str = ""
    y_label: str = ""
    x_logarithmic: bool = False
    open_ended: bool = False
    figures: list[Figure] = field(default_factory=list)
    curves: dict[str, list[tuple[float, float]]] = field(default_factory=dict)
    notes: list[str] = field(default_factory=list)
    latest: Point | None = None

    def plot(self, curve: str, x: float, y: float, *, read: bool = True) -> None:
        """Add a point to a curve; ``read`` says that it was measured just now and is worth reading out."""
        self.curves.setdefault(curve, []).append((float(x), float(y)))
        if read:
            self.latest = Point(curve=curve, x=float(x), y=float(y))

    def report(self, *, complete: bool) -> Report:
        """Take what is written so far."""
        return Report(
            procedure=self.procedure, title=self.title, complete=complete, x_label=self.x_label,
            y_label=self.y_label, x_logarithmic=self.x_logarithmic, figures=tuple(self.figures),
            curves=tuple(
                Curve(name=name, points=tuple(sorted(points))) for name, points in self.curves.items()
            ),
            notes=tuple(self.notes),
        )  # fmt: skip
