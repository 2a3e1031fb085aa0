"""What a bench reading besides deviation is held against, as reference values with their source.

As with the limit sets each source says how well a number is founded: *from memory* was never read and
has to be confirmed before anybody relies on it. No number stands here for a service where none is known.
"""

from dataclasses import dataclass

COMMON_PRACTICE = "common practice, no source"


@dataclass(frozen=True, slots=True, kw_only=True)
class Yardstick:
    """The most that a reading may be, in the quantity's own unit, and where that comes from."""

    highest: float
    source: str


_POWER_W = {
    "uk-27fm": Yardstick(highest=4.0, source="MPT 1320, from memory"),
    "cept-27fm": Yardstick(highest=4.0, source="ECC/DEC/(11)03, from memory"),
    "pmr446": Yardstick(highest=0.5, source="ECC/DEC/(15)05, radiated power, from memory"),
}
_FREQUENCY_HZ = {
    "uk-27fm": Yardstick(highest=1500.0, source="MPT 1320, from memory"),
    "cept-27fm": Yardstick(highest=600.0, source="EN 300 433, from memory"),
}
# EN 300 086, mobile sets, from memory: (up to MHz, Hz).
_LAND_HZ = {
    "land-12k5": ((47.0, 600.0), (137.0, 1000.0), (500.0, 1500.0)),
    "land-20k": ((47.0, 600.0), (137.0, 1350.0), (500.0, 2000.0)),
    "land-25k": ((47.0, 600.0), (137.0, 1350.0), (500.0, 2000.0)),
}
_SENSITIVITY_UV = {
    "uk-27fm": Yardstick(highest=1.0, source=COMMON_PRACTICE),
    "cept-27fm": Yardstick(highest=1.0, source=COMMON_PRACTICE),
}
_SWR = Yardstick(highest=2.0, source=COMMON_PRACTICE)


def yardstick(key: str, limits_id: str, frequency_mhz: float | None) -> Yardstick | None:
    """What a reading of a quantity is held against in a service; None when nothing is known.

    >>> yardstick("frequency-error", "land-12k5", 160.0).highest
    1500.0
    >>> yardstick("power", "amateur-25k", 145.0) is None
    True
    """
    if key == "power":
        return _POWER_W.get(limits_id)
    if key == "sensitivity":
        return _SENSITIVITY_UV.get(limits_id)
    if key == "swr":
        return _SWR
    if key != "frequency-error":
        return None
    if limits_id in _LAND_HZ and frequency_mhz is not None:
        for up_to_mhz, highest_hz in _LAND_HZ[limits_id]:
            if frequency_mhz <= up_to_mhz:
                return Yardstick(highest=highest_hz, source="EN 300 086, mobile sets, from memory")
        return None
    return _FREQUENCY_HZ.get(limits_id)
