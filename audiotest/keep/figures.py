"""From a measured over to the figures of a sheet: the one key by which readings flow in."""

from dataclasses import asdict
from typing import Any

from audiotest.keep.sheetrecords import Figure
from audiotest.measure.peakerror import peak_error_90_db
from audiotest.records import Advice, Feed, Over
from audiotest.units import db_amplitude


def sheet_figures(over: Over, feed: Feed | None) -> list[Figure]:
    """The figures that an over gives for a sheet; what was not measured is left out.

    The bounds are 90 % intervals: of the deviation as in `measure/peakerror.py`, of the drive as measured.
    """
    found: list[Figure] = []

    def add(quantity: str, value: float | None, low: float | None = None, high: float | None = None) -> None:
        if value is not None:
            found.append(Figure(quantity=quantity, value=value, low=low, high=high))

    peak = over.deviation.peak_khz
    if peak is not None and feed is not None:
        ratio = db_amplitude(peak_error_90_db(over.kind, feed.scale_uncertainty_db))
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
