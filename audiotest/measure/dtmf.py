"""Dual-tone keys heard in a receiver's audio, each tone held against its tolerance."""

from dataclasses import dataclass

import numpy as np
import scipy.fft
from numpy.typing import NDArray

from audiotest.standards.tones import DTMF_COLUMNS_HZ, DTMF_KEYS, DTMF_ROWS_HZ

WINDOW_S, HOP_S = 0.024, 0.004
SENT_TOLERANCE = 0.018
"""What a sender must keep to: ITU-T Q.23, ±1.8 % (second hand)."""
OPERATE_TOLERANCE, REJECT_TOLERANCE = 0.015, 0.035
"""A receiver must take ±1.5 % and must not take ±3.5 %: ITU-T Q.24, one administration (from memory)."""
MOST_TWIST_DB = 12.0
"""Wider than the +4/-8 dB of Q.24 (from memory): emphasis and audio filters tilt what a radio delivers."""
SHORTEST_S = 0.04
PAIR_SHARE = 0.75
ROW_BAND_HZ = (640.0, 1000.0)
COLUMN_BAND_HZ = (1150.0, 1720.0)
BAND_HZ = (280.0, 3500.0)
FAINTEST = 1e-4


@dataclass(frozen=True, slots=True, kw_only=True)
class DtmfKey:
    """One key: when, both frequencies with their misses in percent, twist (column re row).

    ``in_tolerance`` holds both against the ±1.8 % of ITU-T Q.23.
    """

    key: str
    start_s: float
    end_s: float
    row_hz: float
    column_hz: float
    row_off_percent: float
    column_off_percent: float
    twist_db: float
    in_tolerance: bool


def find_dtmf(samples: NDArray[np.floating], rate_hz: int) -> tuple[DtmfKey, ...]:
    """Every dual-tone key of 40 ms or more.

    Parameters
    ----------
    samples : ndarray, shape (n,)
        One channel, full scale 1.0.
    rate_hz : int
        Sample rate in Hz.

    Returns
    -------
    tuple of DtmfKey
        In order of time. A key counts when a row and a column tone, each within 2.5 % of its table value
        (half way between what a receiver must take and must refuse) hold three quarters of the power in
        280-3500 Hz together, 12 dB or less apart. Frequencies are measured over the whole key.

    Notes
    -----
    ITU-T Q.23 for the frequencies. Neighbouring tones are 10 % apart, so no window is ambiguous.
    """
    x = np.asarray(samples, dtype=np.float64)
    window_n, hop_n = round(WINDOW_S * rate_hz), round(HOP_S * rate_hz)
    if len(x) < window_n + hop_n:
        return ()
    keys, power = _frame_keys(x, rate_hz, window_n, hop_n)
    found = []
    first = 0
    for k in range(1, len(keys) + 1):
        if k < len(keys) and keys[k] == keys[first]:
            continue
        if keys[first] >= 0:
            # At the key's edges a frame is half inside and holds a quarter of the power.
            inside = first + np.flatnonzero(power[first:k] >= 0.25 * np.median(power[first:k]))
            start_n, end_n = (int(at) * hop_n + window_n // 2 for at in (inside[0], inside[-1]))
            # A single frame that looks like a key has no length at all: nothing can be fitted to it.
            if (end_n - start_n) / rate_hz >= SHORTEST_S - 2.0 * HOP_S:
                key = _measured(x, rate_hz, start_n, end_n, int(keys[first]))
                if key is not None:
                    found.append(key)
        first = k
    return tuple(found)


def _frame_keys(
    x: NDArray[np.float64], rate_hz: int, window_n: int, hop_n: int
) -> tuple[NDArray[np.int_], NDArray[np.float64]]:
    """Number of the key in each frame, row·4 + column, or -1, and the power of its two tones."""
    view = np.lib.stride_tricks.sliding_window_view(x, window_n)[::hop_n]
    size = scipy.fft.next_fast_len(8 * window_n, real=True)
    hz = np.arange(size // 2 + 1) * rate_hz / size
    window = np.hanning(window_n + 2)[1:-1]
    reach = round(2.0 / WINDOW_S * size / rate_hz)
    in_band = (hz > BAND_HZ[0]) & (hz < BAND_HZ[1])
    keys, pairs = [], []
    for at in range(0, len(view), 2048):
        power = np.abs(scipy.fft.rfft(view[at : at + 2048] * window, size, axis=1)) ** 2
        total = np.sum(power[:, in_band], axis=1)
        summed = np.pad(np.cumsum(power, axis=1), ((0, 0), (1, 0)))
        rows, row_power = _nearest(power, summed, hz, ROW_BAND_HZ, DTMF_ROWS_HZ, reach)
        columns, column_power = _nearest(power, summed, hz, COLUMN_BAND_HZ, DTMF_COLUMNS_HZ, reach)
        limit = 10.0 ** (MOST_TWIST_DB / 10.0)
        good = (
            (rows >= 0)
            & (columns >= 0)
            & (row_power + column_power > PAIR_SHARE * total)
            & (row_power < limit * column_power)
            & (column_power < limit * row_power)
            & (total > (FAINTEST * window_n / 4.0) ** 2)
        )
        keys.append(np.where(good, 4 * rows + columns, -1))
        pairs.append(row_power + column_power)
    return np.concatenate(keys), np.concatenate(pairs)


def _nearest(
    power: NDArray[np.float64],
    summed: NDArray[np.float64],
    hz: NDArray[np.float64],
    band_hz: tuple[float, float],
    table_hz: tuple[float, ...],
    reach: int,
) -> tuple[NDArray[np.int_], NDArray[np.float64]]:
    """Which tone of the table the strongest line of a band stands for (-1: none), and that line's power."""
    first, last = np.searchsorted(hz, band_hz)
    top = first + np.argmax(power[:, first:last], axis=1)
    off = np.abs(hz[top][:, None] / np.array(table_hz) - 1.0)
    which = np.argmin(off, axis=1)
    index = np.arange(len(power))
    near = summed[index, top + reach + 1] - summed[index, top - reach]
    accept = 0.5 * (OPERATE_TOLERANCE + REJECT_TOLERANCE) + 0.5 * (hz[1] - hz[0]) / table_hz[0]
    return np.where(np.min(off, axis=1) <= accept, which, -1), near


def _measured(x: NDArray[np.float64], rate_hz: int, start_n: int, end_n: int, key: int) -> DtmfKey | None:
    """Both tones of a key by a joint fit, frequencies by the phase's advance between its two halves."""
    row, column = divmod(key, 4)
    part = x[start_n:end_n]
    exact = [_settled_hz(part, rate_hz, hz) for hz in (DTMF_ROWS_HZ[row], DTMF_COLUMNS_HZ[column])]
    turn = 2.0 * np.pi * np.outer(exact, np.arange(len(part))) / rate_hz
    design = np.concatenate([np.cos(turn), np.sin(turn)])
    solved = np.linalg.lstsq(design @ design.T, design @ part, rcond=None)[0]
    size = np.hypot(solved[:2], solved[2:])
    off = [exact[0] / DTMF_ROWS_HZ[row] - 1.0, exact[1] / DTMF_COLUMNS_HZ[column] - 1.0]
    if min(size) <= 0.0 or max(np.abs(off)) > REJECT_TOLERANCE:
        return None
    return DtmfKey(
        key=DTMF_KEYS[row][column],
        start_s=start_n / rate_hz,
        end_s=end_n / rate_hz,
        row_hz=exact[0],
        column_hz=exact[1],
        row_off_percent=100.0 * off[0],
        column_off_percent=100.0 * off[1],
        twist_db=float(20.0 * np.log10(size[1] / size[0])),
        in_tolerance=bool(max(np.abs(off)) <= SENT_TOLERANCE),
    )


def _settled_hz(part: NDArray[np.float64], rate_hz: int, near_hz: float) -> float:
    half = len(part) // 2
    window = np.hanning(half + 2)[1:-1]
    t = np.arange(2 * half) / rate_hz
    # A coarse peak first: the phase between halves is unambiguous only within 1/(2·half).
    trial = near_hz * np.linspace(1.0 - REJECT_TOLERANCE, 1.0 + REJECT_TOLERANCE, 61)
    whole = np.hanning(2 * half + 2)[1:-1] * part[: 2 * half]
    f = float(trial[int(np.argmax(np.abs(np.exp(-2j * np.pi * np.outer(trial, t)) @ whole)))])
    for _ in range(3):
        turned = part[: 2 * half] * np.exp(-2j * np.pi * f * t)
        first, second = np.sum(turned[:half] * window), np.sum(turned[half:] * window)
        f += float(np.angle(second * np.conj(first))) * rate_hz / (2.0 * np.pi * half)
    return f
