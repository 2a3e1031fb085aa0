"""Measurements that somebody turns something by hand for, and the simulated radio that turns it itself."""

from collections.abc import Iterator

import numpy as np

from audiotest.feeds.protocol import Block
from audiotest.tones.carriernull import NULL_SHARE
from audiotest.tones.catalogue import PROCEDURES, Entry, Given
from audiotest.tones.livesinad import live_sinad
from audiotest.tones.nullhand import hand_for, null_by_hand
from audiotest.tones.rehearsal import DEMO_SET, Rehearsal
from audiotest.tones.steps import Step

SINAD = "sinad"
NULL_BY_HAND = "carrier-null-hand"
BY_HAND: dict[str, Entry] = {
    NULL_BY_HAND: Entry(
        words="carrier null by hand, live: carrier and sidebands while you turn", keys=True, sends=False,
        make=lambda given: null_by_hand(
            given.limits.deviation_khz, wanted_khz=given.wanted_khz, deemphasis_us=given.deemphasis_us,
            iq=given.iq,
        ),
    ),
    SINAD: Entry(
        words="SINAD, live: turn generator or adjustment by hand", keys=False, sends=False,
        make=lambda given: live_sinad(),
    ),
}  # fmt: skip
ENTRIES: dict[str, Entry] = {**PROCEDURES, **BY_HAND}
GIVES_A_FEED = ("carrier-null", NULL_BY_HAND)
SINAD_HIGH_DBM, SINAD_LOW_DBM, SINAD_STEP_DB = -104.0, -122.0, 0.5
TURNED_EVERY_S = 0.6


def rehearsal_for(name: str, given: Given) -> Rehearsal:
    """The simulated radio, and whoever turns the knobs that no question asks for.

    For live SINAD its generator goes down and up again, for the null by hand the tone comes up to the null.
    """
    if name == NULL_BY_HAND:
        wanted_khz = given.wanted_khz or NULL_SHARE * given.limits.deviation_khz
        return Rehearsal(hand=hand_for(DEMO_SET, wanted_khz))
    return turning_generator() if name == SINAD else Rehearsal()


def turning_generator() -> Rehearsal:
    """A receiver under test whose generator is turned down half a decibel at a time, and up again."""
    levels = _down_and_up()
    rehearsal = Rehearsal(level_dbm=next(levels))
    heard_s = 0.0

    def turn(step: Step) -> None:
        nonlocal heard_s
        heard_s += step.listen_s
        if heard_s >= TURNED_EVERY_S - 1e-9:
            heard_s, rehearsal.level_dbm = 0.0, next(levels)

    rehearsal.on_step = turn
    return rehearsal


def _down_and_up() -> Iterator[float]:
    level_dbm, way = SINAD_HIGH_DBM, -1.0
    while True:
        yield level_dbm
        level_dbm += way * SINAD_STEP_DB
        if not SINAD_LOW_DBM < level_dbm < SINAD_HIGH_DBM:
            way = -way


class TurnedReceiver:
    """The audio of `turning_generator` as a source, made as fast as it is taken."""

    name, sample_rate_hz = "the simulated radio", 48000
    BLOCK_S = 0.2

    def __init__(self) -> None:
        self._bench = turning_generator()
        self._closed = False

    def blocks(self) -> Iterator[Block]:
        """Audio without an end, in order."""
        while not self._closed:
            heard = self._bench.perform(Step(prompt="", settle_s=0.0, listen_s=self.BLOCK_S, onward=True))
            yield Block(samples=np.real(heard.samples).astype(np.float32))

    def close(self) -> None:
        """End the blocks."""
        self._closed = True
