"""What each procedure needs beside the set, in a line, and how long it takes."""

from dataclasses import dataclass

from audiotest.tones.catalogue import Entry


@dataclass(frozen=True, slots=True, kw_only=True)
class Needs:
    """What has to be at hand for a procedure.

    ``scale`` says that the monitor's feed must have a learned scale, ``steps_n`` about how many steps the
    procedure has: counted on the simulated radio, it gives a progress and no more.
    """

    words: str
    steps_n: int
    scale: bool = False
    start_mv: bool = False
    start_dbm: bool = False
    nominal: bool = False
    sideband: bool = False
    deemphasis: bool = False
    swapped: bool = False
    speech: bool = False
    carrier: bool = False


_SOCKET = "a learned output, a monitor with a scale"
_MONITOR = "a monitor receiver"
_GENERATOR = "a signal generator, the set's audio"

NEEDS: dict[str, Needs] = {
    "limiting": Needs(words=_SOCKET, steps_n=30, scale=True, start_mv=True),
    "response": Needs(words=_SOCKET, steps_n=14, scale=True, start_mv=True),
    "distortion": Needs(words=_SOCKET, steps_n=4, scale=True, start_mv=True),
    "hum": Needs(words=_SOCKET, steps_n=5, scale=True, start_mv=True),
    "two-tone": Needs(words=_SOCKET, steps_n=3, scale=True, start_mv=True),
    "balance": Needs(words="a monitor, best with a scale; your voice", steps_n=6),
    "drive-by-speech": Needs(
        words="a learned output, a monitor", steps_n=1,
        speech=True,
    ),
    "drive-by-tone": Needs(
        words="a learned output, a monitor", steps_n=17,
        start_mv=True, speech=True,
    ),
    "frequency": Needs(
        words="a CW or SSB receiver, a reference carrier", steps_n=2,
        nominal=True, sideband=True,
    ),
    "frequency-iq": Needs(
        words="an I/Q receiver on a stereo input", steps_n=1, nominal=True, swapped=True
    ),
    "carrier-null": Needs(
        words="a learned output, a CW or SSB receiver, an FM monitor",
        steps_n=21, start_mv=True, deemphasis=True,
    ),
    "sensitivity": Needs(words=_GENERATOR, steps_n=32, start_dbm=True),
    "squelch": Needs(words=_GENERATOR, steps_n=27),
    "rx-response": Needs(words=_GENERATOR, steps_n=12),
    "rx-distortion": Needs(words=_GENERATOR, steps_n=1),
    "rx-hum": Needs(words=_GENERATOR, steps_n=2),
    "carrier-null-hand": Needs(
        words="a tone generator, a CW, SSB or I/Q receiver, an FM monitor", steps_n=0,
        deemphasis=True, swapped=True, carrier=True,
    ),
    "sinad": Needs(words=_GENERATOR, steps_n=0),
}  # fmt: skip


def needs_of(name: str, entry: Entry) -> Needs:
    """What a procedure needs; of one that is not in the table no more than its entry tells."""
    if name in NEEDS:
        return NEEDS[name]
    if entry.sends:
        return Needs(words=_SOCKET, steps_n=0, scale=True, start_mv=True)
    return Needs(words=_MONITOR if entry.keys else _GENERATOR, steps_n=0)
