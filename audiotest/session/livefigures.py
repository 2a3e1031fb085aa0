"""The figures of the live line, from the last few tenths of a second."""

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from audiotest.measure.deviation import AUDIO_HIGH_HZ
from audiotest.measure.emphasis import USUAL_DEEMPHASIS_US
from audiotest.measure.filters import bandpass, undo_deemphasis
from audiotest.measure.tone import find_steady_tone, measure_tone
from audiotest.records import Feed
from audiotest.units import amplitude_db

SHORTEST_S = 0.1
SPEECH_BELOW_HISS_DB = 3.0


@dataclass(frozen=True, slots=True)
class LiveFigures:
    """Momentary figures; None where not measured."""

    state: Literal["waiting", "carrier", "speech"]
    level_dbfs: float | None
    peak_dbfs: float | None
    deviation_khz: float | None
    quieting_db: float | None
    sinad_db: float | None


def live_figures(
    recent: NDArray[np.float32],
    sample_rate_hz: int,
    feed: Feed | None,
    hiss: NDArray[np.float32] | None,
    *,
    in_over: bool,
) -> LiveFigures:
    """Momentary level, deviation, quieting and, on a steady tone, SINAD of `recent`, shape (n,)."""
    if len(recent) == 0:
        return LiveFigures("waiting", None, None, None, None, None)
    wide = recent.astype(np.float64)
    level = amplitude_db(float(np.sqrt(np.mean(wide**2))))
    peak = amplitude_db(float(np.max(np.abs(wide))))
    if not in_over or len(wide) < SHORTEST_S * sample_rate_hz:
        return LiveFigures("waiting", level, peak, None, None, None)
    band = bandpass(wide, sample_rate_hz, 300.0, 3400.0)
    rms = float(np.sqrt(np.mean(band**2)))
    quieting = None
    if hiss is not None and rms > 0:
        hiss_rms = float(
            np.sqrt(np.mean(bandpass(hiss.astype(np.float64), sample_rate_hz, 300.0, 3400.0) ** 2))
        )
        quieting = amplitude_db(hiss_rms / rms)
    deviation = None
    if feed is not None:
        tau = USUAL_DEEMPHASIS_US if feed.deemphasis_us is None else feed.deemphasis_us
        swing = undo_deemphasis(wide - np.mean(wide), sample_rate_hz, tau, high_hz=AUDIO_HIGH_HZ)
        inner = swing[len(swing) // 8 : -(len(swing) // 8)]
        deviation = float(np.quantile(np.abs(inner), 0.999)) * feed.scale_khz_per_fs
    sinad = None
    if find_steady_tone(wide, sample_rate_hz) is not None:
        sinad = measure_tone(wide, sample_rate_hz).sinad_db
    frame_n = max(len(band) // 12, 1)
    frames = np.sqrt(np.mean(band[: 12 * frame_n].reshape(12, frame_n) ** 2, axis=1))
    moving = float(np.max(frames)) > 2.0 * float(np.min(frames)) + 1e-9
    state: Literal["carrier", "speech"] = "speech" if moving or sinad is not None else "carrier"
    return LiveFigures(state, level, peak, deviation, quieting, sinad)
