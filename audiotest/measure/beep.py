"""The short tone that some sets send before they drop the carrier."""

from dataclasses import dataclass

import numpy as np
import scipy.fft
from numpy.typing import NDArray

LOWEST_HZ, HIGHEST_HZ = 400.0, 3000.0
SHORTEST_S, LONGEST_S = 0.08, 0.6
LATEST_END_S = 0.45
HOP_S, WINDOW_S = 0.005, 0.03
TONAL_SHARE = 0.8
SAME_HZ = 30.0
MOST_BESIDE = 0.06
"""Share of the power beside the sine that distortion may account for; twice the noise comes on top."""
SHORTEST_SEEN_S = 0.075
MARGIN_S = 0.012


@dataclass(frozen=True, slots=True)
class EndTone:
    """A tone near the end of a clip; times in seconds from the clip's start."""

    frequency_hz: float
    start_s: float
    end_s: float


def find_end_beep(samples: NDArray[np.floating], sample_rate_hz: int) -> EndTone | None:
    """The end beep of an over.

    Parameters
    ----------
    samples : ndarray, shape (n,)
        The over up to where the carrier dropped.
    sample_rate_hz : int
        Sample rate in Hz.

    Returns
    -------
    EndTone or None
        A tone of 80 to 600 ms between 400 and 3000 Hz that ends within 0.45 s of the clip's end, holds four
        fifths of the audio's power in one line, keeps its frequency within 30 Hz and its level within 4 dB,
        and is one sine from start to end: what is not in it is distortion and the noise that is heard
        elsewhere too. A voice has harmonics, and glides. A clip that is one tone throughout has no end beep.

    Notes
    -----
    What beeps do is common practice, no source; the sine is fitted by least squares (IEEE Std 1057).
    """
    rate = sample_rate_hz
    tail_n = min(len(samples), round((LONGEST_S + LATEST_END_S + 0.4) * rate))
    first_n = len(samples) - tail_n
    tail = np.asarray(samples[first_n:], dtype=np.float64)
    window_n, hop_n = round(WINDOW_S * rate), round(HOP_S * rate)
    if tail_n < 4 * window_n:
        return None
    line_hz, share, level, power = _frames(tail, rate, window_n, hop_n)
    tonal = (share > TONAL_SHARE) & (line_hz > LOWEST_HZ) & (line_hz < HIGHEST_HZ) & (level > 1e-5)
    run = _last_run(tonal)
    if run is None:
        return None
    start, end = _steady_part(line_hz, level, *run)
    if end - start < 3 or start == 0:
        return None
    # A window is tonal once most of it lies inside the tone: its edges are about a third of a window off.
    slack = 0.30 * WINDOW_S
    start_s = first_n / rate + start * HOP_S + slack
    end_s = first_n / rate + (end - 1) * HOP_S + WINDOW_S - slack
    length_s = end_s - start_s
    if not SHORTEST_SEEN_S <= length_s <= LONGEST_S + 0.05 or len(samples) / rate - end_s > LATEST_END_S:
        return None
    first, last = (round(s * rate) - first_n for s in (start_s + MARGIN_S, end_s - MARGIN_S))
    sine_hz, held = _one_sine(tail[max(first, 0) : last], rate, float(np.median(line_hz[start:end])))
    noise = float(np.percentile(power, 5) / np.median(power[start:end]))
    if held < 1.0 - MOST_BESIDE - 2.0 * noise:
        return None
    return EndTone(sine_hz, start_s, min(end_s, len(samples) / rate))


def _one_sine(part: NDArray[np.float64], rate: int, near_hz: float) -> tuple[float, float]:
    """Frequency of the sine that holds most of a part, and its share of the power in 250-3400 Hz."""
    spectrum = np.abs(scipy.fft.rfft(part)) ** 2
    hz = np.arange(len(spectrum)) * rate / len(part)
    power = float(np.sum(spectrum[(hz > 250.0) & (hz < 3400.0)])) * 2.0 / len(part)
    trial_hz = near_hz + np.arange(-SAME_HZ, SAME_HZ, 0.5)
    turns = np.exp(-2j * np.pi / rate * np.outer(np.arange(len(part)), trial_hz))
    held = 2.0 / len(part) * np.abs(part @ turns) ** 2
    k = int(np.argmax(held))
    return float(trial_hz[k]), float(held[k] / max(power, 1e-30))


def _frames(
    tail: NDArray[np.float64], rate: int, window_n: int, hop_n: int
) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
    """Strongest line, its share of the power in 250-3400 Hz, its level, and that power, frame by frame."""
    view = np.lib.stride_tricks.sliding_window_view(tail, window_n)[::hop_n]
    n = 4 * scipy.fft.next_fast_len(window_n)
    spectra = np.abs(scipy.fft.rfft(view * np.hanning(window_n), n, axis=1)) ** 2
    hz = np.arange(spectra.shape[1]) * rate / n
    inside = (hz > 250.0) & (hz < 3400.0)
    low = int(np.flatnonzero(inside)[0])
    band = spectra[:, inside]
    top = np.argmax(band, axis=1)
    # A Hann window of 30 ms spreads a line over 130 Hz.
    half = round(70.0 * n / rate)
    total = np.cumsum(np.pad(band, ((0, 0), (1, 0))), axis=1)
    rows = np.arange(len(band))
    near = total[rows, np.minimum(top + half + 1, band.shape[1])] - total[rows, np.maximum(top - half, 0)]
    share = near / np.maximum(total[:, -1], 1e-30)
    return hz[low + top], share, np.sqrt(near), total[:, -1]


def _last_run(tonal: NDArray[np.bool_]) -> tuple[int, int] | None:
    """The last run of tonal frames long enough to be a beep."""
    edges = np.diff(np.concatenate([[0], tonal.astype(np.int8), [0]]))
    starts, ends = np.flatnonzero(edges == 1), np.flatnonzero(edges == -1)
    for start, end in zip(starts[::-1], ends[::-1], strict=True):
        if (end - start) * HOP_S > SHORTEST_S - WINDOW_S:
            return int(start), int(end)
    return None


def _steady_part(
    line_hz: NDArray[np.float64], level: NDArray[np.float64], start: int, end: int
) -> tuple[int, int]:
    """The part of a run that keeps the frequency and the level of its middle."""
    middle_hz = float(np.median(line_hz[start:end]))
    middle = float(np.median(level[start:end]))
    same = (np.abs(line_hz - middle_hz) < SAME_HZ) & (level > 0.6 * middle) & (level < 1.6 * middle)
    centre = (start + end) // 2
    if not same[centre]:
        return start, start
    while start < centre and not same[start:centre].all():
        start += 1
    while end > centre and not same[centre:end].all():
        end -= 1
    return start, end
