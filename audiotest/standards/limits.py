"""Limit sets of the services, as reference values: the local code and the licence decide.

Each source says how well a number is founded: *published* (read in the named text or a copy of it),
*second hand* (read in a text that quotes it) or *from memory* (never read; confirm before relying on it).
"""

from audiotest.errors import RequestError
from audiotest.records import LimitSet

LIMIT_SETS: tuple[LimitSet, ...] = (
    LimitSet(
        id="uk-27fm",
        title="UK 27 MHz FM (sets placed on the market before 1997)",
        deviation_khz=2.5,
        spacing_khz=10.0,
        audio_high_hz=3000.0,
        channels="1-40: 27.60125 MHz + 10 kHz x (n - 1), last 27.99125 MHz",
        source="MPT 1320: channels published, deviation second hand, audio limit from memory",
    ),
    LimitSet(
        id="cept-27fm",
        title="CEPT 27 MHz FM",
        deviation_khz=2.0,
        spacing_khz=10.0,
        audio_high_hz=3000.0,
        channels="1-40: 26.965 to 27.405 MHz, without 26.995, 27.045, 27.095, 27.145 and 27.195 MHz; "
        "23 is 27.255, 24 is 27.235, 25 is 27.245 MHz",
        source="ECC/DEC/(11)03 and EN 300 433: frequencies published, deviation second hand, "
        "audio limit and channel numbers from memory",
    ),
    LimitSet(
        id="pmr446",
        title="PMR446, analogue",
        deviation_khz=2.5,
        spacing_khz=12.5,
        audio_high_hz=3000.0,
        channels="1-16: 446.00625 MHz + 12.5 kHz x (n - 1), last 446.19375 MHz",
        source="ECC/DEC/(15)05: channels published; deviation and audio limit from memory",
    ),
    LimitSet(
        id="land-12k5",
        title="Land mobile, 12.5 kHz channels",
        deviation_khz=2.5,
        spacing_khz=12.5,
        audio_high_hz=2550.0,
        channels="by licence, 12.5 kHz raster",
        source="EN 300 086: deviation second hand, audio limit from memory",
    ),
    LimitSet(
        id="land-20k",
        title="Land mobile, 20 kHz channels",
        deviation_khz=4.0,
        spacing_khz=20.0,
        audio_high_hz=3000.0,
        channels="by licence, 20 kHz raster",
        source="EN 300 086: deviation and audio limit from memory",
    ),
    LimitSet(
        id="land-25k",
        title="Land mobile, 25 kHz channels",
        deviation_khz=5.0,
        spacing_khz=25.0,
        audio_high_hz=3000.0,
        channels="by licence, 25 kHz raster",
        source="EN 300 086: deviation second hand, audio limit from memory",
    ),
    LimitSet(
        id="amateur-12k5",
        title="Amateur narrow-band FM, 12.5 kHz channels",
        deviation_khz=2.5,
        spacing_khz=12.5,
        audio_high_hz=3000.0,
        channels="by the band plan",
        source="practice of UK repeaters (ukrepeater.net), published; audio limit from memory",
    ),
    LimitSet(
        id="amateur-25k",
        title="Amateur FM, 25 kHz channels",
        deviation_khz=5.0,
        spacing_khz=25.0,
        audio_high_hz=3000.0,
        channels="by the band plan",
        source="practice of UK repeaters (ukrepeater.net), published; audio limit from memory",
    ),
)
"""In the order in which they are listed."""

# ECC/DEC/(11)03: 10 kHz steps from 26.965 to 27.405 MHz without five of them. From memory: 23 to 25 are
# not in the order of frequency.
_CEPT_SKIPPED_KHZ = (26995, 27045, 27095, 27145, 27195)
_CEPT_ASCENDING_KHZ = tuple(khz for khz in range(26965, 27406, 10) if khz not in _CEPT_SKIPPED_KHZ)
_CEPT_KHZ = (*_CEPT_ASCENDING_KHZ[:22], 27255, 27235, 27245, *_CEPT_ASCENDING_KHZ[25:])

_CHANNELS_MHZ: dict[str, tuple[float, ...]] = {
    # MPT 1320: 27.60125 MHz and every 10 kHz, 40 channels.
    "uk-27fm": tuple((2760125 + 1000 * n) / 1e5 for n in range(40)),
    "cept-27fm": tuple(khz / 1e3 for khz in _CEPT_KHZ),
    # ECC/DEC/(15)05: 446.00625 MHz and every 12.5 kHz, 16 channels.
    "pmr446": tuple((44600625 + 1250 * n) / 1e5 for n in range(16)),
}


def get_limits(limits_id: str) -> LimitSet:
    """Limit set by its id.

    Raises
    ------
    RequestError
        There is no such set; the message lists the ids there are.

    >>> get_limits("uk-27fm").deviation_khz
    2.5
    """
    for limits in LIMIT_SETS:
        if limits.id == limits_id:
            return limits
    known = ", ".join(limits.id for limits in LIMIT_SETS)
    raise RequestError(f"no limit set named {limits_id!r}", f"choose one of {known}")


def channel_frequency(limits_id: str, channel: int) -> float:
    """Carrier frequency of a channel in MHz; channels are counted from 1.

    Raises
    ------
    RequestError
        The service has no fixed channels, or not this one.

    >>> channel_frequency("uk-27fm", 40), channel_frequency("cept-27fm", 19)
    (27.99125, 27.185)
    """
    limits = get_limits(limits_id)
    channels = _CHANNELS_MHZ.get(limits.id)
    if channels is None:
        numbered = ", ".join(_CHANNELS_MHZ)
        raise RequestError(f"{limits.id} has no numbered channels", f"numbered are those of {numbered}")
    if not 1 <= channel <= len(channels):
        raise RequestError(f"{limits.id} has no channel {channel}", f"choose 1 to {len(channels)}")
    return channels[channel - 1]
