"""The way from a transmitter's limiter to the samples, learnt from tones that overdrive the limiter.

A limiter far beyond its threshold sends nearly a square wave: its harmonics are known, whatever set it is.
What arrives of harmonic n of a tone of f Hz therefore tells gain and phase of everything behind the limiter
at n·f: splatter filter, discriminator, de-emphasis, coupling and audio filters, sound card. Undone, the
limiter's flat tops come back.
"""

import itertools
import math
from collections.abc import Sequence
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from audiotest.errors import MeasureError
from audiotest.measure.filters import apply_response, band_gain, emphasis_response
from audiotest.measure.level import overload_runs
from audiotest.measure.pathfit import fit_gain, fit_phase, half_wave_tilt
from audiotest.measure.pathtones import CombTone, find_comb_tones
from audiotest.records import PathResponse

PathReason = Literal[
    "overload", "no_tones", "too_few_tones", "noisy", "no_harmonics", "not_overdriven", "lopsided"
]

LOW_HZ, HIGH_HZ = 150.0, 3300.0
GRID_HZ = tuple(float(hz) for hz in range(150, 3301, 50))
REGULARISATION = 0.15
TILT_HZ = 500.0
TILT_DOUBT_DB = 2.5
"""Half of what tells a flat feed from a usual de-emphasis there, 5.5 dB."""
LEAST_DRIVE_DB = 15.0
LEAST_TONES = 4
LEAST_SNR_DB = 12.0
NEEDED_BAND_HZ = (320.0, 2400.0)
WIDEST_GAP_HZ = 500.0
NO_HARMONICS_DB = -40.0
"""A receiver takes 20 dB off the third harmonic at most (de-emphasis and low-pass); clipping by 3 dB makes
-18 dB of it."""
LOPSIDED = 0.12
IF_SHARE_DB = 0.5
IF_SHARE_RAD = 0.04
"""What the IF filter does to a square wave depends on how far it swings: the learnt response holds for
limited speech. This is the standard deviation from the audio filters' own response (simulated radio)."""
SOFTEST_DB = 2.5
SOFT_DB = 0.5
"""Diodes read 1.0 to 1.3, clippers of any knee under 0.3 (simulated radio); diodes hold at no height."""


class PathError(MeasureError):
    """The path cannot be learnt from a recording; ``reason`` names why for programs."""

    def __init__(self, reason: PathReason, what: str, remedy: str) -> None:
        super().__init__(what, remedy)
        self.reason: PathReason = reason


def learn_path(samples: NDArray[np.floating], rate_hz: int) -> PathResponse:
    """Learn the path from a recording of tones that overdrive the limiter, one after another.

    Parameters
    ----------
    samples : ndarray, shape (n,)
        One channel, any unit: four or more tones of 120 to 1300 Hz, each half a second or longer, all at
        20 dB or more above the limiter's threshold; for all of the band 200, 250, 310, 390, 480, 600, 750 and
        950 Hz. They are found; breaks, hiss and other sounds between them do no harm.
    rate_hz : int
        Sample rate in Hz, 8 kHz and up.

    Returns
    -------
    PathResponse
        On a grid from 150 to 3300 Hz. What lies outside the tones' harmonics is continued, with errors to
        match.

    Raises
    ------
    PathError
        With the reason: no tones, too few of them, noise, no harmonics (the limiter does not clip, or the set
        levels its audio instead), overdriven by less than 15 dB, or a lopsided limiter.

    Notes
    -----
    Gain and phase are cubic splines on a warped frequency scale, smoothed as generalised cross-validation
    says (Craven & Wahba 1979, Numerische Mathematik 31, 377-403). How far the tones overdrive the limiter is
    fitted along with them, since where harmonics of different tones meet they must agree. The phase of a
    minimum-phase path of the same gain is the start; a tone's own phase and the path's delay drop out.
    """
    tones = find_comb_tones(samples, rate_hz)
    for tone in tones:
        if overload_runs(samples[round(tone.start_s * rate_hz) : round(tone.end_s * rate_hz)]) > 0:
            raise PathError(
                "overload", f"the tone of {tone.frequency_hz:.0f} Hz overloads the sound card",
                "lower the volume or the input level and record again",
            )  # fmt: skip
    tones = _usable(tones)
    tilt = half_wave_tilt(tones, lambda hz: np.zeros(len(hz)))
    _, gain, _ = fit_gain(tones, tilt)
    tilt = half_wave_tilt(tones, gain.value)
    if math.sin(tilt) > LOPSIDED:
        raise PathError(
            "lopsided", f"the limiter is lopsided: even harmonics {20 * math.log10(math.sin(tilt)):.0f} dB",
            "tune the receiver to the middle of the channel, or learn the path from another set",
        )  # fmt: skip
    drive, gain, softness = fit_gain(tones, tilt)
    if abs(softness) > SOFTEST_DB:
        raise PathError(
            "no_harmonics", "the tones' harmonics are no limiter's: perhaps the set levels its audio",
            "switch levelling off, and raise the tones to 20 dB or more above the onset of limiting",
        )  # fmt: skip
    least_db = min(drive.at(tone.frequency_hz) for tone in tones)
    if least_db < LEAST_DRIVE_DB:
        raise PathError(
            "not_overdriven", f"the tones overdrive the limiter by about {max(least_db, 0.0):.0f} dB only",
            "raise the tones to 20 dB or more above the onset of limiting; switch levelling off",
        )  # fmt: skip
    hz = np.array(GRID_HZ)
    phase, phase_error = fit_phase(tones, drive, tilt, gain, hz)
    ceiling_db = float(gain.value(np.array([1000.0]))[0])
    return PathResponse(
        hz=GRID_HZ,
        gain_db=_rounded(gain.value(hz) - ceiling_db, 3),
        phase_rad=_rounded(phase, 4),
        gain_error_db=_rounded(2.0 * np.hypot(gain.error(hz), IF_SHARE_DB), 3),
        phase_error_rad=_rounded(2.0 * np.hypot(phase_error, IF_SHARE_RAD), 4),
        drive_db=round(least_db, 1),
        softness_db=round(softness, 2),
        even_db=round(20.0 * math.log10(math.sin(tilt)), 1) if tilt > 1e-4 else None,
        tones_hz=tuple(round(tone.frequency_hz, 2) for tone in tones),
        ceiling_fs=float(f"{10.0 ** (ceiling_db / 20.0):.4g}") if softness <= SOFT_DB else None,
    )


def path_doubt(path: PathResponse, stated_us: float) -> str | None:
    """Say in one line how a learnt path contradicts the feed's stated de-emphasis; None when it fits.

    Between 500 and 1000 Hz little but the de-emphasis tilts a path: a first-order high-pass at 350 Hz takes
    1.2 dB more at the lower end (textbook), a splatter filter nothing.
    """
    found_db = float(np.interp(TILT_HZ, path.hz, path.gain_db))
    lift = np.abs(emphasis_response(np.array([TILT_HZ]), stated_us))
    expected_db = float(-20.0 * np.log10(lift[0]))
    if abs(found_db - expected_db) <= TILT_DOUBT_DB:
        return None
    return (
        f"at {TILT_HZ:.0f} Hz the path lies {found_db:+.1f} dB from 1 kHz, where the feed's "
        f"{stated_us:g} µs would give {expected_db:+.1f}: tones of another input or receiver, or the feed's "
        "de-emphasis is wrong"
    )


def undo_path(samples: NDArray[np.floating], rate_hz: float, path: PathResponse) -> NDArray[np.float64]:
    """What left the limiter, up to delay and polarity, from what arrived.

    Parameters
    ----------
    samples : ndarray, shape (n,)
        As recorded, de-emphasis not undone; any unit.
    rate_hz : float
        Sample rate in Hz.
    path : PathResponse
        As learnt over the same receiver and sound card.

    Returns
    -------
    ndarray, shape (n,)
        Same unit, unity gain at 1 kHz but for the regularisation: the inverse is H*/(|H|² + ε²) with ε at
        15 % of the median gain (Tikhonov), in 150 to 3300 Hz and nothing outside.
    """
    grid = np.array(path.hz)
    gain = 10.0 ** (np.array(path.gain_db) / 20.0)
    floor = REGULARISATION * float(np.median(gain))

    def inverse(hz: NDArray[np.float64]) -> NDArray[np.complex128]:
        size = np.interp(hz, grid, gain)
        turned = size * np.exp(-1j * np.interp(hz, grid, np.array(path.phase_rad)))
        return np.asarray(turned / (size**2 + floor**2) * band_gain(hz, LOW_HZ, HIGH_HZ))

    return apply_response(samples, rate_hz, inverse)


def path_gain(path: PathResponse, hz: NDArray[np.float64]) -> NDArray[np.complex128]:
    """Complex gain of the path at `hz`, shape (n,), straight between the points, constant outside."""
    gain = 10.0 ** (np.interp(hz, path.hz, path.gain_db) / 20.0)
    return np.asarray(gain * np.exp(1j * np.interp(hz, path.hz, path.phase_rad)))


def _rounded(values: NDArray[np.float64], digits: int) -> tuple[float, ...]:
    return tuple(round(float(value), digits) for value in values)


# -- which tones -----------------------------------------------------------------------------------


def _usable(tones: Sequence[CombTone]) -> tuple[CombTone, ...]:
    """The tones that are strong enough and limited; refuses when they are too few."""
    if not tones:
        raise PathError(
            "no_tones", "no steady tone of 120 to 1300 Hz in the recording",
            "record eight tones from 200 to 950 Hz, a second each",
        )  # fmt: skip
    clear = [tone for tone in tones if tone.snr_db >= LEAST_SNR_DB]
    if len(clear) < LEAST_TONES <= len(tones):
        best = max(tone.snr_db for tone in tones)
        raise PathError(
            "noisy", f"the tones stand only {best:.0f} dB above the noise",
            "get a stronger signal at the receiver",
        )  # fmt: skip
    limited = [tone for tone in clear if _odd_share_db(tone) > NO_HARMONICS_DB]
    if len(clear) >= LEAST_TONES > len(limited):
        raise PathError(
            "no_harmonics", "the tones have no harmonics: the limiter does not clip, or the set levels audio",
            "raise the tones to 20 dB or more above the onset of limiting, or switch levelling off",
        )  # fmt: skip
    points = sorted(n * t.frequency_hz for t in limited for n in range(1, len(t.amplitudes) + 1, 2))
    gaps = [b - a for a, b in itertools.pairwise(points) if a < NEEDED_BAND_HZ[1]]
    covered = bool(points) and points[0] <= NEEDED_BAND_HZ[0] and max(gaps, default=1e9) <= WIDEST_GAP_HZ
    if len(limited) < LEAST_TONES or not covered:
        raise PathError(
            "too_few_tones", f"{len(limited)} limited tones do not cover the band",
            "record eight tones from 200 to 950 Hz, a second each",
        )  # fmt: skip
    return tuple(limited)


def _odd_share_db(tone: CombTone) -> float:
    """Power of harmonics 3, 5, 7 over that of the fundamental, in dB; -200 when they drown in noise."""
    size, error = np.abs(tone.amplitudes), tone.errors
    odd = slice(2, 8, 2)
    heard = np.maximum(size[odd] ** 2 - 2.0 * error[odd] ** 2, 0.0) * (size[odd] > 4.0 * error[odd])
    return float(10.0 * np.log10(max(float(np.sum(heard)) / max(size[0] ** 2, 1e-30), 1e-20)))
