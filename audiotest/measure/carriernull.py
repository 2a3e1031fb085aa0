"""Carrier and sidebands of a tone-modulated FM carrier, held against Bessel functions, and the null."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import scipy.fft
from numpy.typing import NDArray
from scipy.special import jn_zeros, jv

from audiotest.errors import MeasureError
from audiotest.standards.fm import null_tone_hz

ORDERS = 6
LARGEST_INDEX = 12.0
INDEX_STEP = 0.002
LEAST_SIDEBANDS = 2


@dataclass(frozen=True, slots=True, kw_only=True)
class Lines:
    """Sizes of the carrier and of pairs of sidebands of order 1 and on, in one unit.

    None where a line lies outside of what was heard. ``carrier_hz`` is the carrier's place in the feed.
    """

    carrier_hz: float
    tone_hz: float
    carrier: float
    sidebands: tuple[float | None, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class IndexFit:
    """Modulation index that explains the lines best; ``misfit`` is the RMS miss as a share of the whole."""

    index: float
    deviation_khz: float
    carrier_db: float
    misfit: float


def _line(power: NDArray[np.float64], hz: NDArray[np.float64], at_hz: float, reach_hz: float) -> float:
    near = (hz >= at_hz - reach_hz) & (hz <= at_hz + reach_hz)
    return float(np.sqrt(np.sum(power[near])))


def fm_lines(
    samples: NDArray[np.inexact],
    rate_hz: float,
    tone_hz: float,
    *,
    carrier_hz: float | None = None,
    low_hz: float | None = None,
    high_hz: float | None = None,
) -> Lines:
    """Sizes of carrier and sidebands in an I/Q feed, or in the audio of a CW or SSB receiver.

    Parameters
    ----------
    samples : ndarray, shape (n,)
        Complex: I/Q. Real: audio in which the carrier is a beat note and every line keeps its size.
    rate_hz, tone_hz : float
        Sample rate and the modulating tone, known to 1 Hz, since the sidebands are sought at its multiples.
    carrier_hz : float or None
        Where the unmodulated carrier was; None seeks the spectrum's centre of symmetry (I/Q only).
    low_hz, high_hz : float or None
        What the receiver passes; lines outside are None. None is all of an I/Q feed and 200-3000 Hz of audio.

    Raises
    ------
    MeasureError
        Too short, silent, or an audio feed without ``carrier_hz``.
    """
    x = np.asarray(samples)
    real = not np.iscomplexobj(x)
    if len(x) < 20.0 * rate_hz / tone_hz or not np.any(x):
        raise MeasureError("not enough signal to see a carrier's lines", "listen longer")
    low_hz = (200.0 if real else -0.45 * rate_hz) if low_hz is None else low_hz
    high_hz = (3000.0 if real else 0.45 * rate_hz) if high_hz is None else high_hz
    size = scipy.fft.next_fast_len(2 * len(x))
    spectrum = scipy.fft.fft(x * np.hanning(len(x) + 2)[1:-1], size)
    order = np.argsort(scipy.fft.fftfreq(size, 1.0 / rate_hz))
    hz = scipy.fft.fftfreq(size, 1.0 / rate_hz)[order]
    power = np.abs(spectrum[order]) ** 2
    reach_hz = min(0.3 * tone_hz, 6.0 * rate_hz / len(x))
    if carrier_hz is None:
        if real:
            raise MeasureError("where the carrier is in audio cannot be told", "note its pitch unmodulated")
        carrier_hz = _centre_of_symmetry_hz(power, hz, tone_hz, reach_hz)
    sidebands: list[float | None] = []
    for k in range(1, ORDERS + 1):
        pair = [
            _line(power, hz, at, reach_hz)
            for at in (carrier_hz - k * tone_hz, carrier_hz + k * tone_hz)
            if low_hz <= at <= high_hz
        ]
        # One side alone stands for both: FM by a tone is symmetrical.
        sidebands.append(float(np.sqrt(np.mean(np.square(pair)))) if pair else None)
    return Lines(
        carrier_hz=carrier_hz, tone_hz=tone_hz, carrier=_line(power, hz, carrier_hz, reach_hz),
        sidebands=tuple(sidebands),
    )  # fmt: skip


def _centre_of_symmetry_hz(
    power: NDArray[np.float64], hz: NDArray[np.float64], tone_hz: float, reach_hz: float
) -> float:
    """The line about which the others are mirrored; near a null it is not the strongest."""
    strongest = float(hz[int(np.argmax(power))])
    best, centre = np.inf, strongest
    for shift in range(-ORDERS, ORDERS + 1):
        middle = strongest + shift * tone_hz
        sides = [
            (
                _line(power, hz, middle - k * tone_hz, reach_hz),
                _line(power, hz, middle + k * tone_hz, reach_hz),
            )
            for k in range(1, 2 * ORDERS)
        ]
        low, high = np.array(sides).T
        miss = float(np.sum((low - high) ** 2))
        if miss < best:
            best, centre = miss, middle
    return centre


def fit_index(lines: Lines, unmodulated: float | None = None) -> IndexFit:
    """Modulation index from the sizes of carrier and sidebands: |J0|, |J1|, |J2| and on.

    Parameters
    ----------
    lines : Lines
        With two sidebands or more, or with ``unmodulated``.
    unmodulated : float or None
        Size of the carrier without modulation, in the same unit; None scales by what is seen.

    Returns
    -------
    IndexFit
        Least squares over indices up to 12. ``carrier_db`` is the carrier re its unmodulated size.

    Raises
    ------
    MeasureError
        Too few lines are inside the receiver's passband.

    Notes
    -----
    The lines of a carrier modulated by a tone are Jk of the index, deviation over tone (textbook).
    """
    orders = [0] + [k for k, size in enumerate(lines.sidebands, 1) if size is not None]
    seen = np.array([lines.carrier] + [size for size in lines.sidebands if size is not None])
    if len(orders) - 1 < LEAST_SIDEBANDS and unmodulated is None:
        raise MeasureError(
            "too few sidebands are in the passband",
            "note the carrier's level unmodulated, or widen the filter",
        )
    index = np.arange(0.0, LARGEST_INDEX, INDEX_STEP)
    shape = np.abs(jv(np.array(orders)[:, None], index))
    if unmodulated is None:
        scale = seen @ shape / np.maximum(np.sum(shape**2, axis=0), 1e-12)
    else:
        scale = np.full(len(index), unmodulated)
    miss = np.sqrt(np.mean((seen[:, None] - scale * shape) ** 2, axis=0)) / np.maximum(scale, 1e-12)
    k = int(np.argmin(miss))
    ratio = lines.carrier / max(float(scale[k]), 1e-12)
    return IndexFit(
        index=float(index[k]), deviation_khz=float(index[k]) * lines.tone_hz / 1e3,
        carrier_db=20.0 * float(np.log10(max(ratio, 1e-10))), misfit=float(miss[k]),
    )  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class NullFound:
    """A carrier null in a run of rising drive: which, where, how deep, and the deviation it stands for."""

    order: int
    at: float
    low: float
    high: float
    depth_db: float
    deviation_khz: float


def find_null(
    drive: Sequence[float], carrier: Sequence[float], tone_hz: float, *, unmodulated: float, order: int = 1
) -> NullFound:
    """The setting at which the carrier vanishes for the ``order``-th time as the modulation is raised.

    Parameters
    ----------
    drive : sequence of float
        Level of the modulating tone at each step, linear (volts, not dB), rising from nothing.
    carrier : sequence of float
        Size of the carrier at each step, from `fm_lines`.
    tone_hz : float
        Modulating tone.
    unmodulated : float
        Size of the carrier without modulation.
    order : int
        1 for the first null, at 2.4048 times the tone.

    Returns
    -------
    NullFound
        ``at`` from |J0| fitted through the steps of both flanks; ``low`` and ``high`` are the steps around.

    Raises
    ------
    MeasureError
        The null was not passed, or the carrier's sizes are not those of any |J0|: noise, or another signal.
    """
    x, size = np.asarray(drive, dtype=np.float64), np.asarray(carrier, dtype=np.float64) / unmodulated
    zero = float(jn_zeros(0, order)[-1])
    if len(x) < 4:
        raise MeasureError("too few steps to see a carrier null", "raise the tone in finer steps")
    # index = drive × slope: one unknown, fitted on |J0| over all steps, each slope that puts a zero inside.
    slopes = zero / np.linspace(max(float(np.min(x[x > 0.0])), 1e-9), float(np.max(x)), 2001)
    miss = np.mean((np.abs(jv(0, np.outer(slopes, x))) - size) ** 2, axis=1)
    best = float(slopes[int(np.argmin(miss))])
    at = zero / best
    below, above = x[x <= at], x[x >= at]
    if len(below) == 0 or len(above) == 0 or np.min(miss) > 0.02:
        raise MeasureError(
            f"carrier null {order} was not passed",
            "raise the tone further, from nothing, and count the nulls",
        )
    nearest = float(np.min(size[np.abs(x - at) <= np.max(np.diff(x)) + 1e-12]))
    depth_db = -20.0 * float(np.log10(max(nearest, 1e-10)))
    return NullFound(
        order=order, at=at, low=float(below[-1]), high=float(above[0]), depth_db=depth_db,
        deviation_khz=zero * tone_hz / 1e3,
    )  # fmt: skip


def tone_for_null_hz(deviation_khz: float, order: int = 1) -> float:
    """Tone that nulls the carrier at the deviation to be set; from `audiotest.standards.fm`.

    >>> round(tone_for_null_hz(2.5), 1), round(tone_for_null_hz(2.0), 1)
    (1039.6, 831.7)
    """
    return null_tone_hz(deviation_khz, order)
