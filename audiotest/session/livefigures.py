"""The figures of the live line, from the last few tenths of a second."""

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from audiotest.measure.activity import frame_rms
from audiotest.measure.bare import EDGE_S
from audiotest.measure.emphasis import USUAL_DEEMPHASIS_US
from audiotest.measure.filters import bandpass, undo_deemphasis
from audiotest.measure.hiss import ReceiverInverse
from audiotest.measure.level import overload_runs
from audiotest.measure.tone import find_steady_tone, measure_tone
from audiotest.measure.views import AUDIO_HIGH_HZ
from audiotest.records import Feed
from audiotest.units import amplitude_db

SHORTEST_S = 0.1
FRAME_S = 0.02
UNSURE_START_S = 0.1
"""The finder places the start of an over in a cell of 40 ms: hiss may reach so far into it."""
NOISE_PEAK = 3.29
"""99.9 % of the magnitudes of Gaussian noise lie below this many times its RMS."""


HISS_AGAIN, HISS_AGAIN_N = 0.6, 3
"""So many frames in a row at this share of the hiss's level: the carrier has gone."""


@dataclass(frozen=True, slots=True)
class Floor:
    """The quietest 20 ms that an over has shown so far: the carrier's noise, once nobody spoke."""

    khz: float | None
    """RMS at the discriminator."""
    band_fs: float
    """RMS in 300-3400 Hz of the samples."""


@dataclass(frozen=True, slots=True)
class LiveFigures:
    """Momentary figures; None where not measured."""

    state: Literal["waiting", "carrier", "speech"]
    level_dbfs: float | None
    peak_dbfs: float | None
    deviation_khz: float | None
    quieting_db: float | None
    sinad_db: float | None
    floor: Floor | None = None
    overloaded: bool = False
    """Only inside an over: open-squelch hiss is louder than any speech, and may overload."""


def live_figures(
    recent: NDArray[np.float32],
    sample_rate_hz: int,
    feed: Feed | None,
    hiss_fs: float | None,
    *,
    over_s: float | None,
    inverse: ReceiverInverse | None = None,
    floor: Floor | None = None,
) -> LiveFigures:
    """Momentary level, deviation, quieting and, on a steady tone, SINAD of `recent`, shape (n,).

    The over has lasted `over_s`, None without one; `hiss_fs` is the `audio_rms` of the hiss before it.
    `inverse` undoes the receiver's filters where the hiss told them; `floor` is the lowest that the over has
    shown so far. Noise and deviation add as powers. When the hiss is back the carrier is gone: nothing is
    measured then.
    """
    if len(recent) == 0:
        return LiveFigures("waiting", None, None, None, None, None)
    wide = recent.astype(np.float64)
    level = amplitude_db(float(np.sqrt(np.mean(wide**2))))
    peak = amplitude_db(float(np.max(np.abs(wide))))
    over_n = 0 if over_s is None else round((over_s - EDGE_S) * sample_rate_hz)
    wide = wide[max(len(wide) - max(over_n, 0), 0) :]
    if len(wide) < SHORTEST_S * sample_rate_hz:
        return LiveFigures("waiting", level, peak, None, None, None)
    frame_n = max(round(FRAME_S * sample_rate_hz), 1)
    frames = frame_rms(_audio(wide, sample_rate_hz), frame_n)
    gone_n = 0 if hiss_fs is None else _last_in_a_row(frames > HISS_AGAIN * hiss_fs)
    if gone_n >= HISS_AGAIN_N:
        return LiveFigures("waiting", level, peak, None, None, None, floor)
    wide = wide[: len(wide) - gone_n * frame_n]
    surely_n = 0 if over_s is None else round((over_s - UNSURE_START_S) * sample_rate_hz) - gone_n * frame_n
    overloaded = surely_n > 0 and overload_runs(wide[-surely_n:]) > 0
    # The filter has only half a frame to see at either end.
    quietest_fs = min(float(np.min(frames[1:-1])), np.inf if floor is None else floor.band_fs)
    quieting = None if hiss_fs is None or quietest_fs <= 0.0 else amplitude_db(hiss_fs / quietest_fs)
    deviation = floor_khz = None
    if feed is not None:
        known = None if floor is None else floor.khz
        deviation, floor_khz = _deviation(wide - np.mean(wide), sample_rate_hz, feed, inverse, known)
    moving = float(np.max(frames)) > 2.0 * float(np.min(frames)) + 1e-9
    sinad = None
    # The search takes longer than all else here, and what moves is no steady tone.
    if not moving and find_steady_tone(wide, sample_rate_hz) is not None:
        sinad = measure_tone(wide, sample_rate_hz).sinad_db
    state: Literal["carrier", "speech"] = "speech" if moving or sinad is not None else "carrier"
    return LiveFigures(
        state, level, peak, deviation, quieting, sinad, Floor(floor_khz, quietest_fs), overloaded
    )


def _last_in_a_row(holds: NDArray[np.bool_]) -> int:
    """How many of the last items hold without a break."""
    return len(holds) if np.all(holds) else int(np.argmin(holds[::-1]))


def audio_rms(samples: NDArray[np.floating], rate_hz: int) -> float:
    """RMS of `samples`, shape (n,), in 300-3400 Hz."""
    return float(np.sqrt(np.mean(_audio(samples, rate_hz) ** 2)))


def _audio(samples: NDArray[np.floating], rate_hz: int) -> NDArray[np.float64]:
    """300-3400 Hz of `samples`, shape (n,)."""
    return bandpass(samples.astype(np.float64), rate_hz, 300.0, 3400.0)


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
