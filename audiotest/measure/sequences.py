"""Selective calls of five tones and more, and the 1750 Hz burst, heard in a receiver's audio."""

from collections.abc import Sequence
from dataclasses import dataclass

from audiotest.measure.toneruns import ToneRun
from audiotest.standards.tones import FIVE_TONE_SETS, REPEATER_BURST_HZ, FiveToneSet

ACCEPT_SHARE = 0.015
"""Receivers accept ±1.5 % (from memory)."""
LONGEST_GAP_S = 0.025
LEAST_TONES = 5
LENGTH_SHARE = 0.4
"""A tone may be this much shorter or longer than its set says and still belong to it."""
BURST_TOLERANCE_HZ = 25.0
BURST_SHORTEST_S, BURST_LONGEST_S = 0.2, 0.4
"""Frequency and length at which repeaters open: published by ukrepeater.net."""
BURST_SEARCH_HZ = 60.0
BURST_SEARCH_S = 0.12
EDGE_S = 0.008
SAME_SHARE = 0.012
DIGITS = "1234567890"


@dataclass(frozen=True, slots=True, kw_only=True)
class SelectiveCall:
    """A sequence of tones read as digits; ``G`` is the set's group tone.

    ``digits`` has the repeat tone replaced by the digit it repeats. ``off_percent`` is the largest miss of a
    tone from its table value, signed. ``set_source`` says how well the table itself is known.
    """

    set_name: str
    set_source: str
    digits: str
    start_s: float
    end_s: float
    off_percent: float
    tone_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Burst:
    """A burst near 1750 Hz; ``good`` when frequency and length are those that open a repeater."""

    frequency_hz: float
    start_s: float
    end_s: float
    peak_fs: float
    good: bool


def _joined(runs: Sequence[ToneRun]) -> list[ToneRun]:
    """Runs of one tone that a click parted: a call never has one tone twice in a row, nor a burst a gap."""
    joined: list[ToneRun] = []
    for run in runs:
        last = joined[-1] if joined else None
        if (
            last is None
            or run.start_s - last.end_s > LONGEST_GAP_S
            or abs(run.frequency_hz / last.frequency_hz - 1.0) > SAME_SHARE
        ):
            joined.append(run)
            continue
        weight = run.length_s / (run.length_s + last.length_s)
        joined[-1] = ToneRun(
            frequency_hz=weight * run.frequency_hz + (1.0 - weight) * last.frequency_hz,
            start_s=last.start_s, end_s=run.end_s,
            peak_fs=weight * run.peak_fs + (1.0 - weight) * last.peak_fs,
        )  # fmt: skip
    return joined


def find_burst(runs: Sequence[ToneRun]) -> Burst | None:
    """The longest run within 60 Hz of 1750 Hz, 0.12 s or more; None when there is none.

    Judged against ±25 Hz and 200 to 400 ms, the length with the 8 ms that its edges are known to.
    """
    near = [
        run
        for run in _joined(runs)
        if abs(run.frequency_hz - REPEATER_BURST_HZ) <= BURST_SEARCH_HZ and run.length_s >= BURST_SEARCH_S
    ]
    if not near:
        return None
    run = max(near, key=lambda found: found.length_s)
    good = (
        abs(run.frequency_hz - REPEATER_BURST_HZ) <= BURST_TOLERANCE_HZ
        and BURST_SHORTEST_S - EDGE_S <= run.length_s <= BURST_LONGEST_S + EDGE_S
    )
    return Burst(
        frequency_hz=run.frequency_hz, start_s=run.start_s, end_s=run.end_s, peak_fs=run.peak_fs, good=good
    )


def find_calls(runs: Sequence[ToneRun]) -> tuple[SelectiveCall, ...]:
    """Selective calls of five or more tones in a row, from `audiotest.measure.toneruns`.

    A chain of runs without gaps is read against every set of `audiotest.standards.tones`; it is the set in
    which every tone has a place within 1.5 % and whose length of tone fits best. CCIR and EEA share their
    frequencies and differ in length only. A chain that fits no set is no call. Noise that parts a tone in two
    makes no digit of it: equal neighbours take the repeat tone.
    """
    calls = []
    for chain in _chains(runs):
        best: tuple[float, SelectiveCall] | None = None
        for tones in FIVE_TONE_SETS:
            call = _read(chain, tones)
            if call is None:
                continue
            miss = abs(call.tone_s / tones.tone_s - 1.0)
            if miss <= LENGTH_SHARE and (best is None or miss < best[0]):
                best = (miss, call)
        if best is not None:
            calls.append(best[1])
    return tuple(calls)


def _chains(runs: Sequence[ToneRun]) -> list[list[ToneRun]]:
    chains: list[list[ToneRun]] = []
    for run in _joined(runs):
        if chains and run.start_s - chains[-1][-1].end_s <= LONGEST_GAP_S:
            chains[-1].append(run)
        else:
            chains.append([run])
    return [chain for chain in chains if len(chain) >= LEAST_TONES]


def _read(chain: Sequence[ToneRun], tones: FiveToneSet) -> SelectiveCall | None:
    table = dict(zip(tones.digits_hz, DIGITS, strict=True)) | {tones.repeat_hz: "R"}
    if tones.group_hz is not None:
        table[tones.group_hz] = "G"
    said, worst = "", 0.0
    for run in chain:
        nearest = min(table, key=lambda hz: abs(hz - run.frequency_hz))
        off = run.frequency_hz / nearest - 1.0
        if abs(off) > ACCEPT_SHARE:
            return None
        worst = off if abs(off) > abs(worst) else worst
        mark = table[nearest]
        if mark == "R" and not said:
            return None
        said += said[-1] if mark == "R" else mark
    first, last = chain[0], chain[-1]
    return SelectiveCall(
        set_name=tones.name, set_source=tones.source, digits=said, start_s=first.start_s, end_s=last.end_s,
        off_percent=100.0 * worst,
        # From start to start: edges that are both late by the same do not count.
        tone_s=(last.start_s - first.start_s) / (len(chain) - 1),
    )  # fmt: skip
