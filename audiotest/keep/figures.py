"""From a measured over to the figures of a sheet: the one key by which readings flow in."""

import math
from dataclasses import asdict
from typing import Any

from audiotest.keep.sheets import Figure
from audiotest.records import Advice, Feed, Over
from audiotest.units import db_amplitude

SPEECH_PEAK_ERROR_DB = 1.5
"""Standard error of the peak deviation of speech: half of 269 overs over the simulated radio, 18 dB and more
over the noise, were within 0.99 dB of the truth (docs/accuracy.md); normally distributed, that is
0.6745 standard errors."""
INTERVAL_90 = 1.645


def sheet_figures(over: Over, feed: Feed | None) -> list[Figure]:
    """The figures that an over gives for a sheet; what was not measured is left out.

    The bounds of the deviation are the scale's uncertainty and, of speech, that of finding a peak behind the
    receiver's filters, at 90 %; those of the drive are its 90 % interval.
    """
    found: list[Figure] = []

    def add(quantity: str, value: float | None, low: float | None = None, high: float | None = None) -> None:
        if value is not None:
            found.append(Figure(quantity=quantity, value=value, low=low, high=high))

    peak = over.deviation.peak_khz
    if peak is not None and feed is not None:
        peak_db = INTERVAL_90 * SPEECH_PEAK_ERROR_DB if over.kind == "voice" else 0.0
        ratio = db_amplitude(math.hypot(feed.scale_uncertainty_db, peak_db))
        add("deviation", peak, peak / ratio, peak * ratio)
    else:
        add("deviation", peak)
    if over.kind == "voice":
        limiter = over.limiter
        add("drive", limiter.drive_db, limiter.drive_low_db, limiter.drive_high_db)
        clipped = limiter.clipped_fraction
        add("clipped", None if clipped is None else 100.0 * clipped)
        add("speech-level", over.level.active_speech_dbfs)
        add("hum", over.noise.hum_db)
    if over.tone is not None:
        add("sinad", over.tone.sinad_db)
        add("distortion", over.tone.thd_percent)
    if over.kind != "carrier":
        add("snr", over.noise.snr_db)
    add("quieting", over.noise.quieting_db)
    return found


def conditions(over: Over, advice: Advice | None, feed: Feed | None) -> dict[str, Any]:
    """What is kept with a clip: the readings, the advice, and the scale that they rest on."""
    return {
        "over": asdict(over),
        "advice": None if advice is None else asdict(advice),
        "feed": None if feed is None else feed.figures(),
    }
