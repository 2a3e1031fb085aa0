"""What a limiter leaves behind in speech, as numbers: the inputs of the drive model.

Two kinds. Each 20 ms frame tells in every view how high, how square, how steep and how coloured it is, which
bounds how far above the threshold it was before the limiter. The over as a whole tells how its amplitudes
pile up at the edge, how square the half waves are at each height, and how the spectrum of loud frames differs
from that of quiet ones.
"""

import itertools
from dataclasses import dataclass

import numpy as np
import scipy.fft
from numpy.typing import NDArray

from audiotest.measure.driveviews import FRAME_N as VIEW_FRAME_N
from audiotest.measure.driveviews import RATE_HZ as VIEW_RATE_HZ
from audiotest.measure.driveviews import DriveViews

FINER = 2
"""Times the views' rate, so that peaks between samples count."""
RATE_HZ = FINER * VIEW_RATE_HZ
FRAME_N = FINER * VIEW_FRAME_N
SPECTRUM_N = 1024
BAND_EDGES_HZ = (100, 200, 300, 420, 560, 750, 1000, 1300, 1700, 2100, 2500, 2900, 3300, 3700)
LEVEL_QUANTILES = (0.9999, 0.9995, 0.999, 0.995, 0.99, 0.97, 0.95, 0.9, 0.8, 0.5)
HALF_WAVE_STEPS_DB = (3.0, 0.0, -2.0, -4.0, -7.0, -11.0, -16.0, -24.0)
HALF_WAVE_VIEWS = (0, 2, 3)
LOUDNESS_GROUPS = 5
TINY = 1e-7
Floats = NDArray[np.float32]


@dataclass(frozen=True, slots=True)
class DriveFeatures:
    """Inputs of the drive model: ``frames`` (n_frames, n_frame_features), ``whole`` (m,)."""

    frames: Floats
    whole: Floats


def _db(values: NDArray[np.floating] | float) -> NDArray[np.floating]:
    return np.asarray(20.0 * np.log10(np.maximum(np.abs(values), TINY)))


def _finer(waves: Floats) -> Floats:
    """Shape (n_views, FINER·n): the same waves with samples in between."""
    n = waves.shape[1]
    spectrum = scipy.fft.rfft(waves, axis=1)
    return np.asarray(scipy.fft.irfft(spectrum, FINER * n, axis=1) * np.float32(FINER), dtype=np.float32)


def _frames(view: Floats) -> Floats:
    return view.reshape(-1, FRAME_N)


def _edge_features(view: Floats) -> list[float]:
    size = np.abs(view)
    quantiles = np.quantile(size, LEVEL_QUANTILES)
    rms = float(np.sqrt(np.mean(view**2))) + TINY
    levels = _db(quantiles) - _db(rms)
    near = [float(np.mean(size > quantiles[2] * 10 ** (-d / 20))) for d in (1.0, 2.0, 4.0, 7.0)]
    square = (view / rms) ** 2
    return [
        *levels,
        *np.diff(levels),
        *np.log10(np.array(near) + 1e-4),
        float(np.log(np.mean(square * square) + TINY)),
        float(np.log(np.mean(size) / rms + TINY)),
    ]


def _half_wave_features(view: Floats) -> list[float]:
    """Form of the half waves between zero crossings, grouped by height: a limiter makes them square."""
    crossings = np.flatnonzero(np.diff(np.signbit(view))) + 1
    if len(crossings) < 20:
        return [0.0] * (5 * (len(HALF_WAVE_STEPS_DB) - 1))
    starts, lengths = crossings[:-1], np.diff(crossings)
    size = np.abs(view[: crossings[-1]])
    peak = np.maximum.reduceat(size, starts)
    mean = np.add.reduceat(size, starts) / lengths
    square = np.add.reduceat(size**2, starts) / lengths
    height = _db(peak) - float(_db(np.quantile(np.abs(view), 0.999)))
    form, fill = mean / (peak + TINY), np.sqrt(square) / (peak + TINY)
    features: list[float] = []
    for high, low in itertools.pairwise(HALF_WAVE_STEPS_DB):
        inside = (height <= high) & (height > low) & (lengths >= 3)
        weight = lengths[inside].astype(np.float64)
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


def _frame_shape(view: Floats) -> NDArray[np.floating]:
    """Height, squareness and steepness of each frame against the over's own edge, shape (n_frames, 14)."""
    frames = _frames(view)
    size = np.abs(frames)
    ranked = np.sort(size, axis=1)
    top = float(np.quantile(size, 0.999)) + TINY
    rms = np.sqrt(np.mean(frames * frames, axis=1)) + TINY
    mean = np.mean(size, axis=1)
    square = (frames / rms[:, None]) ** 2
    steps = np.diff(frames, axis=1)
    steep = np.sort(np.abs(steps), axis=1)
    high = ranked[:, int(0.95 * FRAME_N)]
    return np.column_stack(
        [
            _db(ranked[:, -1] / top),
            _db(high / top),
            _db(ranked[:, int(0.75 * FRAME_N)] / top),
            _db(rms / top),
            10.0 * mean / rms,
            10.0 * mean / (ranked[:, -1] + TINY),
            3.0 * np.log(np.mean(square * square, axis=1) + TINY),
            10.0 * np.mean(size > 0.89 * top, axis=1),
            10.0 * np.mean(size > 0.7 * top, axis=1),
            np.abs(_db(np.max(frames, axis=1)) - _db(np.min(frames, axis=1))),
            _db(steep[:, -5] / top),
            _db(steep[:, int(0.9 * FRAME_N)] / top),
            _db(np.sqrt(np.mean(steps * steps, axis=1)) / top),
            10.0 * np.mean(np.abs(steps) < 0.02 * high[:, None], axis=1),
        ]
    )


def _bins(edges_hz: tuple[int, ...]) -> NDArray[np.intp]:
    return np.round(np.array(edges_hz) * SPECTRUM_N / RATE_HZ).astype(int)


def _spectra(view: Floats) -> NDArray[np.floating]:
    window = np.hanning(FRAME_N).astype(np.float32)
    return np.asarray(np.abs(scipy.fft.rfft(_frames(view) * window, n=SPECTRUM_N, axis=1)) ** 2 + TINY)


def _valleys(spectra: NDArray[np.floating]) -> NDArray[np.floating]:
    """How deep the valleys between harmonics are, in dB per frame: clipping fills them with its products."""
    return np.asarray(10.0 * (np.mean(np.log10(spectra), axis=1) - np.log10(np.mean(spectra, axis=1))))


def _frame_colour(view: Floats, spectra: NDArray[np.floating]) -> NDArray[np.floating]:
    """Spectrum of each frame relative to its own level, valley depth and zero crossings."""
    bins = _bins(BAND_EDGES_HZ[1:])
    bands = 10.0 * np.log10(np.add.reduceat(spectra[:, : bins[-1]], bins[:-1], axis=1))
    crossings = np.mean(np.diff(np.signbit(_frames(view)), axis=1), axis=1)
    return np.column_stack(
        [
            bands - bands.mean(axis=1, keepdims=True),
            _valleys(spectra[:, bins[0] : bins[-2]]),
            50.0 * crossings,
        ]
    )


def _spectral_features(spectra: NDArray[np.floating], order: NDArray[np.intp]) -> list[float]:
    bins = _bins(BAND_EDGES_HZ)
    bands = np.add.reduceat(spectra[:, : bins[-1]], bins[:-1], axis=1)
    whole = 10.0 * np.log10(bands.mean(axis=0))
    loud = 10.0 * np.log10(bands[order[-max(4, len(order) // 5) :]].mean(axis=0))
    middle = 10.0 * np.log10(bands[order[len(order) // 3 : 2 * len(order) // 3 + 1]].mean(axis=0))
    depth = _valleys(spectra[:, bins[2] : bins[-2]])
    groups = [float(np.mean(depth[group])) for group in np.array_split(order, LOUDNESS_GROUPS)]
    return [
        *(whole - float(np.mean(whole[3:9]))),
        *(loud - loud[3:9].mean() - (middle - middle[3:9].mean())),
        float(loud[3:9].mean() - middle[3:9].mean()),
        *groups,
    ]


def drive_features(views: DriveViews) -> DriveFeatures:
    """Features of an over's views; finite numbers that do not depend on the level of the feed."""
    waves = _finer(views.waves)
    spectra = _spectra(waves[0])
    frames = np.column_stack([*(_frame_shape(view) for view in waves), _frame_colour(waves[0], spectra)])
    whole: list[float] = []
    for view in waves:
        whole += _edge_features(view)
    for k in HALF_WAVE_VIEWS:
        whole += _half_wave_features(waves[k])
    whole += _spectral_features(spectra, np.argsort(frames[:, 3]))
    return DriveFeatures(
        np.nan_to_num(frames).astype(np.float32),
        np.nan_to_num(np.concatenate([np.array(whole), views.whole])).astype(np.float32),
    )
