"""Every measurement that the bench window offers, and how each is made from what was filled in."""

from dataclasses import dataclass, replace

from audiotest.feeds.scale import load_feed
from audiotest.records import Feed, LimitSet
from audiotest.standards.limits import get_limits
from audiotest.tones.byhand import ENTRIES, rehearsal_for
from audiotest.tones.catalogue import Entry, Given
from audiotest.tones.guided import Guided
from audiotest.tones.level import OutputScale, load_output
from audiotest.tones.needs import Needs, needs_of
from audiotest.tones.opening import most_mv, require_output
from audiotest.tones.rehearsal import MONITOR_FEED, OUTPUT, Rehearsal
from audiotest.window.benchchoice import Listed
from audiotest.window.benchfields import Filled

LEARN_IT = "make one with 'audiotest send learn' and name its file here; or rehearse"
ALL_NEEDS: dict[str, Needs] = {name: needs_of(name, entry) for name, entry in ENTRIES.items()}
TRANSMITTER, RECEIVER = "Transmitter", "Receiver"


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
    """A measurement ready to start; ``rehearsal`` is the simulated radio for it, if it is rehearsed."""

    name: str
    entry: Entry
    guided: Guided
    limits: LimitSet
    scale: OutputScale | None
    rehearsal: Rehearsal | None


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
        most_mv=most_mv(scale), wanted_khz=filled.wanted_khz, iq=filled.iq,
    )  # fmt: skip
    return Prepared(
        name=name, entry=entry, guided=entry.make(given), limits=limits, scale=scale,
        rehearsal=rehearsal_for(name, given) if rehearsed else None,
    )  # fmt: skip


def _listens_to_fm(name: str) -> bool:
    needs = ALL_NEEDS[name]
    return needs.scale or needs.speech or name == "balance"
