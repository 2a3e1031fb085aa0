"""Curves thinned to what the screen can show: the lowest and highest sample of every pixel column."""

import numpy as np
from numpy.typing import NDArray


def column_extremes(
    samples: NDArray[np.floating], columns: int
) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    """Lowest and highest sample of each of `columns` equal stretches; every sample is in one of them.

    Parameters
    ----------
    samples : ndarray, shape (n,)
        At least one sample, finite.
    columns : int
        Pixel columns, 1 or more; never more than there are samples.

    Returns
    -------
    low, high : ndarray, shape (min(columns, n),)

    >>> low, high = column_extremes(np.array([1.0, -2.0, 3.0, 0.5]), 2)
    >>> low.tolist(), high.tolist()
    ([-2.0, 0.5], [1.0, 3.0])
    """
    count = min(columns, len(samples))
    starts = (np.arange(count) * len(samples)) // count
    low = np.minimum.reduceat(samples, starts)
    high = np.maximum.reduceat(samples, starts)
    return low.astype(np.float32), high.astype(np.float32)


def thinned(
    x: NDArray[np.floating], y: NDArray[np.floating], columns: int
) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    """A curve with at most two points a column that draws the same picture; short ones stay as they are.

    Both are of shape (n,); `x` rises evenly.
    """
    if len(y) <= 2 * columns:
        return np.asarray(x, dtype=np.float32), np.asarray(y, dtype=np.float32)
    low, high = column_extremes(y, columns)
    starts = (np.arange(columns) * len(y)) // columns
    at = np.repeat(np.asarray(x, dtype=np.float32)[starts], 2)
    pairs = np.empty(2 * columns, dtype=np.float32)
    pairs[0::2], pairs[1::2] = low, high
    return at, pairs


def outline(samples: NDArray[np.floating], columns: int) -> NDArray[np.float32]:
    """Largest deflection of each column, shape (columns,), 0 where there is no audio; for small pictures."""
    if len(samples) == 0:
        return np.zeros(columns, dtype=np.float32)
    low, high = column_extremes(samples, columns)
    size = np.maximum(-low, high)
    return np.interp(np.linspace(0.0, 1.0, columns), np.linspace(0.0, 1.0, len(size)), size).astype(
        np.float32
    )
