"""Whether something holds the noise down together with the voice: a level control, and whose.

A level control turns its gain down while somebody speaks and lets it rise again between the words. The noise
that passes through it goes down and up too: before the first word it is loudest, after a loud word it is low,
and it rises as the pause goes on. A clipper does nothing of the kind, nor does a receiver's noise.
"""

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import uniform_filter1d

from audiotest.measure.bands import WINDOW_HOPS, band_frames, plan_bands
from audiotest.measure.beat import HOP_S

Levels = NDArray[np.float64]
Whose = Literal["set", "sound card", "either"]

VOICE_BANDS, ROOM_BANDS = slice(0, 6), slice(0, 3)
"""300-3400 Hz; and 300-1600 Hz, where a room's noise stands highest over the noise of a discriminator, which
rises with frequency."""
ABOVE_BANDS = slice(7, 9)
"""4300-7500 Hz: no splatter filter lets any of the transmitter's noise through up there."""
SMOOTH_N = 3
APART_N = SMOOTH_N + WINDOW_HOPS // 2
PAUSE_S = 0.12
LOUDER = 1.6
"""2 dB: in a pause no band is more than this over the noise before the first word. A limiter that is busy
with a hiss of the voice, which the splatter filter takes away, holds the noise down too, for less time."""
LEAST_BARE_S = 0.12
STEADY_DB = 1.6
"""Scatter of the noise before the first word, frame by frame: Gaussian noise has about 0.9 dB; talk, steps
and fluttering fans have more."""
NOISE_FLATNESS_DB = -3.5
"""Gaussian noise has -2.3 here; a word, a hum or a whistle far less."""
HELD_DB = -1.75
"""Set, with the bounds around it, on simulated overs of the train and tune splits: 18 of 81 that a level
control held down by more than 8 dB showed it, none of 1553 plain ones. In about half of them no talker left
a pause as quiet as this looks for."""
SURE_RISE = 1.645
"""Standard errors: a rise that chance makes once in twenty."""
MOVES_ALONG = 0.5
LEAST_ABOVE = 10.0 ** (-105.0 / 10.0)
"""What is quieter up there is no noise of a receiver but the rounding of 16 bits, or nothing behind a narrow
link or a low sample rate, and does not move whoever levels."""
MOST_S = 30.0
"""Enough pauses; more of a long over takes work space and tells no more."""


@dataclass(frozen=True, slots=True)
class HeldNoise:
    """Noise of the quietest pause re the noise before the first word, and what the pauses have in common.

    ``fall_db`` is in 300-1600 Hz, ``above_db`` in 4.3-7.5 kHz (None where no noise is heard up there),
    ``rise_db_per_s`` the slope inside all pauses together with its standard error, ``scatter_db`` the scatter
    of the noise before the first word and ``flatness_db`` that of its spectrum (`bands.BandFrames`).
    """

    fall_db: float
    above_db: float | None
    rise_db_per_s: float
    rise_error_db_per_s: float
    scatter_db: float
    flatness_db: float

    @property
    def by(self) -> Whose | None:
        """Whose level control holds the noise down, None where none is seen."""
        rises = self.rise_db_per_s >= SURE_RISE * self.rise_error_db_per_s
        even = self.scatter_db <= STEADY_DB and self.flatness_db >= NOISE_FLATNESS_DB
        if self.fall_db > HELD_DB or not rises or not even:
            return None
        if self.above_db is None:
            return "either"
        return "sound card" if self.above_db <= MOVES_ALONG * self.fall_db else "set"


def held_noise(
    samples: NDArray[np.floating],
    sample_rate_hz: int,
    opening_s: tuple[float, float],
    spoken_s: tuple[float, float],
) -> HeldNoise | None:
    """Compare the noise between the words with the noise before the first.

    Parameters
    ----------
    samples : ndarray, shape (n,)
        An over, full scale 1.0, sub-audible tone removed; de-emphasised or not.
    sample_rate_hz : int
        Sample rate in Hz, 8 kHz and up; 24 kHz tell whose control it is.
    opening_s, spoken_s : (float, float)
        From when to when the level was even before the first word (`bare.opening`), and from when to when
        somebody spoke, in seconds of `samples`.

    Returns
    -------
    HeldNoise or None
        None where it cannot be told: less than 0.12 s before the first word, or no pause of 0.12 s that is as
        quiet as it.

    Notes
    -----
    No source. What lies above the voice is the receiver's own noise, which passes no control in the set, but
    does pass one in the sound card. Where the room is quieter than the carrier's noise nothing is held down
    that could be heard, and the fall is about 0 dB.
    """
    bare, spoken = ((round(start / HOP_S), round(end / HOP_S)) for start, end in (opening_s, spoken_s))
    if bare[1] - bare[0] < round(LEAST_BARE_S / HOP_S):
        return None
    looked_at = band_frames(samples[: round(MOST_S * sample_rate_hz)], plan_bands(sample_rate_hz))
    power = 10.0 ** (looked_at.levels_db / 10.0)
    # A frame that begins near the end reaches into the first word.
    first = slice(bare[0], bare[1] + 1 - WINDOW_HOPS)
    before = power[first]
    ratio = uniform_filter1d(power, SMOOTH_N, axis=0) / np.mean(before, axis=0)
    found = _pauses(ratio, max(spoken[0], bare[1]), spoken[1])
    if not found:
        return None
    room_db = 10.0 * np.log10(np.mean(ratio[:, ROOM_BANDS], axis=1))
    falls_db = [10.0 * np.log10(np.mean(ratio[part, ROOM_BANDS])) for part in found]
    quietest = found[int(np.argmin(falls_db))]
    above = ratio[quietest, ABOVE_BANDS]
    heard = above.shape[1] > 0 and float(np.mean(before[:, ABOVE_BANDS])) > LEAST_ABOVE
    slope, error = _common_slope([room_db[part] for part in found])
    return HeldNoise(
        fall_db=float(min(falls_db)),
        above_db=float(10.0 * np.log10(np.mean(above))) if heard else None,
        rise_db_per_s=slope / HOP_S,
        rise_error_db_per_s=error / HOP_S,
        scatter_db=_scatter_db(before),
        flatness_db=float(np.mean(looked_at.flatness_db[first, ROOM_BANDS])),
    )


def level_control_conditions(
    samples: NDArray[np.floating],
    sample_rate_hz: int,
    opening_s: tuple[float, float],
    spoken_s: tuple[float, float],
) -> list[str]:
    """Name the condition of an over, shape (n,), whose noise is held down; arguments as of `held_noise`."""
    found = held_noise(samples, sample_rate_hz, opening_s, spoken_s)
    by = None if found is None else found.by
    return [] if by is None else ["level_control" if by == "set" else "levelling"]


def _pauses(ratio: Levels, first_n: int, end_n: int) -> list[slice]:
    """Frames of each pause: a stretch in which no band of the voice is louder than the bare carrier."""
    quiet = np.zeros(len(ratio) + 2, dtype=np.int8)
    inside = slice(first_n + SMOOTH_N, max(end_n - SMOOTH_N, 0))
    quiet[1:-1][inside] = np.max(ratio[inside, VOICE_BANDS], axis=1) < LOUDER
    edges = np.flatnonzero(np.diff(quiet))
    least = round(PAUSE_S / HOP_S)
    return [slice(a, b) for a, b in zip(edges[::2], edges[1::2], strict=True) if b - a >= least]


def _common_slope(parts: list[Levels]) -> tuple[float, float]:
    """One slope per frame fitted to all parts, each about its own mean (least squares), with its error.

    Frames overlap: only every `APART_N`th counts as one of its own.
    """
    times = [np.arange(len(part)) - 0.5 * (len(part) - 1) for part in parts]
    spread = sum(float(np.sum(t * t)) for t in times)
    slope = sum(float(np.sum(t * part)) for t, part in zip(times, parts, strict=True)) / spread
    left = np.concatenate([p - np.mean(p) - slope * t for t, p in zip(times, parts, strict=True)])
    return slope, float(np.sqrt(np.mean(left**2) * APART_N / spread))


def _scatter_db(before: Levels) -> float:
    level = np.mean(before[:, ROOM_BANDS] / np.mean(before[:, ROOM_BANDS], axis=0), axis=1)
    return float(np.std(10.0 * np.log10(level)))
