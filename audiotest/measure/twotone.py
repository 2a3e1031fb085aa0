"""Intermodulation of two tones: the products beside and between them."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from audiotest.errors import MeasureError

SEARCH_HZ = 15.0
LOWEST_HZ = 200.0


@dataclass(frozen=True, slots=True, kw_only=True)
class TwoTone:
    """Peak amplitudes of both tones, and products in dB re the sum of both amplitudes; None out of band."""

    low_hz: float
    high_hz: float
    low: float
    high: float
    second_order_db: float | None
    third_order_db: float | None
    products_db: tuple[tuple[float, float], ...]


def measure_two_tone(
    samples: NDArray[np.floating], rate_hz: float, low_hz: float, high_hz: float, *, top_hz: float = 3400.0
) -> TwoTone:
    """Intermodulation products of two tones by one joint least-squares fit.

    Parameters
    ----------
    samples : ndarray, shape (n,)
        Both tones, noise and products, any unit; 0.2 s or more.
    rate_hz : float
        Sample rate in Hz.
    low_hz, high_hz : float
        The tones, each sought within 15 Hz.
    top_hz : float
        Products from 200 Hz to here count.

    Returns
    -------
    TwoTone
        Second order: f2-f1 and f1+f2; third order: 2f1-f2 and 2f2-f1; the root of the summed squares of what
        is in band. ``products_db`` holds each with its frequency.

    Raises
    ------
    MeasureError
        Too short, or one of the tones is not there.

    Notes
    -----
    Product orders: textbook. What noise puts on a product's frequency counts as product: the fit's length
    sets that floor.
    """
    x = np.asarray(samples, dtype=np.float64)
    if len(x) < 0.2 * rate_hz:
        raise MeasureError("too short for two tones", "listen for 0.2 s or more")
    exact = [_near(x, rate_hz, hz) for hz in (low_hz, high_hz)]
    first, second = exact
    orders = {
        second - first: 2, first + second: 2, 2.0 * first - second: 3, 2.0 * second - first: 3,
    }  # fmt: skip
    products = {
        hz: order
        for hz, order in orders.items()
        if LOWEST_HZ <= hz <= min(top_hz, 0.48 * rate_hz) and min(abs(hz - tone) for tone in exact) > 20.0
    }
    lines = np.array([*exact, *products])
    turn = 2.0 * np.pi / rate_hz * np.outer(lines, np.arange(len(x)))
    design = np.concatenate([np.cos(turn), np.sin(turn), np.ones((1, len(x)))])
    solved = np.linalg.lstsq(design @ design.T, design @ x, rcond=None)[0]
    size = np.hypot(solved[: len(lines)], solved[len(lines) : -1])
    whole = float(size[0] + size[1])
    if whole <= 0.0 or min(size[:2]) < 0.02 * whole:
        raise MeasureError("one of the two tones is not heard", "check the tones and the audio filter")
    ratio = dict(zip(products, size[2:] / whole, strict=True))

    def order_db(order: int) -> float | None:
        found = [ratio[hz] for hz, of in products.items() if of == order]
        return 10.0 * float(np.log10(max(sum(r**2 for r in found), 1e-20))) if found else None

    return TwoTone(
        low_hz=first, high_hz=second, low=float(size[0]), high=float(size[1]), second_order_db=order_db(2),
        third_order_db=order_db(3),
        products_db=tuple((hz, 20.0 * float(np.log10(max(r, 1e-10)))) for hz, r in sorted(ratio.items())),
    )  # fmt: skip


def _near(x: NDArray[np.float64], rate_hz: float, hz: float) -> float:
    """Exact frequency of a tone near `hz`: shifted to where no other is, averaged, and its phase followed."""
    t = np.arange(len(x)) / rate_hz
    window = np.hanning(len(x) + 2)[1:-1]
    trial = np.arange(hz - SEARCH_HZ, hz + SEARCH_HZ + 0.01, 0.5)
    size = np.abs(np.exp(-2j * np.pi * np.outer(trial, t)) @ (window * x))
    f = float(trial[int(np.argmax(size))])
    half = len(x) // 2
    taper = np.hanning(half + 2)[1:-1]
    for _ in range(3):
        turned = x[: 2 * half] * np.exp(-2j * np.pi * f * t[: 2 * half])
        step = float(np.angle((turned[half:] @ taper) * np.conj(turned[:half] @ taper)))
        f += step * rate_hz / (2.0 * np.pi * half)
    return f
