"""Frequency weightings: gain curves and their use on samples."""

from typing import Literal

import numpy as np
from numpy.typing import NDArray

from audiotest.measure.filters import apply_response
from audiotest.standards import iec_61672_1_2013, ieee_743_1995, itu_r_bs468_4, itu_t_o41_1994

WeightingName = Literal["psophometric", "c_message", "a", "c", "bs468"]
LOWEST_HZ = 1e-3
"""Stands for 0 Hz, where every curve but none of its logarithms reaches nothing."""


def _table_db(
    table: tuple[tuple[float, float, float | None], ...], hz: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Weight in dB, linear on log f between rows and continued with the first and last slope outside."""
    known_hz = np.log10([row[0] for row in table])
    known_db = np.array([row[1] for row in table])
    x = np.log10(hz)
    inside = np.interp(x, known_hz, known_db)
    low_slope = (known_db[1] - known_db[0]) / (known_hz[1] - known_hz[0])
    high_slope = (known_db[-1] - known_db[-2]) / (known_hz[-1] - known_hz[-2])
    below = np.minimum(x - known_hz[0], 0.0) * low_slope
    above = np.maximum(x - known_hz[-1], 0.0) * high_slope
    return np.asarray(inside + below + above)


def _a_db(hz: NDArray[np.float64]) -> NDArray[np.float64]:
    f1, f2, f3, f4 = (pole**2 for pole in iec_61672_1_2013.POLES_HZ)
    f = hz**2
    gain = f4 * f**2 / ((f + f1) * np.sqrt(f + f2) * np.sqrt(f + f3) * (f + f4))
    return np.asarray(20.0 * np.log10(gain))


def _c_db(hz: NDArray[np.float64]) -> NDArray[np.float64]:
    f1, _, _, f4 = (pole**2 for pole in iec_61672_1_2013.POLES_HZ)
    f = hz**2
    return np.asarray(20.0 * np.log10(f4 * f / ((f + f1) * (f + f4))))


def _bs468_db(hz: NDArray[np.float64]) -> NDArray[np.float64]:
    even = np.polyval(itu_r_bs468_4.EVEN, hz**2)
    odd = hz * np.polyval(itu_r_bs468_4.ODD, hz**2)
    ratio = itu_r_bs468_4.NUMERATOR * hz / np.hypot(even, odd)
    return np.asarray(itu_r_bs468_4.GAIN_1K_DB + 20.0 * np.log10(ratio))


def weight_db(name: WeightingName, frequency_hz: NDArray[np.float64]) -> NDArray[np.float64]:
    """Weight in dB at `frequency_hz`, shape (n,).

    Parameters
    ----------
    name : str
        ``psophometric`` (ITU-T O.41, 0 dB at 800 Hz), ``c_message`` (IEEE 743-1995), ``a`` and ``c``
        (IEC 61672-1:2013) or ``bs468`` (ITU-R BS.468-4), the last four 0 dB at 1 kHz.
    frequency_hz : ndarray, shape (n,)
        Frequencies from 0 Hz up.

    Returns
    -------
    ndarray, shape (n,)
        Finite values. The two telephone curves exist as tables only and are read by linear interpolation
        on a logarithmic frequency axis.

    >>> weight_db("psophometric", np.array([50.0, 800.0, 1000.0])).tolist()
    [-63.0, 0.0, 1.0]
    >>> weight_db("a", np.array([100.0, 1000.0])).round(2).tolist()
    [-19.14, 0.0]
    """
    hz = np.maximum(np.asarray(frequency_hz, dtype=np.float64), LOWEST_HZ)
    one_khz = np.array([iec_61672_1_2013.REFERENCE_HZ])
    if name == "psophometric":
        return _table_db(itu_t_o41_1994.TABLE, hz)
    if name == "c_message":
        return _table_db(ieee_743_1995.TABLE, hz)
    if name == "a":
        return _a_db(hz) - _a_db(one_khz)
    if name == "c":
        return _c_db(hz) - _c_db(one_khz)
    return _bs468_db(hz)


def weight_gain(name: WeightingName, frequency_hz: NDArray[np.float64]) -> NDArray[np.float64]:
    """Amplitude gain of a weighting at `frequency_hz`, shape (n,); nothing passes at 0 Hz."""
    gain = 10.0 ** (weight_db(name, frequency_hz) / 20.0)
    return np.asarray(np.where(np.asarray(frequency_hz) > 0.0, gain, 0.0))


def apply_weighting(
    samples: NDArray[np.floating], rate_hz: float, name: WeightingName
) -> NDArray[np.float64]:
    """Pass `samples`, shape (n,), through a weighting network without phase shift; same unit.

    The curve holds up to the Nyquist frequency exactly; what the sampling has cut off above cannot count.
    """
    return apply_response(samples, rate_hz, lambda hz: weight_gain(name, hz))
