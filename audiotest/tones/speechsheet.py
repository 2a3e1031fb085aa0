"""What plays of a known speech say about the limiter's drive: the figures, the curve, the control to turn."""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from audiotest.advise.rules import (
    NOT_MEASURED,
    TARGET_DRIVE_DB,
    Call,
    judge_deviation,
    judge_mic_gain,
)
from audiotest.advise.wording import sentence_for
from audiotest.measure.knownspeech import CLIPPED_DRIVES_DB, KnownDrive
from audiotest.measure.peakerror import peak_error_db
from audiotest.records import Feed, Limiter, LimitSet, Over
from audiotest.session.engine import Engine
from audiotest.tones.balance import DRIVE_LIMITS_DB, DRIVE_SOURCE
from audiotest.tones.steps import Figure, Notebook

LEVEL_ERROR_DB = 0.3
"""How far one level of an output may be off against another of it."""
CURVE_DB = (-6, 24)


@dataclass(frozen=True, slots=True, kw_only=True)
class Play:
    """One play of the speech: its level at the socket, None where unknown; what was heard and found.

    ``known`` is None where the speech was too faint in the noise to be compared.
    """

    level_mv: float | None
    known: KnownDrive | None
    samples: NDArray[np.floating]
    rate_hz: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Drive:
    """The drive at the level asked for; ``drive_db`` and ``low_db`` None where the limiter was not seen."""

    drive_db: float | None
    low_db: float | None
    high_db: float
    clipped: float
    play: Play
    levelled: bool


def drive_at(plays: list[Play], asked_mv: float | None) -> Drive | None:
    """The drive at a level from plays at this and other levels; None when none could be compared.

    The play with the narrowest interval counts, moved by the decibels between its level and the one asked
    for. Where two plays differ by something else than their levels do, something levels before the limiter,
    and the play nearest to the level asked for counts.
    """
    heard = [play for play in plays if play.known is not None]
    if not heard:
        return None
    seen = [play for play in heard if play.known and play.known.reached]
    levelled = _levelled(heard)
    if not seen:
        play = max(heard, key=lambda play: play.level_mv or 0.0)
    elif levelled:
        play = min(heard, key=lambda play: abs(_apart_db(play.level_mv, asked_mv)))
    else:
        play = min(seen, key=_width)
    known = play.known
    assert known is not None
    apart_db = _apart_db(asked_mv, play.level_mv)
    if known.drive_db is None or known.low_db is None:
        bound_db = known.high_db + apart_db
        return Drive(drive_db=None, low_db=None, high_db=bound_db, clipped=0.0, play=play, levelled=levelled)
    drive_db = known.drive_db + apart_db
    spread_db = LEVEL_ERROR_DB if apart_db else 0.0
    return Drive(
        drive_db=drive_db, low_db=drive_db - float(np.hypot(known.drive_db - known.low_db, spread_db)),
        high_db=drive_db + float(np.hypot(known.high_db - known.drive_db, spread_db)),
        clipped=known.clipped_at(drive_db), play=play, levelled=levelled,
    )  # fmt: skip


def _apart_db(level_mv: float | None, other_mv: float | None) -> float:
    return 0.0 if level_mv is None or other_mv is None else float(20.0 * np.log10(level_mv / other_mv))


def _width(play: Play) -> float:
    known = play.known
    return known.high_db - known.low_db if known and known.low_db is not None else float("inf")


def _levelled(plays: list[Play]) -> bool:
    """Whether the drives of two plays differ by something else than the plays' levels do."""
    for k, one in enumerate(plays):
        for other in plays[k + 1 :]:
            low, high = (one, other) if (one.level_mv or 0.0) <= (other.level_mv or 0.0) else (other, one)
            a, b = low.known, high.known
            if a is None or b is None:
                continue
            rise_db = _apart_db(high.level_mv, low.level_mv)
            # From the lower play's least to the higher one's most, and the other way round.
            least_db = -1e9 if b.low_db is None else b.low_db - a.high_db
            most_db = 1e9 if a.low_db is None else b.high_db - a.low_db
            if not least_db - LEVEL_ERROR_DB <= rise_db <= most_db + LEVEL_ERROR_DB:
                return True
    return False


def write_drive(
    notebook: Notebook,
    plays: list[Play],
    asked_mv: float | None,
    feed: Feed | None,
    limits: LimitSet,
    *,
    own: bool,
) -> None:
    """Write figures, curve and what to turn into a notebook.

    ``own`` says that ``asked_mv`` is what the technician's voice gives: only then is it the set's drive in
    use, which belongs on a sheet.
    """
    found = drive_at(plays, asked_mv)
    at = "as played" if asked_mv is None else f"at {asked_mv:.3g} mV"
    notebook.figures += _drive_figures(found, at, asked_mv, own=own)
    if found is None:
        notebook.notes.append("the speech was too faint in the noise to be compared")
        return
    if asked_mv is not None:
        _plot(notebook, found, asked_mv)
    limiter = _limiter(found)
    mic = judge_mic_gain(limiter)
    over = _over(_for_deviation(plays, asked_mv) or found.play, feed, limits)
    deviation = _deviation(over, plays, asked_mv, feed, limits)
    if feed is not None:
        notebook.figures.append(
            Figure(
                key="peak_khz", label="peak deviation", unit="kHz", limit_high=limits.deviation_khz,
                limit_source=limits.source, value=over.deviation.peak_khz if over else None,
            )
        )  # fmt: skip
    if mic.turn == "unknown" and found.drive_db is None:
        notebook.notes.append("the limiter is not reached; play it louder to see by how much")
    elif over is not None:
        odds = min([call.odds for call in (mic, deviation) if call.turn != "unknown"], default=0.0)
        notebook.notes.append(sentence_for(replace(over, limiter=limiter), mic, deviation, odds))
    _remarks(notebook, found, asked_mv, own=own)


def _drive_figures(found: Drive | None, at: str, asked_mv: float | None, *, own: bool) -> list[Figure]:
    drive_db = None if found is None else found.drive_db
    low_db, high_db = DRIVE_LIMITS_DB
    figures = [
        Figure(
            key="drive_db" if own else "played_drive_db", label=f"drive {at}", value=drive_db, unit="dB",
            low=None if found is None else found.low_db,
            high=None if found is None else found.high_db, limit_low=low_db, limit_high=high_db,
            limit_source=DRIVE_SOURCE, reference=True,
        ),
        Figure(
            key="clipped_percent" if own else "played_clipped_percent", label="speech clipped",
            value=None if found is None else 100.0 * found.clipped, unit="%",
        ),
        Figure(
            key="mic_gain_to_turn_db", label=f"mic gain for {TARGET_DRIVE_DB:g} dB", unit="dB",
            value=None if drive_db is None else TARGET_DRIVE_DB - drive_db,
        ),
    ]  # fmt: skip
    if asked_mv is not None:
        onset_mv = None if drive_db is None else asked_mv * 10.0 ** (-drive_db / 20.0)
        figures.append(Figure(key="speech_onset_mv", label="limiter reached at", value=onset_mv, unit="mV"))
    return figures


def _plot(notebook: Notebook, found: Drive, asked_mv: float) -> None:
    """Clipped share over the level of the speech, from the drive that was found."""
    known = found.play.known
    if found.drive_db is None or known is None:
        return
    for drive_db in CLIPPED_DRIVES_DB:
        if CURVE_DB[0] <= drive_db <= CURVE_DB[1]:
            level_mv = asked_mv * 10.0 ** ((drive_db - found.drive_db) / 20.0)
            notebook.plot("clipped", level_mv, 100.0 * known.clipped_at(drive_db))


def _limiter(found: Drive) -> Limiter:
    return Limiter(
        drive_db=found.drive_db, drive_low_db=found.low_db, drive_high_db=found.high_db,
        clipped_fraction=found.clipped, reached=found.drive_db is not None and found.drive_db > 0.0,
    )  # fmt: skip


def _for_deviation(plays: list[Play], asked_mv: float | None) -> Play | None:
    """The play nearest to the level asked for in which the limiter acted, so that its ceiling shows."""
    seen = [play for play in plays if play.known and play.known.reached]
    return min(seen, key=lambda play: abs(_apart_db(play.level_mv, asked_mv)), default=None)


def _over(play: Play, feed: Feed | None, limits: LimitSet) -> Over | None:
    engine = Engine(play.rate_hz, feed=feed, limits=limits)
    overs = [*engine.push(np.asarray(play.samples, dtype=np.float32)), *engine.finish()]
    spoken = [over for over in overs if over.kind == "voice"]
    return max(spoken, key=lambda over: over.end_s - over.start_s, default=None)


def _deviation(
    over: Over | None, plays: list[Play], asked_mv: float | None, feed: Feed | None, limits: LimitSet
) -> Call:
    """What to do about the deviation, by the play in which the ceiling shows."""
    peak_khz = None if over is None else over.deviation.peak_khz
    play = _for_deviation(plays, asked_mv)
    found = None if play is None else drive_at([play], play.level_mv)
    spread_db = peak_error_db("voice", 0.0 if feed is None else feed.scale_uncertainty_db)
    return judge_deviation(
        NOT_MEASURED if found is None else _limiter(found), Call("keep" if found else "raise"),
        None if peak_khz is None else peak_khz / limits.deviation_khz, spread_db,
    )  # fmt: skip


def _remarks(notebook: Notebook, found: Drive, asked_mv: float | None, *, own: bool) -> None:
    known = found.play.known
    assert known is not None
    if asked_mv is None:
        notebook.notes.append("the drive is for the speech as it was played, and as many dB more or less")
    elif not own:
        notebook.notes.append(
            f"the drive is for {asked_mv:.3g} mV of speech: one dB more at the socket is one dB more drive. "
            "Give --own-mv for your own voice."
        )
    if found.levelled:
        notebook.notes.append(
            "played louder, the drive did not rise by as much: something levels before the limiter"
        )
    knee = "hard" if known.knee is None else f"soft, exponent {known.knee:g}"
    limited = f"a limiter ({knee})" if known.reached else "no limiter"
    notebook.notes.append(
        f"{limited} explains the recording by {known.explained_db:.0f} dB; intervals hold at about 90 %"
    )
