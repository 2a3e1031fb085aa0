"""Signalling tones in Hz: sub-audible tones, dual tones, five-tone sets and the repeater burst.

*Published*, *second hand* and *from memory* mean the same as in `audiotest.standards.limits`.
"""

from dataclasses import dataclass

SUBAUDIBLE_COMMON_HZ = (
    67.0, 71.9, 74.4, 77.0, 79.7, 82.5, 85.4, 88.5, 91.5, 94.8, 97.4, 100.0, 103.5, 107.2, 110.9, 114.8,
    118.8, 123.0, 127.3, 131.8, 136.5, 141.3, 146.2, 151.4, 156.7, 162.2, 167.9, 173.8, 179.9, 186.2, 192.8,
    203.5, 210.7, 218.1, 225.7, 233.6, 241.8, 250.3,
)  # fmt: skip
"""The 38 common continuous tones of EIA RS-220 and TIA-603; published in public lists of tones."""

SUBAUDIBLE_EXTRA_HZ = (69.3, 159.8, 165.5, 171.3, 177.3, 183.5, 189.9, 196.6, 199.5, 206.5, 229.1, 254.1)
"""Twelve tones that later sets add; published in public lists of tones."""

SUBAUDIBLE_HZ = tuple(sorted(SUBAUDIBLE_COMMON_HZ + SUBAUDIBLE_EXTRA_HZ))
"""All 50."""

SUBAUDIBLE_UK_HZ = (
    67.0, 71.9, 77.0, 82.5, 88.5, 94.8, 103.5, 107.2, 110.9, 114.8, 118.8, 123.0, 127.3, 131.8, 136.5, 141.3,
    146.2, 151.4, 156.7, 162.2, 167.9, 173.8, 179.9, 186.2, 192.8, 203.5, 210.7, 218.1, 225.7, 233.6, 241.8,
    250.3,
)  # fmt: skip
"""The 32 tones of MPT 1306 (no 100.0); published in the Radio & RF Engineering Pocket Book, §16.1."""

SUBAUDIBLE_DEVIATION_KHZ = {12.5: (0.2, 0.4), 25.0: (0.4, 0.8)}
"""Least and greatest peak deviation by channel spacing in kHz, MPT 1306; same book, table 16.2."""

REPEATER_BURST_HZ = 1750.0
"""Opens amateur repeaters; ±25 Hz, 200 to 400 ms; published by ukrepeater.net."""

DTMF_ROWS_HZ = (697.0, 770.0, 852.0, 941.0)
DTMF_COLUMNS_HZ = (1209.0, 1336.0, 1477.0, 1633.0)
DTMF_KEYS = ("123A", "456B", "789C", "*0#D")
"""ITU-T Q.23, one string per row; published."""


@dataclass(frozen=True, slots=True, kw_only=True)
class FiveToneSet:
    """A sequential code: the tones of digits 1 to 9 and 0, repeat and group tone, length of one tone."""

    name: str
    digits_hz: tuple[float, ...]
    repeat_hz: float
    group_hz: float | None
    tone_s: float
    source: str


_CCIR_DIGITS_HZ = (1124.0, 1197.0, 1275.0, 1358.0, 1446.0, 1540.0, 1640.0, 1747.0, 1860.0, 1981.0)

FIVE_TONE_SETS: tuple[FiveToneSet, ...] = (
    FiveToneSet(
        name="CCIR",
        digits_hz=_CCIR_DIGITS_HZ,
        repeat_hz=2110.0,
        group_hz=2400.0,
        tone_s=0.1,
        source="published in public lists of selective calling tones",
    ),
    FiveToneSet(
        name="EEA",
        digits_hz=_CCIR_DIGITS_HZ,
        repeat_hz=2110.0,
        group_hz=1055.0,
        tone_s=0.04,
        source="published in public lists of selective calling tones",
    ),
    FiveToneSet(
        name="ZVEI-1",
        digits_hz=(1060.0, 1160.0, 1270.0, 1400.0, 1530.0, 1670.0, 1830.0, 2000.0, 2200.0, 2400.0),
        repeat_hz=2600.0,
        group_hz=2800.0,
        tone_s=0.07,
        source="second hand; group tone from memory",
    ),
    FiveToneSet(
        name="EIA",
        digits_hz=(741.0, 882.0, 1023.0, 1164.0, 1305.0, 1446.0, 1587.0, 1728.0, 1869.0, 600.0),
        repeat_hz=459.0,
        group_hz=None,
        tone_s=0.033,
        source="second hand",
    ),
)


SUBAUDIBLE_TOLERANCE = 0.007
"""Share by which a measured tone may miss its table value; half the closest spacing, which is 1.45 %.

Encoders keep within 0.5 % (TIA-603, from memory)."""


def nearest_subaudible(frequency_hz: float) -> float | None:
    """The tone of `SUBAUDIBLE_HZ` that a measured frequency stands for, None when it stands for none.

    >>> nearest_subaudible(88.4), nearest_subaudible(60.0)
    (88.5, None)
    """
    nearest = min(SUBAUDIBLE_HZ, key=lambda tone_hz: abs(tone_hz - frequency_hz))
    return nearest if abs(nearest - frequency_hz) <= SUBAUDIBLE_TOLERANCE * nearest else None
