"""Stretches in which one tone sounds alone: the ground of bursts and of sequential codes."""

from dataclasses import dataclass

import numpy as np
import scipy.fft
from numpy.typing import NDArray

from audiotest.measure.tone import fit_sine

WINDOW_S, HOP_S = 0.016, 0.002
LOW_HZ, HIGH_HZ = 400.0, 3000.0
BAND_LOW_HZ, BAND_HIGH_HZ = 280.0, 3500.0
TONAL_SHARE = 0.8
SAME_SHARE = 0.012
"""Half of the closest spacing of any five-tone set is 2.5 %; noise in 16 ms moves a tone by less."""
LEAST_RUN_S = 0.008
LEAST_INNER_S = 0.01
FAINTEST = 1e-4


@dataclass(frozen=True, slots=True, kw_only=True)
class ToneRun:
    """One tone from start to end, in seconds; ``peak_fs`` is its peak amplitude."""

    frequency_hz: float
    start_s: float
    end_s: float
    peak_fs: float

    @property
    def length_s(self) -> float:
        """How long it lasts."""
        return self.end_s - self.start_s


def find_tone_runs(samples: NDArray[np.floating], rate_hz: int) -> tuple[ToneRun, ...]:
    """Every stretch of 24 ms or more in which one tone between 400 and 3000 Hz sounds alone.

    Parameters
    ----------
    samples : ndarray, shape (n,)
        One channel, full scale 1.0.
    rate_hz : int
        Sample rate in Hz.

    Returns
    -------
    tuple of ToneRun
        In order of time. Alone means that the tone holds four fifths of the power in 280-3500 Hz. A tone that
        follows on another without a gap is a run of its own. Starts and ends are good to about 4 ms, the
        frequency to what a sine fit (IEEE Std 1057) of the inner part gives.
    """
    x = np.asarray(samples, dtype=np.float64)
    window_n, hop_n = round(WINDOW_S * rate_hz), round(HOP_S * rate_hz)
    if len(x) < 2 * window_n:
        return ()
    line_hz, share, level = _frames(x, rate_hz, window_n, hop_n)
    tonal = (share > TONAL_SHARE) & (line_hz > LOW_HZ) & (line_hz < HIGH_HZ) & (level > FAINTEST)
    runs = []
    for first, last in _steady_runs(line_hz, tonal):
        # At its edges a frame is half inside and sees half of the tone.
        inside = first + np.flatnonzero(level[first : last + 1] >= 0.5 * np.median(level[first : last + 1]))
        start_n, end_n = (int(at) * hop_n + window_n // 2 for at in (inside[0], inside[-1]))
        run = _measured(x, rate_hz, start_n, end_n, float(np.median(line_hz[first : last + 1])), window_n)
        if run is not None:
            runs.append(run)
    return tuple(runs)


def _frames(
    x: NDArray[np.float64], rate_hz: int, window_n: int, hop_n: int
) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
    """Strongest line, its share of the power, and its amplitude, frame by frame, in bounded batches."""
    view = np.lib.stride_tricks.sliding_window_view(x, window_n)[::hop_n]
    size = scipy.fft.next_fast_len(8 * window_n, real=True)
    hz = np.arange(size // 2 + 1) * rate_hz / size
    inside = (hz > BAND_LOW_HZ) & (hz < min(BAND_HIGH_HZ, 0.48 * rate_hz))
    low = int(np.flatnonzero(inside)[0])
    window = np.hanning(window_n + 2)[1:-1]
    reach = round(2.0 / WINDOW_S * size / rate_hz)  # half of a Hann main lobe
    found = []
    for at in range(0, len(view), 2048):
        power = np.abs(scipy.fft.rfft(view[at : at + 2048] * window, size, axis=1)[:, inside]) ** 2
        total = np.pad(np.cumsum(power, axis=1), ((0, 0), (1, 0)))
        top = np.argmax(power, axis=1)
        rows = np.arange(len(power))
        near = (
            total[rows, np.minimum(top + reach + 1, power.shape[1])] - total[rows, np.maximum(top - reach, 0)]
        )
        peak = 2.0 * np.sqrt(power[rows, top]) / np.sum(window)
        found.append(np.array([hz[low + top], near / np.maximum(total[:, -1], 1e-30), peak]))
    line_hz, share, level = np.concatenate(found, axis=1)
    return line_hz, share, level


def _steady_runs(line_hz: NDArray[np.float64], tonal: NDArray[np.bool_]) -> list[tuple[int, int]]:
    """First and last frame of every stretch of tonal frames at one frequency."""
    runs: list[tuple[int, int]] = []
    total = np.concatenate([[0.0], np.cumsum(line_hz)])
    first = None
    for k in range(len(tonal) + 1):
        goes_on = (
            k < len(tonal)
            and tonal[k]
            and (
                first is None
                or abs(line_hz[k] / ((total[k] - total[first]) / (k - first)) - 1.0) < SAME_SHARE
            )
        )
        if goes_on:
            first = k if first is None else first
            continue
        if first is not None and (k - first) * HOP_S >= LEAST_RUN_S:
            runs.append((first, k - 1))
        first = k if k < len(tonal) and tonal[k] else None
    return runs


def _measured(
    x: NDArray[np.float64], rate_hz: int, start_n: int, end_n: int, near_hz: float, window_n: int
) -> ToneRun | None:
    """Take the run's exact figures from its inner part."""
    slack_n = window_n // 4
    inner = x[start_n + slack_n : end_n - slack_n]
    if len(inner) < LEAST_INNER_S * rate_hz:
        return None
    fit = fit_sine(inner, rate_hz)
    if abs(fit.frequency_hz / near_hz - 1.0) > 2.0 * SAME_SHARE:
        return None
    return ToneRun(
        frequency_hz=fit.frequency_hz,
        start_s=start_n / rate_hz,
        end_s=end_n / rate_hz,
        peak_fs=fit.amplitude,
    )
