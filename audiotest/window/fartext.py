"""What the far view says: from records to words and a band; knows nothing of Qt."""

from dataclasses import dataclass

from audiotest.advise.wording import UNSURE_BELOW
from audiotest.records import LimitSet, LiveReading, Turn
from audiotest.window.minus import with_minus
from audiotest.window.presenter import (
    DRIVE_RANGE_DB,
    ControlName,
    Heard,
    control_views,
    good_region,
    live_state,
    map_point,
    trend_words,
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Strip:
    """A figure as a band on a scale: where it lies with 90 % odds, and where it belongs; one unit for all."""

    low: float
    high: float
    good_low: float
    good_high: float
    band_low: float
    band_high: float


@dataclass(frozen=True, slots=True, kw_only=True)
class FarView:
    """What must be readable across the room: one instruction, the next one, the figure being trimmed."""

    turn: Turn
    headline: str
    amount: str
    then: str
    figure: str
    figure_note: str
    strip: Strip | None
    state: str
    recording: str = ""
    """How a recording stands, in a place of its own; whoever shows the view puts it in."""
    trend: str = ""


def far_view(
    heard: Heard | None, limits: LimitSet, reading: LiveReading | None, *, said: str = ""
) -> FarView:
    """The instruction and the figure being trimmed, for a screen three metres away.

    ``said`` is what the window has to say just now; it takes the place of the feed's state.
    """
    state = said or ("waiting for the first over" if reading is None else live_state(reading))
    if heard is None:
        return FarView(
            turn="unknown", headline="TALK", amount="", then="five seconds or more, then unkey",
            figure=_live_figure(reading), figure_note="", strip=None, state=state,
        )  # fmt: skip
    mic, deviation = control_views(heard)
    turns = (mic.turn, deviation.turn)
    moving = [view for view in (mic, deviation) if view.turn in ("raise", "lower")]
    if turns == ("unknown", "unknown"):
        # What is in the way makes the figures worthless too: only what to put right is shown.
        return FarView(
            turn="unknown", headline="NOT YET", amount="", then=heard.advice.sentence, figure="",
            figure_note="", strip=None, state=state,
        )  # fmt: skip
    if not moving:
        both = turns == ("keep", "keep")
        name: ControlName = "mic gain" if deviation.turn == "unknown" else "deviation"
        figure, note, strip = _trim_figure(heard, name, limits)
        return FarView(
            turn="keep", headline="BOTH RIGHT" if both else "LEAVE BOTH", amount="",
            then="" if both else heard.advice.sentence, figure=figure, figure_note=note, strip=strip,
            state=state, trend=trend_words(heard),
        )  # fmt: skip
    first = moving[0]
    figure, note, strip = _trim_figure(heard, first.name, limits)
    then = "not certain: try another over" if heard.advice.confidence < UNSURE_BELOW else ""
    if len(moving) > 1:
        then = f"then {moving[1].name} {moving[1].word.lower()} {moving[1].amount}"
    return FarView(
        turn=first.turn, headline=f"{first.name.upper()} {first.word}", amount=first.amount, then=then,
        figure=figure, figure_note=note, strip=strip, state=state, trend=trend_words(heard),
    )  # fmt: skip


def _trim_figure(heard: Heard, name: ControlName, limits: LimitSet) -> tuple[str, str, Strip | None]:
    """The figure that a control moves, where it belongs, and both as a band on a scale."""
    region, point = good_region(limits), map_point(heard)
    low_db, high_db = DRIVE_RANGE_DB
    if name == "mic gain":
        figure = drive_words(heard)
        if point is None or not figure:
            return "", "", None
        strip = Strip(
            low=low_db, high=high_db, good_low=region.drive_low_db, good_high=region.drive_high_db,
            band_low=low_db if point.drive_low_db is None else point.drive_low_db,
            band_high=high_db if point.drive_high_db is None else point.drive_high_db,
        )  # fmt: skip
        note = with_minus(f"right: {region.drive_low_db:+z.0f} to {region.drive_high_db:+z.0f} dB")
        return figure, note, strip
    peak = heard.over.deviation.peak_khz
    if point is None or peak is None or point.peak_low_khz is None or point.peak_high_khz is None:
        return "", "no figure in kHz: learn the scale", None
    strip = Strip(
        low=0.0, high=max(1.5 * limits.deviation_khz, 1.05 * point.peak_high_khz),
        good_low=region.peak_low_khz, good_high=region.peak_high_khz, band_low=point.peak_low_khz,
        band_high=point.peak_high_khz,
    )  # fmt: skip
    note = f"right: {region.peak_low_khz:.2f} to {region.peak_high_khz:.2f} kHz"
    return f"peak {peak:.2f} kHz", note, strip


def drive_words(heard: Heard) -> str:
    """The drive in two or three words, empty when nothing is known of it."""
    limiter = heard.over.limiter
    if limiter.drive_db is not None:
        return with_minus(f"drive {limiter.drive_db:+z.0f} dB")
    if limiter.drive_high_db is not None:
        return with_minus(f"drive under {limiter.drive_high_db:+z.0f} dB")
    return ""


def _live_figure(reading: LiveReading | None) -> str:
    if reading is None or reading.deviation_khz is None:
        return ""
    return f"{reading.deviation_khz:.2f} kHz"
