"""``audiotest bench``: a guided procedure, on real instruments or rehearsed on the simulated radio."""

import argparse
import math
import sys
from datetime import datetime
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from rich.console import Console

from audiotest.errors import AudiotestError, RequestError
from audiotest.feeds.scale import load_feed, save_feed
from audiotest.feeds.soundcard import open_input
from audiotest.records import Feed
from audiotest.standards.limits import get_limits
from audiotest.terminal.benchfiles import check_speech_options, compare_files, say_report
from audiotest.terminal.card import make_console
from audiotest.terminal.consent import LONGEST_KEYED_S, TerminalTechnician, ask_leave
from audiotest.tones.catalogue import PROCEDURES, Entry, Given
from audiotest.tones.guided import Guided, carry_out
from audiotest.tones.iqinput import record_stereo
from audiotest.tones.level import OutputScale, load_output
from audiotest.tones.live import IqBench, LiveBench
from audiotest.tones.output import SoundOutput
from audiotest.tones.rehearsal import MONITOR_FEED, OUTPUT, Rehearsal
from audiotest.tones.signals import RATE_HZ
from audiotest.tones.speechdrive import VOICE
from audiotest.tones.steps import Report

DONE, CANNOT, INTERRUPTED = 0, 2, 130
NULL_UNCERTAINTY_DB = 0.3
"""What a null found between steps of 1.5 dB leaves open, and the receiver's filters at the tone."""


def run(arguments: argparse.Namespace) -> int:
    """Carry out a procedure; what was measured is printed however it ends."""
    entry = PROCEDURES[arguments.procedure]
    feed = load_feed(arguments.feed) if arguments.feed else None
    if arguments.rehearse and feed is None:
        feed = MONITOR_FEED
    check_speech_options(arguments)
    if arguments.sent:
        return compare_files(arguments, feed)
    scale = load_output(arguments.output) if arguments.output else None
    given = Given(
        feed=feed, limits=get_limits(arguments.limits), start_mv=arguments.start_mv,
        start_dbm=arguments.start_dbm, nominal_mhz=arguments.nominal_mhz, tolerance_hz=arguments.tolerance_hz,
        lower_sideband=arguments.lower_sideband, deemphasis_us=arguments.deemphasis_us,
        speech_mv=arguments.speech_mv, own_mv=arguments.own_mv, voice=arguments.voice or VOICE,
        most_mv=_most_mv(OUTPUT if arguments.rehearse else scale),
    )  # fmt: skip
    if arguments.feed_out and arguments.procedure != "carrier-null":
        raise RequestError("--feed-out goes with carrier-null", "or learn a feed with 'audiotest feed'")
    guided = entry.make(given)
    # With --json standard output is the document's: the conversation goes to standard error.
    talk = (
        Console(file=sys.stderr, highlight=False, markup=False, emoji=False)
        if arguments.json
        else make_console()
    )
    if arguments.rehearse:
        report = carry_out(guided, Rehearsal())
    else:
        bench, technician = _open(arguments, entry, scale, talk)
        try:
            report = carry_out(guided, bench, lambda now: _show(talk, now))
        finally:
            bench.close()
            technician.let_go()
    if arguments.feed_out and report.complete:
        save_feed(_feed(arguments, report), arguments.feed_out)
    say_report(report, rehearsed=arguments.rehearse, as_json=arguments.json)
    return _status(guided)


def _most_mv(scale: OutputScale | None) -> float | None:
    """The peak that an output may and can give at the socket."""
    return None if scale is None else min(scale.ceiling_mv, scale.full_scale_mv * math.sqrt(2.0))


def _feed(arguments: argparse.Namespace, report: Report) -> Feed:
    """The feed that a carrier null has taught."""
    values = {figure.key: figure.value for figure in report.figures}
    scale, tone_hz = values["scale_khz_per_fs"], values["tone_hz"]
    assert scale is not None
    return Feed(
        name=Path(arguments.feed_out).stem, method="carrier-null", scale_khz_per_fs=scale,
        scale_uncertainty_db=NULL_UNCERTAINTY_DB, deemphasis_us=arguments.deemphasis_us, tone_hz=tone_hz,
        deviation_khz=values["deviation_khz"], if_bandwidth_khz=None, hiss_dbfs=None,
        learned=datetime.now().isoformat(timespec="seconds"),
    )  # fmt: skip


def _status(guided: Guided) -> int:
    if isinstance(guided.stopped_by, KeyboardInterrupt):
        return INTERRUPTED
    if isinstance(guided.stopped_by, AudiotestError):
        print(f"audiotest: {' '.join(str(guided.stopped_by).splitlines())}", file=sys.stderr)
        return CANNOT
    return DONE


def _open(
    arguments: argparse.Namespace, entry: Entry, scale: OutputScale | None, talk: Console
) -> tuple[LiveBench | IqBench, TerminalTechnician]:
    """Ask for leave, then open output and input."""
    if entry.sends and scale is None:
        raise RequestError(
            f"{arguments.procedure} sends at known millivolts and needs a learned output",
            "make one with 'audiotest send learn', then give --output; or --rehearse",
        )
    what = f"{entry.words}." if not entry.sends else f"{entry.words}: sound into the microphone socket."
    ask_leave(talk, what, transmits=entry.keys, confirmed=arguments.confirmed, longest_s=LONGEST_KEYED_S)
    technician = TerminalTechnician(talk)
    if arguments.procedure == "frequency-iq":

        def record(seconds: float) -> NDArray[np.float32]:
            return record_stereo(arguments.device, seconds, RATE_HZ)

        return IqBench(record, RATE_HZ, technician, swapped=arguments.swapped), technician
    source = open_input(arguments.device, channel=arguments.channel)
    player = None
    if entry.sends and scale is not None:
        try:
            player = SoundOutput(scale.device or None, RATE_HZ)
        except AudiotestError:
            source.close()
            raise
    return LiveBench(source, technician, player=player, scale=scale), technician


def _show(talk: Console, guided: Guided) -> None:
    """After each step: the newest point of the curve that has grown."""
    if not guided.notebook.curves:
        return
    name, points = list(guided.notebook.curves.items())[-1]
    x, y = points[-1]
    talk.print(f"  {name}: {y:.4g} at {x:.4g}")
