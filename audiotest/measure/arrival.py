"""When a tone that was sent begins in what is heard, and whether it goes on without a break."""

import numpy as np
from numpy.typing import NDArray

FRAME_S, HOP_S = 0.02, 0.005
HALF = 0.5
MOST_BEFORE = 0.35
"""Of the tone's size: what is heard at its frequency before it begins; more hides the beginning."""
MOST_SCATTER = 0.15
LAST_S = 0.15


def tone_trace(samples: NDArray[np.floating], rate_hz: int, tone_hz: float) -> NDArray[np.float64]:
    """Amplitude of a tone in frames of 20 ms, every 5 ms (textbook, short-time Fourier transform).

    Parameters
    ----------
    samples : ndarray, shape (n,)
        One channel, full scale 1.0.
    rate_hz : int
        Sample rate in Hz.
    tone_hz : float
        Frequency in Hz, 100 or more.

    Returns
    -------
    ndarray, shape (frames,)
        Peak amplitude in full scale, empty for less than a frame.
    """
    frame_n, hop_n = round(FRAME_S * rate_hz), round(HOP_S * rate_hz)
    if len(samples) < frame_n:
        return np.zeros(0)
    window = np.hanning(frame_n + 2)[1:-1]
    kernel = window * np.exp(-2j * np.pi * tone_hz / rate_hz * np.arange(frame_n))
    view = np.lib.stride_tricks.sliding_window_view(np.asarray(samples, dtype=np.float64), frame_n)[::hop_n]
    return np.asarray(2.0 * np.abs(view @ kernel) / np.sum(window))


def tone_start(samples: NDArray[np.floating], rate_hz: int, tone_hz: float) -> float | None:
    """From where to the end a tone sounds without a break, in seconds from the first sample.

    Parameters
    ----------
    samples : ndarray, shape (n,)
        One channel that begins before the tone is heard.
    rate_hz : int
        Sample rate in Hz.
    tone_hz : float
        Frequency in Hz.

    Returns
    -------
    float or None
        The last moment at which the tone passes half of the size that it has in the last 0.15 s, good to
        some 5 ms; 0 where it is there from the first sample. None where nothing tells: noise makes the size
        scatter, as much was heard at its frequency before, or it has ended by then.

    Notes
    -----
    Common practice, no source.
    """
    trace = tone_trace(samples, rate_hz, tone_hz)
    last_n = round(LAST_S / HOP_S)
    if len(trace) < 2 * last_n:
        return None
    size = float(np.median(trace[-last_n:]))
    if size <= 0.0 or float(np.std(trace[-last_n:])) > MOST_SCATTER * size:
        return None
    if size < HALF * float(np.quantile(trace, 0.9)):
        return None
    small = np.flatnonzero(trace < HALF * size)
    if len(small) == 0:
        return 0.0
    if float(np.median(trace[small])) > MOST_BEFORE * size:
        return None
    # A frame sees half of the tone once the beginning is in its middle.
    return float((small[-1] + 1) * HOP_S + FRAME_S / 2.0)


def has_break(samples: NDArray[np.floating], rate_hz: int, tone_hz: float) -> bool:
    """Whether a tone that sounds through most of a stretch is missing somewhere in it.

    Parameters
    ----------
    samples : ndarray, shape (n,)
        One channel in which the tone should sound from the first sample to the last.
    rate_hz : int
        Sample rate in Hz.
    tone_hz : float
        Frequency in Hz.

    Returns
    -------
    bool
        Its size falls under `MOST_BEFORE` of the usual somewhere, while half of the time it keeps it closely.
        False in noise, which makes the size scatter. Common practice, no source.
    """
    trace = tone_trace(samples, rate_hz, tone_hz)
    if len(trace) == 0:
        return False
    low, usual, high = np.quantile(trace, [0.5, 0.75, 1.0])
    return bool(high - low < MOST_SCATTER * usual and np.min(trace) < MOST_BEFORE * usual)
