"""The smooth response behind a limiter that fits the harmonics of its overdriven tones best.

Everything works on `CombTone` records. The limiter's own harmonics come from the series of a clipped sine.
"""

import itertools
import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from audiotest.measure.filters import minimum_phase
from audiotest.measure.pathtones import CombTone

Array = NDArray[np.float64]

SPLINES = 26
SPLINE_LOW_HZ, SPLINE_HIGH_HZ, WARP_HZ = 100.0, 3500.0, 400.0
LONGEST_EDGE_RAD = 1.2
"""Harmonic n is used while n times the limiter's edge, arcsin(T/A), stays below: a loss of 2.3 dB."""
LEAST_AMPLITUDE_TO_ERROR = 3.0
GAIN_FLOOR_DB = 0.15
PHASE_FLOOR_RAD = 0.02
"""What no noise explains: the IF filter's share, knees; common practice, no source."""
TRUST_IN_EDGE = 0.25
"""Share of the correction for the limiter's finite slope that is held uncertain: no limiter is exact."""
LEVEL_PRIOR_DB = 0.1
"""Tones may differ that much in what a saturated limiter lets through."""
SOFTNESS_PRIOR_DB = 1.0
"""A limiter of diodes never saturates: its harmonics fall by a further decibel or so per octave of order."""
DRIVES_DB = tuple(float(db) for db in range(6, 46))
SLOPES_DB = (0.0, 2.0, 4.0, 6.0)
UNUSED_COST = 4.0
ROUGHNESS_GAIN_DB = (0.2, 0.6, 2.0, 6.0)
MIDDLE_HZ = (400.0, 2500.0)
ROUGHNESS_PHASE_RAD = (0.02, 0.05, 0.15, 0.4)


def clipped_sine_harmonic(order: int, drive_db: float) -> float:
    """Peak amplitude of a harmonic of a hard-clipped sine, in units of the clipping threshold.

    Parameters
    ----------
    order : int
        1 and up; even orders are 0.
    drive_db : float
        Amplitude of the sine over the threshold, 0 dB and up; a sine below is its own fundamental.

    Notes
    -----
    sin θ clipped at ±r with a = arcsin r: b₁ = (2a + sin 2a)/π and, for odd n,
    bₙ = 4/(πn(n²-1))·[n sin(na) cos a - cos(na) sin a], by integration; here divided by r. Towards infinite
    drive it is the square wave's 4/(πn).

    >>> [round(clipped_sine_harmonic(n, 20.0), 4) for n in (1, 3, 5)]
    [1.2711, 0.4181, 0.2441]
    """
    if order % 2 == 0:
        return 0.0
    r = min(10.0 ** (-drive_db / 20.0), 1.0)
    if drive_db <= 0.0:
        return float(10.0 ** (drive_db / 20.0)) if order == 1 else 0.0
    a = math.asin(r)
    if order == 1:
        return float((2.0 * a + math.sin(2.0 * a)) / math.pi / r)
    inside = order * math.sin(order * a) * math.cos(a) - math.cos(order * a) * math.sin(a)
    return float(4.0 / (math.pi * order * (order**2 - 1)) * inside / r)


@dataclass(frozen=True, slots=True)
class TonesDrive:
    """Overdrive of tones in dB at 400 Hz and its rise per octave, which is the pre-emphasis."""

    at_400_db: float
    per_octave_db: float

    def at(self, hz: float) -> float:
        """Overdrive in dB of a tone of `hz`."""
        return self.at_400_db + self.per_octave_db * math.log2(hz / 400.0)


@dataclass(frozen=True, slots=True)
class Curve:
    """A smoothed spline with the covariance of its coefficients."""

    weights: Array
    covariance: Array

    def value(self, hz: Array) -> Array:
        """The curve at `hz`, shape (n,)."""
        return np.asarray(_basis(hz) @ self.weights)

    def error(self, hz: Array) -> Array:
        """Its standard error at `hz`, shape (n,)."""
        basis = _basis(hz)
        return np.asarray(np.sqrt(np.maximum(np.sum(basis @ self.covariance * basis, axis=1), 0.0)))


def _basis(hz: Array) -> Array:
    """Cubic B-splines on a scale that is linear below 400 Hz and logarithmic above, shape (n, SPLINES)."""
    # Only learning needs it, and it brings SciPy's optimisers along.
    from scipy.interpolate import BSpline

    low, high = (math.log2(1.0 + f / WARP_HZ) for f in (SPLINE_LOW_HZ, SPLINE_HIGH_HZ))
    step = (high - low) / (SPLINES - 3)
    knots = low + step * np.arange(-3, SPLINES + 1)
    at = np.clip(np.log2(1.0 + hz / WARP_HZ), low, high)
    return np.asarray(BSpline.design_matrix(at, knots, 3, extrapolate=True).toarray())


def _smooth(
    design: Array, values: Array, errors: Array, steps: Sequence[float], extra: Array
) -> tuple[Array, Array, float]:
    """Weighted least squares with a second-difference penalty on the first SPLINES unknowns.

    `steps` are the candidate roughnesses, standard deviations of a second difference; `extra` holds the
    inverse variances of priors on all unknowns. Returns the solution, its covariance and its cost.
    """
    bend = np.zeros((SPLINES - 2, design.shape[1]))
    for k in range(SPLINES - 2):
        bend[k, k : k + 3] = (1.0, -2.0, 1.0)
    scaled, target = design / errors[:, None], values / errors
    square, right = scaled.T @ scaled, scaled.T @ target
    best: tuple[float, Array, Array, float] | None = None
    for step in steps:
        penalty = bend.T @ bend / step**2 + np.diag(extra)
        covariance = np.linalg.inv(square + penalty)
        solved = covariance @ right
        miss = target - scaled @ solved
        freedom = len(values) - float(np.trace(covariance @ square))
        left = float(miss @ miss)
        score = len(values) * left / max(freedom, 1.0) ** 2
        if best is None or score < best[0]:
            worse = max(1.0, left / max(freedom, 1.0))
            best = (
                score,
                solved,
                np.asarray(covariance * worse, dtype=np.float64),
                left + float(solved @ penalty @ solved),
            )
    assert best is not None
    return best[1], best[2], best[3]


@dataclass(frozen=True, slots=True)
class _Point:
    """Harmonic `order` of tone `tone` at `hz`: the limiter's own amplitude and what arrived of it."""

    tone: int
    order: int
    hz: float
    sent: float
    heard: complex
    error: float


def _points(tones: Sequence[CombTone], drive: TonesDrive, tilt: float) -> list[_Point]:
    points = []
    for index, tone in enumerate(tones):
        drive_db = max(drive.at(tone.frequency_hz), 0.0)
        edge = math.asin(10.0 ** (-drive_db / 20.0))
        for order in range(1, len(tone.amplitudes) + 1, 2):
            heard, error = complex(tone.amplitudes[order - 1]), float(tone.errors[order - 1])
            sent = clipped_sine_harmonic(order, drive_db) * math.cos(order * tilt)
            loud = abs(heard) > LEAST_AMPLITUDE_TO_ERROR * error
            if loud and order * max(edge, tilt) < LONGEST_EDGE_RAD:
                points.append(_Point(index, order, order * tone.frequency_hz, sent, heard, error))
    return points


def fit_gain(tones: Sequence[CombTone], tilt: float) -> tuple[TonesDrive, Curve, float]:
    """The overdrive at which the tones agree best, the path's gain in dB, and the limiter's softness.

    The softness is what its harmonics fall by in dB per octave of order beyond those of a clipped sine.

    Parameters
    ----------
    tones : sequence of CombTone
        Overdriven tones.
    tilt : float
        See `half_wave_tilt`.
    """
    best: tuple[float, TonesDrive, Curve, float] | None = None
    for at_400_db, slope in itertools.product(DRIVES_DB, SLOPES_DB):
        drive = TonesDrive(at_400_db, slope)
        points = _points(tones, drive, tilt)
        count = len(points)
        if count < SPLINES // 2:
            continue
        sent = np.array([p.sent for p in points])
        edge_db = 20.0 * np.log10(sent * np.pi / 4.0 * np.array([p.order for p in points]))
        size = np.array([abs(p.heard) for p in points])
        values = 20.0 * np.log10(size / sent)
        noise_db = 20.0 / math.log(10.0) * np.array([p.error for p in points]) / size
        errors = np.sqrt(noise_db**2 + GAIN_FLOOR_DB**2 + (TRUST_IN_EDGE * edge_db) ** 2)
        own = np.zeros((count, len(tones) + 1))
        own[np.arange(count), [p.tone for p in points]] = 1.0
        own[:, -1] = [-math.log2(p.order) for p in points]
        design = np.column_stack([_basis(np.array([p.hz for p in points])), own])
        extra = np.concatenate(
            [np.full(SPLINES, 1e-8), np.full(len(tones), LEVEL_PRIOR_DB**-2), [SOFTNESS_PRIOR_DB**-2]]
        )
        solved, covariance, cost = _smooth(design, values, errors, ROUGHNESS_GAIN_DB, extra)
        # A Gaussian's likelihood: few, uncertain points must not win by being few.
        cost += 2.0 * float(np.sum(np.log(errors / GAIN_FLOOR_DB)))
        cost += UNUSED_COST * (sum((len(t.amplitudes) + 1) // 2 for t in tones) - count)
        if best is None or cost < best[0]:
            curve = Curve(solved[:SPLINES], covariance[:SPLINES, :SPLINES])
            best = (cost, drive, curve, float(solved[-1]))
    if best is None:
        return TonesDrive(0.0, 0.0), Curve(np.zeros(SPLINES), np.eye(SPLINES)), 0.0
    return best[1:]


def half_wave_tilt(tones: Sequence[CombTone], gain_db: Callable[[Array], Array]) -> float:
    """How much longer one half wave is than the other, in radians of the tone, from the even harmonics.

    Half waves of π ± 2·tilt have even harmonics (4/πn)·sin(n·tilt), and odd ones lowered by cos(n·tilt)
    (Fourier series of a rectangular wave, textbook). 0 when the even harmonics drown in noise.
    """
    found = []
    for tone in tones:
        for order in (2, 4):
            if order > len(tone.amplitudes) or order * tone.frequency_hz > 3000.0:
                continue
            at = np.array([1.0, order]) * tone.frequency_hz
            first, then = np.abs(tone.amplitudes[[0, order - 1]]) / 10.0 ** (gain_db(at) / 20.0)
            power = (then / first) ** 2 * (
                1.0 - (tone.errors[order - 1] / abs(tone.amplitudes[order - 1])) ** 2
            )
            heard = abs(tone.amplitudes[order - 1]) > LEAST_AMPLITUDE_TO_ERROR * tone.errors[order - 1]
            found.append(float(power) if heard else 0.0)
    return math.asin(min(math.sqrt(float(np.median(found))), 1.0)) if found else 0.0


# -- phase -----------------------------------------------------------------------------------------


def _minimum_phase(gain: Curve, hz: Array) -> Array:
    """Phase in rad at `hz` of the minimum-phase path with this gain."""
    grid = np.linspace(0.0, 8000.0, 2049)
    low, high = 200.0, 3200.0
    inside = gain.value(np.clip(grid, low, high))
    below = float(np.diff(gain.value(np.array([low, 1.2 * low])))[0]) / math.log2(1.2)
    above = float(np.diff(gain.value(np.array([high / 1.1, high])))[0]) / math.log2(1.1)
    octaves = np.log2(np.maximum(grid, 5.0) / np.clip(grid, low, high))
    slope = np.where(grid < low, np.clip(below, 0.0, 36.0), np.clip(above, -60.0, 0.0))
    nepers = (inside + slope * octaves) * math.log(10.0) / 20.0
    return np.asarray(np.interp(hz, grid, np.unwrap(np.angle(minimum_phase(nepers)))))


def fit_phase(
    tones: Sequence[CombTone], drive: TonesDrive, tilt: float, gain: Curve, hz: Array
) -> tuple[Array, Array]:
    """Phase of the path at `hz`, shape (n,), and its standard error in rad.

    Without its mean slope over 400-2500 Hz, which is a delay, and within half a turn at 1 kHz.
    """
    points = _points(tones, drive, tilt)
    at = np.array([p.hz for p in points])
    order = np.array([float(p.order) for p in points])
    owner = np.array([p.tone for p in points])
    # The limiter sends sines: c = -j·b·exp(jnφ)·H.
    heard = np.angle(np.array([1j * p.heard for p in points]))
    noise = np.array([p.error / abs(p.heard) for p in points])
    errors = np.sqrt(noise**2 + PHASE_FLOOR_RAD**2)
    basis = _basis(at)
    own = np.zeros((len(points), len(tones)))
    own[np.arange(len(points)), owner] = order
    design = np.column_stack([basis, own])
    extra = np.concatenate([np.full(SPLINES, 0.25), np.full(len(tones), 1e-8)])
    solved, covariance = np.zeros(SPLINES + len(tones)), np.eye(SPLINES + len(tones))
    start = _minimum_phase(gain, at)
    for _ in range(3):
        rest = heard - start - basis @ solved[:SPLINES]
        turned = _own_phases(rest, order, owner, errors, len(tones))
        miss = np.angle(np.exp(1j * (rest - order * turned[owner])))
        solved, covariance, _ = _smooth(
            design, miss + basis @ solved[:SPLINES], errors, ROUGHNESS_PHASE_RAD, extra
        )
    phase = _minimum_phase(gain, hz) + _basis(hz) @ solved[:SPLINES]
    middle = ((hz >= MIDDLE_HZ[0]) & (hz <= MIDDLE_HZ[1])).astype(np.float64)
    centred = middle * (hz - float(np.sum(middle * hz) / np.sum(middle)))
    free = np.eye(len(hz)) - np.outer(hz, centred) / float(centred @ hz)
    seen = free @ _basis(hz)
    spread = np.sum(seen @ covariance[:SPLINES, :SPLINES] * seen, axis=1)
    turned = free @ phase
    turned -= np.pi * round(float(np.interp(1000.0, hz, turned)) / np.pi)
    return turned, np.sqrt(np.maximum(spread, 0.0))


def _own_phases(rest: Array, order: Array, owner: Array, errors: Array, count: int) -> Array:
    """The phase φ of each tone at which its harmonics, turned back by nφ, agree best."""
    trial = np.linspace(-np.pi, np.pi, 1441)
    found = np.zeros(count)
    for tone in range(count):
        own = owner == tone
        if np.any(own):
            fit = np.cos(rest[own, None] - order[own, None] * trial) / np.maximum(errors[own, None], 0.1) ** 2
            found[tone] = trial[int(np.argmax(np.sum(fit, axis=0)))]
    return found
