"""Where a known signal lies in a recording, and how much faster the recording's clock ran."""

from dataclasses import dataclass

import numpy as np
import scipy.fft
import soxr
from numpy.typing import NDArray
from scipy.ndimage import uniform_filter1d

from audiotest.measure.filters import bandpass

Array = NDArray[np.float64]

RATE_HZ = 12000
BAND_HZ = (300.0, 3000.0)
PIECE_S, MOST_PIECES, LEAST_PIECES = 1.5, 10, 3
SPREAD_S = 0.006
"""A clock that is 300 ppm off drifts by so much in twenty seconds."""
BLOCK_S, HOP_S = 1.0, 0.5
REACH_S = 0.05
MOST_DRIFT_PPM = 300.0
NEAR_S = 0.0005
CLOSE_S = 0.00003
LEAST_BLOCKS = 4
LEAST_SHARE = 0.4
LEAST_PEAK = 6.0
"""Of the generalised cross-correlation's peak over its RMS: chance gives 4 to 5 in a tenth of a second."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Alignment:
    """The reference's first sample is at ``delay_s`` of the recording, by the recording's clock.

    ``drift_ppm`` is how much faster that clock ran; ``agreeing`` the share of blocks that agree on both.
    """

    delay_s: float
    drift_ppm: float
    agreeing: float


def align(
    reference: NDArray[np.floating],
    reference_rate_hz: int,
    received: NDArray[np.floating],
    received_rate_hz: int,
) -> Alignment | None:
    """Find a reference in a recording.

    Parameters
    ----------
    reference, received : ndarray, shape (n,) and (m,)
        Any unit and polarity; filters and a limiter may lie between them.
    reference_rate_hz, received_rate_hz : int
        Sample rates in Hz, 8 kHz and up.

    Returns
    -------
    Alignment or None
        None when the reference is not in the recording. The delay includes that of the filters between.

    Notes
    -----
    First pieces of the reference against all of the recording, then second by second the generalised
    cross-correlation with phase transform (Knapp & Carter 1976, IEEE Trans. ASSP 24, 320-327); the clocks'
    difference is the slope of its lags over time, by the median of the slopes of all pairs (Theil 1950, Sen
    1968) and a straight line through what agrees with it.
    """
    sent, heard = _narrow(reference, reference_rate_hz), _narrow(received, received_rate_hz)
    if min(len(sent), len(heard)) < LEAST_BLOCKS * HOP_S * RATE_HZ + BLOCK_S * RATE_HZ:
        return None
    near_n = _rough_lag(sent, heard)
    if near_n is None:
        return None
    times, lags = _block_lags(sent, heard, near_n)
    if len(times) < LEAST_BLOCKS:
        return None
    line = _line(times, lags)
    agree = np.abs(lags - line[0] - line[1] * times) <= NEAR_S
    if np.sum(agree) < LEAST_BLOCKS or np.mean(agree) < LEAST_SHARE:
        return None
    slope, start = line[1], line[0]
    for _ in range(2):
        off = np.abs(lags - start - slope * times)
        close = off <= max(3.0 * float(np.median(off[agree])), CLOSE_S)
        if np.sum(close) < LEAST_BLOCKS:
            break
        slope, start = np.polyfit(times[close], lags[close], 1)
    if abs(slope) > 1.2e-6 * MOST_DRIFT_PPM:
        return None
    return Alignment(
        delay_s=float(start), drift_ppm=float(1e6 * slope), agreeing=round(float(np.mean(agree)), 3)
    )


def _narrow(samples: NDArray[np.floating], rate_hz: int) -> Array:
    x = np.asarray(samples, dtype=np.float64)
    if len(x) == 0:
        return x
    return bandpass(np.asarray(soxr.resample(x, rate_hz, RATE_HZ)), RATE_HZ, *BAND_HZ)


def _rough_lag(sent: Array, heard: Array) -> int | None:
    """Lag in samples on which most of the loudest pieces of the reference agree; None when they do not."""
    piece_n, hop_n = round(PIECE_S * RATE_HZ), round(0.5 * PIECE_S * RATE_HZ)
    starts = np.arange(0, len(sent) - piece_n + 1, hop_n)
    power = np.array([float(np.mean(sent[at : at + piece_n] ** 2)) for at in starts])
    chosen = starts[np.argsort(power)[::-1][:MOST_PIECES]]
    size = scipy.fft.next_fast_len(len(heard) + piece_n, real=True)
    # Open-squelch hiss around the over is louder than any speech: all is brought to one level first.
    whole = _white(scipy.fft.rfft(_even(heard), size))
    found = []
    for at in chosen:
        piece = _white(scipy.fft.rfft(_even(sent[at : at + piece_n]), size))
        likeness = np.abs(scipy.fft.irfft(whole * np.conj(piece), size))
        lag = int(np.argmax(likeness))
        found.append((lag if lag < len(heard) else lag - size) - int(at))
    lags = np.array(found)
    near = np.abs(lags[:, None] - lags) <= SPREAD_S * RATE_HZ
    most = int(np.argmax(np.sum(near, axis=1)))
    return int(np.median(lags[near[most]])) if np.sum(near[most]) >= LEAST_PIECES else None


def _even(x: Array) -> Array:
    """Bring `x` to an even level, tenth by tenth of a second; what is far below the rest stays low."""
    rms = np.sqrt(uniform_filter1d(x**2, round(0.1 * RATE_HZ)))
    return np.asarray(x / np.maximum(rms, 0.03 * max(float(np.max(rms)), 1e-30)))


def _white(spectrum: NDArray[np.complex128]) -> NDArray[np.complex128]:
    """Take the spectrum's colour away within the band: the size over its mean in 50 Hz."""
    hz = np.linspace(0.0, RATE_HZ / 2.0, len(spectrum))
    inside = (hz >= BAND_HZ[0]) & (hz <= BAND_HZ[1])
    size = uniform_filter1d(np.abs(spectrum), max(1, round(50.0 / (hz[1] - hz[0]))))
    return np.asarray(np.where(inside, spectrum / np.maximum(size, 1e-30), 0.0))


def _block_lags(sent: Array, heard: Array, near_n: int) -> tuple[Array, Array]:
    """Time of each block in the reference and its lag in the recording, in seconds, where it is clear."""
    block_n, hop_n, reach_n = (round(s * RATE_HZ) for s in (BLOCK_S, HOP_S, REACH_S))
    size = scipy.fft.next_fast_len(block_n + 2 * reach_n + block_n, real=True)
    hz = np.fft.rfftfreq(size, 1.0 / RATE_HZ)
    inside = (hz >= BAND_HZ[0]) & (hz <= BAND_HZ[1])
    loud = float(np.sqrt(np.mean(sent**2)))
    starts, rows = [], []
    for at in range(0, len(sent) - block_n + 1, hop_n):
        low, high = at + near_n - reach_n, at + near_n + block_n + reach_n
        if low < 0 or high > len(heard) or np.sqrt(np.mean(sent[at : at + block_n] ** 2)) < 0.2 * loud:
            continue
        cross = scipy.fft.rfft(heard[low:high], size) * np.conj(scipy.fft.rfft(sent[at : at + block_n], size))
        white = np.where(inside, cross / np.maximum(np.abs(cross), 1e-30), 0.0)
        starts.append(at)
        rows.append(scipy.fft.irfft(white, size)[: 2 * reach_n + 1])
    # One polarity for all of it: the lobe beside the peak has the other sign and is nearly as high.
    sign = np.sign(sum(row[np.argmax(np.abs(row))] for row in rows)) or 1.0
    times, lags = [], []
    for at, row in zip(starts, rows, strict=True):
        found = sign * row
        k = int(np.argmax(found))
        if not 0 < k < len(found) - 1 or found[k] < LEAST_PEAK * np.sqrt(np.mean(found**2)):
            continue
        before, top, after = found[k - 1 : k + 2]
        bend = before - 2.0 * top + after
        shift = float(np.clip(0.5 * (before - after) / bend, -0.5, 0.5)) if bend < 0.0 else 0.0
        times.append((at + block_n / 2) / RATE_HZ)
        lags.append((near_n - reach_n + k + shift) / RATE_HZ)
    return np.array(times), np.array(lags)


def _line(times: Array, lags: Array) -> tuple[float, float]:
    """Start and slope through most of the points: median of all pairs' slopes that clocks can have."""
    first, second = np.triu_indices(len(times), 1)
    apart = times[second] - times[first]
    # The slope of neighbours is mostly their scatter.
    wide = apart >= 0.4 * float(np.max(apart))
    slopes = (lags[second] - lags[first])[wide] / apart[wide]
    likely = slopes[np.abs(slopes) <= 2e-6 * MOST_DRIFT_PPM]
    slope = float(np.median(likely)) if len(likely) else 0.0
    return float(np.median(lags - slope * times)), slope
