"""Emphasis time constants in use, and what a first-order network of each does.

The gains follow from the textbook network ``(1 + j2πfτ)``: they are closed-form values, not measured ones.
"""

from dataclasses import dataclass
from math import log10, pi

TABLE_HZ = (300.0, 500.0, 2000.0, 2500.0, 3000.0)
"""Where the gains of `EMPHASIS_TABLE` hold; at 1 kHz each is 0 dB."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Emphasis:
    """A pre-emphasis: time constant in µs, corner in Hz, gains at `TABLE_HZ` in dB re 1 kHz.

    A time constant of None is the ideal 6 dB per octave of a phase modulator, which has no corner.
    """

    tau_us: float | None
    corner_hz: float | None
    gains_db: tuple[float, ...]
    use: str
    source: str


EMPHASIS_TABLE: tuple[Emphasis, ...] = (
    Emphasis(
        tau_us=None,
        corner_hz=None,
        gains_db=(-10.458, -6.021, 6.021, 7.959, 9.542),
        use="phase modulation, ideal 6 dB per octave",
        source="closed form",
    ),
    Emphasis(
        tau_us=50.0,
        corner_hz=3183.1,
        gains_db=(-0.37, -0.30, 1.04, 1.68, 2.35),
        use="broadcast, most countries",
        source="published",
    ),
    Emphasis(
        tau_us=75.0,
        corner_hz=2122.1,
        gains_db=(-0.79, -0.64, 1.89, 2.91, 3.90),
        use="broadcast, Americas",
        source="published",
    ),
    Emphasis(
        tau_us=530.0,
        corner_hz=300.3,
        gains_db=(-7.82, -5.06, 5.74, 7.65, 9.21),
        use="two-way sets with a 300 Hz corner",
        source="from memory",
    ),
    Emphasis(
        tau_us=750.0,
        corner_hz=212.2,
        gains_db=(-8.89, -5.49, 5.88, 7.80, 9.37),
        use="usual in two-way sets",
        source="from memory",
    ),
)


def gain_db(frequency_hz: float, tau_us: float | None) -> float:
    """Gain of a pre-emphasis in dB re its gain at 1 kHz; de-emphasis is the negative.

    `tau_us` None is the ideal 6 dB per octave, which has no gain at 0 Hz: `frequency_hz` is above 0.

    >>> round(gain_db(3000.0, 750.0), 2), round(gain_db(3000.0, None), 3)
    (9.37, 9.542)
    """
    if tau_us is None:
        return 20.0 * log10(frequency_hz / 1000.0)
    turn = 2e-6 * pi * tau_us
    return 10.0 * log10((1.0 + (turn * frequency_hz) ** 2) / (1.0 + (turn * 1000.0) ** 2))
