"""The balance of mic gain and deviation as a guided procedure: talk, turn, talk, until both stand right."""

from dataclasses import dataclass

import numpy as np

from audiotest.advise.rules import advise
from audiotest.errors import MeasureError
from audiotest.records import Advice, Feed, LimitSet, Over
from audiotest.session.engine import Engine
from audiotest.tones.guided import Guided, Script
from audiotest.tones.steps import Ask, Figure, Heard, Notebook, Step

SPEAK_S = 9.0
MOST_ROUNDS = 8
SURE = 0.8
"""Below this, one over that says \"right\" may be a misread voice: the next has to say so too."""
DRIVE_LIMITS_DB = (-3.0, 8.0)
UNSCALED = "only the mic gain is settled: the deviation needs a feed with a learned scale"
DRIVE_SOURCE = "common practice, no source: limiter reached, not crushed"


def balance(feed: Feed | None, limits: LimitSet) -> Guided:
    """Procedure: overs of speech until the advice is to keep both controls; ends with their settings.

    What was turned adds up to two figures: mic gain in dB and deviation as a factor, both against where the
    controls stood at the start. Without a feed scale only the mic gain can be settled. Eight overs without
    both called right end it incomplete, with what was turned.
    """

    def script(notebook: Notebook) -> Script:
        so_far = _SoFar()
        try:
            yield from _rounds(notebook, feed, limits, so_far)
        finally:
            # Also when it is cut short: what has been turned is worth knowing.
            _write(notebook, limits, so_far)

    return Guided(
        script,
        Notebook(
            procedure="balance", title="Balance of mic gain and deviation", x_label="over",
            y_label="drive, dB; peak, kHz",
        ),
    )  # fmt: skip


@dataclass(slots=True)
class _SoFar:
    """Where the procedure stands: what was turned, and the last over."""

    turned_db: float = 0.0
    factor: float = 1.0
    over: Over | None = None
    was_right: bool = False


def _rounds(notebook: Notebook, feed: Feed | None, limits: LimitSet, so_far: _SoFar) -> Script:
    for number in range(1, MOST_ROUNDS + 1):
        heard = yield Step(
            prompt=f"Over {number}: key up, wait half a second, read aloud for six seconds, let go.",
            settle_s=0.0, listen_s=SPEAK_S, speak=True, keyed=True,
        )  # fmt: skip
        # A turned deviation control has moved the limiter's ceiling, if the feed keeps one.
        if feed is not None and so_far.factor != 1.0:
            feed = feed.without_ceiling()
        over = _longest(heard, feed, limits)
        if over is None:
            notebook.notes.append(f"over {number}: no speech found")
            continue
        so_far.over = over
        advice = advise(over, limits, scale_uncertainty_db=feed.scale_uncertainty_db if feed else 1.0)
        _plot(notebook, number, over)
        notebook.notes.append(f"over {number}: {advice.sentence}")
        right = advice.mic_gain == "keep" and (feed is None or advice.deviation == "keep")
        if right and (advice.confidence >= SURE or so_far.was_right):
            if feed is None:
                notebook.notes.append(UNSCALED)
            return
        so_far.was_right = right
        asks = _turns(advice)
        if not asks:
            continue
        done = yield Step(prompt=advice.sentence, asks=asks, listen_s=0.0)
        for ask, answer in zip(asks, done.answers, strict=True):
            if ask.setting == "mic_gain_db":
                so_far.turned_db += answer
            else:
                so_far.factor *= answer
    raise MeasureError(
        f"not settled in {MOST_ROUNDS} overs: the two controls have not both been called right",
        "run it again, with longer overs at an even distance",
    )


def _longest(heard: Heard, feed: Feed | None, limits: LimitSet) -> Over | None:
    engine = Engine(heard.rate_hz, feed=feed, limits=limits)
    overs = [*engine.push(np.asarray(np.real(heard.samples), dtype=np.float32)), *engine.finish()]
    spoken = [over for over in overs if over.kind == "voice"]
    return max(spoken, key=lambda over: over.end_s - over.start_s, default=None)


def _turns(advice: Advice) -> tuple[Ask, ...]:
    asks = []
    if advice.mic_gain in ("raise", "lower") and advice.mic_gain_db:
        # Who turned less than suggested types it with the sign: "down by -11" would ask for a plain 8.
        words = f"turn mic gain {'up' if advice.mic_gain_db > 0 else 'down'} (minus is down)"
        asks.append(Ask(setting="mic_gain_db", words=words, suggested=advice.mic_gain_db, unit="dB"))
    if advice.deviation in ("raise", "lower") and advice.deviation_factor:
        words = f"turn deviation {'up' if advice.deviation_factor > 1 else 'down'} (below 1 is down), times"
        asks.append(Ask(setting="deviation_factor", words=words, suggested=advice.deviation_factor))
    return tuple(asks)


def _plot(notebook: Notebook, number: int, over: Over) -> None:
    for curve, value in (("drive, dB", over.limiter.drive_db), ("peak, kHz", over.deviation.peak_khz)):
        if value is not None:
            notebook.plot(curve, number, value)


def _write(notebook: Notebook, limits: LimitSet, so_far: _SoFar) -> None:
    over = so_far.over
    low_db, high_db = DRIVE_LIMITS_DB
    limiter = over.limiter if over else None
    notebook.figures += [
        Figure(key="mic_gain_turned_db", label="mic gain, turned by", value=so_far.turned_db, unit="dB"),
        Figure(key="deviation_turned", label="deviation, turned by", value=so_far.factor, unit="times"),
        Figure(
            key="drive_db", label="drive into the limiter", value=limiter.drive_db if limiter else None,
            unit="dB", low=limiter.drive_low_db if limiter else None,
            high=limiter.drive_high_db if limiter else None, limit_low=low_db, limit_high=high_db,
            limit_source=DRIVE_SOURCE, reference=True,
        ),
        Figure(
            key="peak_khz", label="peak deviation", value=over.deviation.peak_khz if over else None,
            unit="kHz", limit_high=limits.deviation_khz, limit_source=limits.source,
        ),
    ]  # fmt: skip
