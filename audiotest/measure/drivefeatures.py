"""What a limiter leaves behind in speech, as numbers: the inputs of the drive model.

Two kinds. Each 20 ms frame tells how high, how square and how coloured it is, which bounds how far above the
threshold it was before the limiter. The over as a whole tells how its amplitudes pile up at the edge, how
square the half waves are at each height, and how the spectrum of loud frames differs from that of quiet
ones. Everything is free of the unknown level of the feed, and taken in several views of the same audio
(coupling capacitor undone, tilted), since an unknown filter spoils each view differently.
"""

import itertools
from dataclasses import dataclass

import numpy as np
import soxr
from numpy.typing import NDArray
from scipy.signal import lfilter

RATE_HZ = 24000
FRAME_N = 480
BAND_EDGES_HZ = (100, 200, 300, 420, 560, 750, 1000, 1300, 1700, 2100, 2500, 2900, 3300, 3700)
LEVEL_QUANTILES = (0.9999, 0.9995, 0.999, 0.995, 0.99, 0.97, 0.95, 0.9, 0.8, 0.5)
HALF_WAVE_STEPS_DB = (3.0, 0.0, -2.0, -4.0, -7.0, -11.0, -16.0, -24.0)
LOUDNESS_GROUPS = 5
TINY = 1e-7


def _db(values: NDArray[np.floating] | float) -> NDArray[np.float64]:
    return np.asarray(20.0 * np.log10(np.maximum(np.abs(values), TINY)), dtype=np.float64)


def _edge_features(view: NDArray[np.float64]) -> list[float]:
    size = np.abs(view)
    quantiles = np.quantile(size, LEVEL_QUANTILES)
    rms = float(np.sqrt(np.mean(view**2)))
    levels = _db(quantiles) - _db(rms)
    top = quantiles[2]
    near = [float(np.mean(size > top * 10 ** (-d / 20))) for d in (1.0, 2.0, 4.0, 7.0)]
    unit = view / (rms + TINY)
    square = unit * unit
    sides = np.quantile(view, (0.001, 0.01, 0.99, 0.999))
    skew = [float(_db(sides[3]) - _db(sides[0])), float(_db(sides[2]) - _db(sides[1]))]
    return [
        *levels,
        *np.diff(levels),
        *np.log10(np.array(near) + 1e-4),
        float(np.log(np.mean(square * square))),
        float(np.mean(square * unit)),
        float(np.log(np.mean(np.abs(unit)))),
        *skew,
    ]


def _frames(view: NDArray[np.float64]) -> NDArray[np.float64]:
    return view[: len(view) // FRAME_N * FRAME_N].reshape(-1, FRAME_N)


def _frame_shape(view: NDArray[np.float64]) -> NDArray[np.float64]:
    """Height and squareness of each frame against the over's own edge, shape (n_frames, 10)."""
    frames = _frames(view)
    size = np.abs(frames)
    ranked = np.sort(size, axis=1)
    top = float(np.quantile(ranked, 0.999)) + TINY
    rms = np.sqrt(np.mean(frames * frames, axis=1)) + TINY
    mean = np.mean(size, axis=1)
    unit = frames / rms[:, None]
    square = unit * unit
    return np.column_stack(
        [
            _db(ranked[:, -1] / top),
            _db(ranked[:, int(0.95 * FRAME_N)] / top),
            _db(ranked[:, int(0.75 * FRAME_N)] / top),
            _db(rms / top),
            10.0 * mean / rms,
            10.0 * mean / (ranked[:, -1] + TINY),
            3.0 * np.log(np.mean(square * square, axis=1) + TINY),
            10.0 * np.mean(size > 0.89 * top, axis=1),
            10.0 * np.mean(size > 0.7 * top, axis=1),
            np.abs(_db(np.max(frames, axis=1)) - _db(np.min(frames, axis=1))),
        ]
    )


def _frame_colour(view: NDArray[np.float64]) -> NDArray[np.float64]:
    """Spectrum of each frame relative to its own level, valley depth and zero crossings."""
    frames = _frames(view)
    spectra = np.abs(np.fft.rfft(frames * np.hanning(FRAME_N), n=1024, axis=1)) ** 2 + TINY
    bins = np.round(np.array(BAND_EDGES_HZ[1:]) * 1024 / RATE_HZ).astype(int)
    bands = 10.0 * np.log10(np.add.reduceat(spectra[:, : bins[-1]], bins[:-1], axis=1))
    inner = spectra[:, bins[0] : bins[-2]]
    depth = 10.0 * (np.mean(np.log10(inner), axis=1) - np.log10(np.mean(inner, axis=1)))
    crossings = np.mean(np.diff(np.signbit(frames), axis=1), axis=1)
    return np.column_stack([bands - bands.mean(axis=1, keepdims=True), depth, 50.0 * crossings])


def _half_wave_features(view: NDArray[np.float64]) -> list[float]:
    """Form of the half waves between zero crossings, grouped by height: a limiter makes them square."""
    crossings = np.flatnonzero(np.diff(np.signbit(view))) + 1
    if len(crossings) < 20:
        return [0.0] * (5 * (len(HALF_WAVE_STEPS_DB) - 1))
    starts, lengths = crossings[:-1], np.diff(crossings)
    size = np.abs(view)
    peak = np.maximum.reduceat(size, starts)
    mean = np.add.reduceat(size, starts)[:] / np.append(lengths, len(view) - starts[-1])[: len(starts)]
    square = np.add.reduceat(size**2, starts) / np.append(lengths, len(view) - starts[-1])[: len(starts)]
    peak, mean, square = peak[:-1], mean[:-1], square[:-1]
    long = lengths[:-1]
    height = _db(peak) - float(_db(np.quantile(size, 0.999)))
    form = mean / (peak + TINY)
    fill = np.sqrt(square) / (peak + TINY)
    features: list[float] = []
    for high, low in itertools.pairwise(HALF_WAVE_STEPS_DB):
        inside = (height <= high) & (height > low) & (long >= 3)
        weight = long[inside].astype(np.float64)
        total = float(np.sum(weight))
        share = float(np.log10(total / len(view) + 1e-4))
        if total < 30:
            features += [share, 0.637, 0.707, 1.0, 0.1]
            continue
        middle = float(np.sum(weight * form[inside]) / total)
        features += [
            share,
            middle,
            float(np.sum(weight * fill[inside]) / total),
            float(np.sum(weight * np.log10(weight)) / total),
            float(np.sqrt(np.sum(weight * (form[inside] - middle) ** 2) / total)),
        ]
    return features


def _spectral_features(view: NDArray[np.float64], order: NDArray[np.intp]) -> list[float]:
    spectra = np.abs(np.fft.rfft(_frames(view) * np.hanning(FRAME_N), n=1024, axis=1)) ** 2
    bins = np.round(np.array(BAND_EDGES_HZ) * 1024 / RATE_HZ).astype(int)
    bands = np.add.reduceat(spectra[:, : bins[-1]], bins[:-1], axis=1) + TINY**2
    whole = 10.0 * np.log10(bands.mean(axis=0))
    loud = 10.0 * np.log10(bands[order[-max(4, len(order) // 5) :]].mean(axis=0))
    middle = 10.0 * np.log10(bands[order[len(order) // 3 : 2 * len(order) // 3 + 1]].mean(axis=0))
    reference = float(np.mean(whole[3:9]))
    # How deep the valleys between harmonics are: clipping fills them with its products.
    inner = spectra[:, bins[2] : bins[-2]]
    depth = 10.0 * (np.mean(np.log10(inner + TINY**2), axis=1) - np.log10(np.mean(inner, axis=1) + TINY**2))
    groups = [float(np.mean(depth[group])) for group in np.array_split(order, LOUDNESS_GROUPS)]
    return [
        *(whole - reference),
        *(loud - loud[3:9].mean() - (middle - middle[3:9].mean())),
        float(loud[3:9].mean() - middle[3:9].mean()),
        *groups,
    ]


def _lift_low(view: NDArray[np.float64], corner_hz: float) -> NDArray[np.float64]:
    """Undo one coupling capacitor: the inverse of a first-order high-pass, held below 40 Hz."""
    k, floor = 2 * np.pi * corner_hz / RATE_HZ, 2 * np.pi * 40.0 / RATE_HZ
    return np.asarray(lfilter([1.0, -np.exp(-k)], [1.0, -np.exp(-floor)], view))


@dataclass(frozen=True, slots=True)
class DriveFeatures:
    """Inputs of the drive model: ``frames`` (n_frames, n_frame_features), ``whole`` (m,)."""

    frames: NDArray[np.float64]
    whole: NDArray[np.float64]


def drive_features(
    active: NDArray[np.floating], sample_rate_hz: int, noise_db: float | None
) -> DriveFeatures:
    """Features of active speech at the discriminator.

    Parameters
    ----------
    active : ndarray, shape (n,)
        Active speech, de-emphasis undone, sub-audible tone removed, any linear unit; a second or more.
    sample_rate_hz : int
        Sample rate in Hz.
    noise_db : float or None
        Noise RMS of the bare carrier in the same view relative to the speech's RMS, in dB.

    Returns
    -------
    DriveFeatures
        Finite numbers; the gain of `active` does not matter.
    """
    samples = np.asarray(active, dtype=np.float64)
    if sample_rate_hz != RATE_HZ:
        samples = soxr.resample(samples, sample_rate_hz, RATE_HZ, quality="MQ")
    samples = samples / (np.sqrt(np.mean(samples**2)) + TINY)
    lifted = _lift_low(_lift_low(samples, 300.0), 300.0)
    once = _lift_low(samples, 150.0)
    settle = np.asarray(lfilter([0.12], [1.0, -0.88], samples))
    frames = np.column_stack(
        [_frame_shape(samples), _frame_shape(once), _frame_shape(lifted), _frame_colour(samples)]
    )
    order = np.argsort(frames[:, 3])
    whole: list[float] = []
    for view in (samples, once, lifted, settle):
        whole += _edge_features(view)
    for view in (samples, lifted):
        whole += _half_wave_features(view)
    whole += _spectral_features(samples, order)
    noise = -45.0 if noise_db is None else float(np.clip(noise_db, -45.0, 0.0))
    whole += [noise, float(noise_db is None), float(np.log10(len(samples) / RATE_HZ))]
    return DriveFeatures(np.nan_to_num(frames), np.nan_to_num(np.array(whole)))
