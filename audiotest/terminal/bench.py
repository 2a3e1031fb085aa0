"""``audiotest bench``: a guided procedure, on real instruments or rehearsed on the simulated radio."""

import argparse
import math
import re
import sys
import time
from collections.abc import Callable
from pathlib import Path

from rich.console import Console
from rich.text import Text

from audiotest.errors import AudiotestError
from audiotest.feeds.scale import load_feed, save_feed
from audiotest.standards.limits import get_limits
from audiotest.terminal.benchfiles import check_options, compare_files, say_report
from audiotest.terminal.card import make_console
from audiotest.terminal.consent import LONGEST_KEYED_S, TerminalTechnician, ask_leave, setting_words
from audiotest.terminal.liveline import LiveLine, bar
from audiotest.terminal.shown import shown
from audiotest.tones.byhand import ENTRIES, rehearsal_for
from audiotest.tones.carrierbench import CarrierBench
from audiotest.tones.catalogue import Entry, Given
from audiotest.tones.guided import Guided, carry_out
from audiotest.tones.level import OutputScale, load_output
from audiotest.tones.limiting import START_MV
from audiotest.tones.live import IqBench, LiveBench
from audiotest.tones.opening import announcement, most_mv, null_feed, open_bench, require_output
from audiotest.tones.rehearsal import MONITOR_FEED, OUTPUT
from audiotest.tones.reported import point_words
from audiotest.tones.sensitivity import START_DBM
from audiotest.tones.speechdrive import VOICE
from audiotest.tones.steps import Step
from audiotest.tones.tonedrive import TONE_HZ

CARRIER_DB = (-40.0, 0.0)
NUMBER = re.compile(r"[-+]?\d+(\.\d+)?")
DONE, CANNOT, INTERRUPTED = 0, 2, 130


def run(arguments: argparse.Namespace) -> int:
    """Carry out a procedure; what was measured is printed however it ends."""
    check_options(arguments)
    entry = ENTRIES[arguments.procedure]
    feed = load_feed(arguments.feed) if arguments.feed is not None else None
    if arguments.rehearse and feed is None:
        feed = MONITOR_FEED
    if arguments.sent is not None:
        return compare_files(arguments, feed)
    scale = load_output(arguments.output) if arguments.output is not None else None
    given = Given(
        feed=feed, limits=get_limits(arguments.limits), start_mv=arguments.start_mv or START_MV,
        start_dbm=START_DBM if arguments.start_dbm is None else arguments.start_dbm,
        nominal_mhz=arguments.nominal_mhz, tolerance_hz=arguments.tolerance_hz,
        lower_sideband=arguments.lower_sideband, deemphasis_us=arguments.deemphasis_us,
        speech_mv=arguments.speech_mv, own_mv=arguments.own_mv, voice=arguments.voice or VOICE,
        tone_hz=arguments.tone_hz or TONE_HZ, most_mv=most_mv(OUTPUT if arguments.rehearse else scale),
        wanted_khz=arguments.wanted_khz, iq=arguments.iq,
    )  # fmt: skip
    guided = entry.make(given)
    # With --json standard output is the document's: the conversation goes to standard error.
    talk = (
        Console(stderr=True, highlight=False, markup=False, emoji=False) if arguments.json else make_console()
    )
    with LiveLine(talk) as line:
        if arguments.rehearse:
            rehearsal = rehearsal_for(arguments.procedure, given)
            rehearsal.on_step = Prompts(line, rehearsal.on_step)
            report = carry_out(guided, rehearsal, lambda now: _show_rehearsed(line, now))
        else:
            bench, technician = _open(arguments, entry, scale, talk)
            try:
                report = carry_out(guided, bench, lambda now: _show(line, now))
            finally:
                bench.close()
                line.done()
                technician.let_go()
    # What was measured is said first: a file that cannot be written must not take it along.
    say_report(report, rehearsed=arguments.rehearse, as_json=arguments.json)
    if arguments.feed_out and report.complete:
        feed_name = Path(arguments.feed_out).stem
        kept = save_feed(null_feed(report, feed_name, arguments.deemphasis_us), arguments.feed_out)
        if kept is not None:
            talk.print(Text(shown(f"The feed that was in that file is kept as {kept}.")))
    return _status(guided)


def _status(guided: Guided) -> int:
    if isinstance(guided.stopped_by, KeyboardInterrupt):
        return INTERRUPTED
    if isinstance(guided.stopped_by, AudiotestError):
        print(f"audiotest: {' '.join(str(guided.stopped_by).splitlines())}", file=sys.stderr)
        return CANNOT
    return DONE


def _open(
    arguments: argparse.Namespace, entry: Entry, scale: OutputScale | None, talk: Console
) -> tuple[LiveBench | IqBench | CarrierBench, TerminalTechnician]:
    """Ask for leave, then open output and input."""
    require_output(
        arguments.procedure, entry, scale,
        "make one with 'audiotest send learn', then give --output; or --rehearse",
    )  # fmt: skip
    what = announcement(entry)
    ask_leave(talk, what, transmits=entry.keys, confirmed=arguments.confirmed, longest_s=LONGEST_KEYED_S)
    technician = TerminalTechnician(talk)
    bench = open_bench(
        arguments.procedure, entry, technician, device=arguments.device, channel=arguments.channel,
        scale=scale, swapped=arguments.swapped, iq=arguments.iq,
    )  # fmt: skip
    return bench, technician


def _show(line: LiveLine, guided: Guided) -> None:
    """After each step: the newest point, or while somebody turns what it says to do, in place."""
    if guided.step is not None and guided.step.live:
        line.show([guided.step.prompt, *_carrier_bar(guided, line.bar_width)])
        return
    line.done()
    book = guided.notebook
    if book.latest is not None:
        line.say(f"  {': '.join(reversed(point_words(book.latest, book.x_label, book.y_label)))}")


class Prompts:
    """Says what each step of a rehearsal would have one do, once for steps that differ in numbers only."""

    def __init__(self, line: LiveLine, then: Callable[[Step], None]) -> None:
        self._line, self._then = line, then
        self._said: set[str] = set()

    def __call__(self, step: Step) -> None:
        """Say a step's settings and its prompt, unless its like has been said."""
        if not (step.live and self._line.redraws):
            self._say(step)
        self._then(step)

    def _say(self, step: Step) -> None:
        asked = [": ".join(filter(None, (ask.words, setting_words(ask)))) for ask in step.asks]
        for words in (*asked, step.prompt):
            kind = NUMBER.sub("#", words)
            if words and kind not in self._said:
                self._said.add(kind)
                self._line.say(f"  {words}")


def _show_rehearsed(line: LiveLine, guided: Guided) -> None:
    """Of a rehearsal's readings only what is overwritten, at the pace of the real thing."""
    if line.redraws and guided.step is not None and guided.step.live:
        _show(line, guided)
        time.sleep(guided.step.listen_s)


def _carrier_bar(guided: Guided, width: int) -> list[str]:
    """How deep the carrier is, as a bar that gets shorter."""
    latest = guided.notebook.latest
    if latest is None:
        return []
    return [bar(20.0 * math.log10(max(latest.y, 1e-3)), *CARRIER_DB, width=width)]
