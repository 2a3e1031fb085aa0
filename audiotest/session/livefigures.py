"""The figures of the live line, from the last few tenths of a second."""

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from audiotest.measure.activity import frame_rms
from audiotest.measure.emphasis import USUAL_DEEMPHASIS_US
from audiotest.measure.filters import bandpass, undo_deemphasis
from audiotest.measure.hiss import ReceiverInverse
from audiotest.measure.tone import find_steady_tone, measure_tone
from audiotest.measure.views import AUDIO_HIGH_HZ
from audiotest.records import Feed
from audiotest.units import amplitude_db

SHORTEST_S = 0.1
FRAME_S = 0.02
NOISE_PEAK = 3.29
"""99.9 % of the magnitudes of Gaussian noise lie below this many times its RMS."""


@dataclass(frozen=True, slots=True)
class LiveFigures:
    """Momentary figures; None where not measured."""

    state: Literal["waiting", "carrier", "speech"]
    level_dbfs: float | None
    peak_dbfs: float | None
    deviation_khz: float | None
    quieting_db: float | None
    sinad_db: float | None
    floor_khz: float | None = None
    """RMS of the quietest 20 ms at the discriminator: the carrier's noise, if nobody spoke just then."""


def live_figures(
    recent: NDArray[np.float32],
    sample_rate_hz: int,
    feed: Feed | None,
    hiss: NDArray[np.float32] | None,
    *,
    in_over: bool,
    inverse: ReceiverInverse | None = None,
    floor_khz: float | None = None,
) -> LiveFigures:
    """Momentary level, deviation, quieting and, on a steady tone, SINAD of `recent`, shape (n,).

    `inverse` undoes the receiver's filters where the hiss told them; `floor_khz` is the lowest floor that
    the over has shown so far. Noise and deviation add as powers.
    """
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
    deviation = floor = None
    if feed is not None:
        deviation, floor = _deviation(wide - np.mean(wide), sample_rate_hz, feed, inverse, floor_khz)
    sinad = None
    if find_steady_tone(wide, sample_rate_hz) is not None:
        sinad = measure_tone(wide, sample_rate_hz).sinad_db
    frame_n = max(len(band) // 12, 1)
    frames = np.sqrt(np.mean(band[: 12 * frame_n].reshape(12, frame_n) ** 2, axis=1))
    moving = float(np.max(frames)) > 2.0 * float(np.min(frames)) + 1e-9
    state: Literal["carrier", "speech"] = "speech" if moving or sinad is not None else "carrier"
    return LiveFigures(state, level, peak, deviation, quieting, sinad, floor)


def _deviation(
    wide: NDArray[np.float64],
    rate_hz: int,
    feed: Feed,
    inverse: ReceiverInverse | None,
    floor_khz: float | None,
) -> tuple[float, float]:
    """99.9th percentile of the deviation less the noise, and the floor, both in kHz."""
    tau = USUAL_DEEMPHASIS_US if feed.deemphasis_us is None else feed.deemphasis_us
    if inverse is None:
        swing = undo_deemphasis(wide, rate_hz, tau, high_hz=AUDIO_HIGH_HZ)
    else:
        swing = inverse.apply(wide, rate_hz)
    inner = swing[len(swing) // 8 : len(swing) - len(swing) // 8] * feed.scale_khz_per_fs
    quietest = float(np.min(frame_rms(inner, max(round(FRAME_S * rate_hz), 1))))
    floor = quietest if floor_khz is None else min(quietest, floor_khz)
    reached = float(np.quantile(np.abs(inner), 0.999))
    return float(np.sqrt(max(reached**2 - (NOISE_PEAK * floor) ** 2, 0.0))), floor
