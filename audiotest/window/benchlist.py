"""Every measurement that the bench window offers, and how each is made from what was filled in."""

from collections.abc import Iterator
from dataclasses import dataclass, replace

from audiotest.feeds.scale import load_feed
from audiotest.records import Feed, LimitSet
from audiotest.standards.limits import get_limits
from audiotest.tones.carriernull import NULL_SHARE
from audiotest.tones.catalogue import PROCEDURES, Entry, Given
from audiotest.tones.guided import Guided
from audiotest.tones.level import OutputScale, load_output
from audiotest.tones.livesinad import live_sinad
from audiotest.tones.needs import Needs, needs_of
from audiotest.tones.nullhand import hand_for, null_by_hand
from audiotest.tones.opening import most_mv, require_output
from audiotest.tones.rehearsal import DEMO_SET, MONITOR_FEED, OUTPUT, Rehearsal
from audiotest.tones.steps import Step
from audiotest.window.benchchoice import Listed
from audiotest.window.benchfields import Filled

LEARN_IT = "make one with 'audiotest send learn' and name its file here; or rehearse"
SINAD = "sinad"
NULL_BY_HAND = "carrier-null-hand"
SINAD_ENTRY = Entry(
    words="SINAD, live: turn generator or adjustment by hand", keys=False, sends=False,
    make=lambda given: live_sinad(),
)  # fmt: skip
NULL_ENTRY = Entry(
    words="carrier null by hand, live: carrier and sidebands while you turn", keys=True, sends=False,
    make=lambda given: null_by_hand(given.limits.deviation_khz, deemphasis_us=given.deemphasis_us),
)  # fmt: skip
ENTRIES: dict[str, Entry] = {**PROCEDURES, NULL_BY_HAND: NULL_ENTRY, SINAD: SINAD_ENTRY}
GIVES_A_FEED = ("carrier-null", NULL_BY_HAND)
ALL_NEEDS: dict[str, Needs] = {
    **{name: needs_of(name, entry) for name, entry in PROCEDURES.items()},
    NULL_BY_HAND: Needs(
        words="a tone generator, a CW, SSB or I/Q receiver, an FM monitor",
        steps_n=0,
        deemphasis=True,
        swapped=True,
        carrier=True,
    ),
    SINAD: Needs(words="a signal generator, the set's audio", steps_n=0),
}
TRANSMITTER, RECEIVER = "Transmitter", "Receiver"
SINAD_HIGH_DBM, SINAD_LOW_DBM, SINAD_STEP_DB = -104.0, -122.0, 0.5


def listed() -> tuple[Listed, ...]:
    """All of them in the order of the list: what keys a transmitter first."""
    rows = [
        Listed(
            name=name, group=TRANSMITTER if entry.keys else RECEIVER, words=entry.words, needs=ALL_NEEDS[name]
        )
        for name, entry in ENTRIES.items()
    ]
    return tuple(sorted(rows, key=lambda row: row.group != TRANSMITTER))


@dataclass(frozen=True, slots=True, kw_only=True)
class Prepared:
    """A measurement ready to start."""

    name: str
    entry: Entry
    guided: Guided
    limits: LimitSet
    scale: OutputScale | None


def prepare_run(name: str, filled: Filled, *, rehearsed: bool, output_device: str = "") -> Prepared:
    """Read the files and make the procedure.

    ``output_device`` is where a learned output sends whose file names no device.

    Raises
    ------
    AudiotestError
        A file cannot be read, or something that the procedure needs is missing.
    """
    entry = ENTRIES[name]
    limits = get_limits(filled.limits)
    feed: Feed | None = MONITOR_FEED
    scale: OutputScale | None = OUTPUT
    if not rehearsed:
        feed = load_feed(filled.feed_file) if filled.feed_file and _listens_to_fm(name) else None
        scale = load_output(filled.output_file) if filled.output_file and entry.sends else None
        require_output("this measurement", entry, scale, LEARN_IT)
        if scale is not None and not scale.device:
            scale = replace(scale, device=output_device)
    given = Given(
        feed=feed, limits=limits, start_mv=filled.start_mv, start_dbm=filled.start_dbm,
        nominal_mhz=filled.nominal_mhz, tolerance_hz=filled.tolerance_hz,
        lower_sideband=filled.lower_sideband, deemphasis_us=filled.deemphasis_us, own_mv=filled.own_mv,
        most_mv=most_mv(scale),
    )  # fmt: skip
    guided = _null(given, filled) if name == NULL_BY_HAND else entry.make(given)
    return Prepared(name=name, entry=entry, guided=guided, limits=limits, scale=scale)


def _null(given: Given, filled: Filled) -> Guided:
    return null_by_hand(
        given.limits.deviation_khz, wanted_khz=filled.wanted_khz, deemphasis_us=given.deemphasis_us,
        iq=filled.iq,
    )  # fmt: skip


def _listens_to_fm(name: str) -> bool:
    needs = ALL_NEEDS[name]
    return needs.scale or needs.speech or name == "balance"


def rehearsal_for(prepared: Prepared, filled: Filled) -> Rehearsal:
    """The simulated radio, and whoever turns the knobs that no question asks for.

    For live SINAD its generator goes down and up again, for the null by hand the tone comes up to the null.
    """
    if prepared.name == NULL_BY_HAND:
        wanted_khz = filled.wanted_khz or NULL_SHARE * prepared.limits.deviation_khz
        return Rehearsal(hand=hand_for(DEMO_SET, wanted_khz))
    if prepared.name != SINAD:
        return Rehearsal()
    levels = _down_and_up()
    rehearsal = Rehearsal(level_dbm=next(levels))

    def turn(step: Step) -> None:
        rehearsal.level_dbm = next(levels)

    rehearsal.on_step = turn
    return rehearsal


def _down_and_up() -> Iterator[float]:
    level_dbm, way = SINAD_HIGH_DBM, -1.0
    while True:
        yield level_dbm
        level_dbm += way * SINAD_STEP_DB
        if not SINAD_LOW_DBM < level_dbm < SINAD_HIGH_DBM:
            way = -way
