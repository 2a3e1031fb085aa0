"""The commands and their options; each names the module whose ``run`` carries it out."""

import argparse
import os
import sys
from typing import Any, NoReturn

from audiotest import __version__
from audiotest.errors import RequestError
from audiotest.terminal.benchoptions import add_bench, add_heard, add_iq, add_send, add_sinad
from audiotest.terminal.helptext import Paragraphs
from audiotest.terminal.optiontypes import from_one, not_negative, positive
from audiotest.terminal.sheetoptions import add_compare, add_record, add_report, add_sheet

DEFAULT_LIMITS = "uk-27fm"

SUMMARY = """\
Listen to a two-way FM set through a monitor receiver and say which control to
turn: mic gain or deviation, which way and how far.
"""

LEARN_PATH = """\
Learn what lies between the limiter and the sound card, so that flat tops can be
seen again. Play tones of 200, 250, 310, 390, 480, 600, 750 and 950 Hz, a second
each, into the set's microphone socket, all 20 dB or more above the level at which
limiting starts, and record them from the monitor receiver. The path holds for
this set's splatter filter, this receiver and this input.

With --keep-ceiling the height at which the limiter holds the tones is kept as well,
and the drive is surer: for as long as neither the volume nor the deviation
control is turned. A limiter of diodes has no such height.

Into a dummy load: these tones sound harsh, fill the channel, and need a licence
on the air. Attenuate them: a sound card's output can overload a socket.
"""

CAUTIONS = """\
Use a dummy load on the bench. Send tones on the air only where licence and local
rules allow it, and never on a busy channel. Never key a transmitter into a sound
card. A bridged speaker output has no earthed side: isolate it with a transformer.
Start headphones low: open-squelch hiss is near full scale.
"""


class _Parser(argparse.ArgumentParser):
    """An argument parser that refuses in one line, as every other error of the program does."""

    _given: tuple[str, ...] = ()

    def __init__(self, **options: Any) -> None:
        super().__init__(formatter_class=Paragraphs, **options)

    def error(self, message: str) -> NoReturn:
        dashed = next((word for word in self._given if word.startswith("-") and os.path.isfile(word)), None)
        if dashed is not None:
            raise RequestError(f"{dashed}: is taken for an option", f"write ./{dashed} for the file")
        raise RequestError(message, f"see '{self.prog} --help'")

    def _print_message(self, message: str, file: Any = None) -> None:
        # argparse keeps quiet when its help cannot be written.
        (file or sys.stderr).write(message)

    def parse_known_args(self, args: Any = None, namespace: Any = None) -> Any:
        """Refuse what a command does not know where it is known which command it is."""
        self._given = tuple(sys.argv[1:] if args is None else args)
        known, unknown = super().parse_known_args(args, namespace)
        if unknown and self._subparsers is None:
            self.error(f"unrecognized arguments: {' '.join(unknown)}")
        return known, unknown


def build_parser() -> argparse.ArgumentParser:
    """Build the parser of the whole command line; imports nothing that measures."""
    parser = _Parser(
        prog="audiotest",
        description=SUMMARY,
        epilog=CAUTIONS,
    )
    parser.add_argument("--version", action="version", version=f"audiotest {__version__}")
    commands = parser.add_subparsers(title="commands", metavar="COMMAND", required=True, parser_class=_Parser)
    _add_demo(commands)
    _add_live(commands)
    _add_check(commands)
    _add_feed(commands)
    add_bench(commands)
    add_send(commands)
    add_sinad(commands)
    add_heard(commands)
    add_iq(commands)
    add_sheet(commands)
    add_report(commands)
    _add_limits(add_compare(commands))
    _add_reference(add_record(commands))
    limits = commands.add_parser("limits", help="list the limit sets with their sources")
    limits.set_defaults(module="audiotest.terminal.limits")
    inputs = commands.add_parser("inputs", help="list the sound-card inputs")
    inputs.set_defaults(module="audiotest.terminal.inputs")
    return parser


_Commands = argparse._SubParsersAction  # argparse offers no public name for it


def _add_demo(commands: "_Commands[_Parser]") -> None:
    demo = commands.add_parser("demo", help="the main job with nothing attached: a simulated radio talks")
    demo.add_argument("--text", action="store_true", help="in the terminal instead of a window")
    demo.add_argument("--seconds", type=positive, metavar="N", help="stop after N seconds of radio")
    demo.set_defaults(module="audiotest.terminal.demo")


def _add_live(commands: "_Commands[_Parser]") -> None:
    live = commands.add_parser("live", help="the main job from a sound-card input")
    live.add_argument("--text", action="store_true", help="in the terminal instead of a window")
    live.add_argument("--device", metavar="D", help="input by name or number, as 'audiotest inputs' lists it")
    live.add_argument("--channel", type=from_one, metavar="N", help="channel of the input, from 1")
    live.add_argument("--record", metavar="DIR", help="keep what is heard, in a folder of its own in DIR")
    _add_reference(live)
    live.set_defaults(module="audiotest.terminal.live", waiting="Opening the input ...")


def _add_check(commands: "_Commands[_Parser]") -> None:
    check = commands.add_parser("check", help="measure recorded clips")
    check.add_argument(
        "files", nargs="+", metavar="FILE", help="recording: WAV, FLAC, Ogg and others, or a folder"
    )
    _add_reference(check)
    check.add_argument("--channel", type=from_one, metavar="N", help="channel of the recordings, from 1")
    check.add_argument("--json", action="store_true", help="one machine-readable document on standard output")
    check.add_argument("--fresh", action="store_true", help="of a folder, measure again what is known")
    check.set_defaults(module="audiotest.terminal.check")


def _add_reference(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--feed", metavar="F", help="learned feed (FEED.toml); gives figures in kHz")
    _add_limits(parser)


def _add_limits(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--limits", metavar="L", default=DEFAULT_LIMITS, help=f"limit set by id (default {DEFAULT_LIMITS})"
    )


def _add_feed(commands: "_Commands[_Parser]") -> None:
    feed = commands.add_parser("feed", help="learn how many kHz one full scale of a feed is")
    ways = feed.add_subparsers(title="ways", metavar="WAY", required=True, parser_class=_Parser)
    learn = ways.add_parser("learn", help="from a recording of a tone of known deviation")
    learn.add_argument("reference", metavar="REF", help="recording of the tone")
    learn.add_argument("--tone-hz", type=positive, required=True, metavar="HZ")
    learn.add_argument("--deviation-khz", type=positive, required=True, metavar="KHZ", help="peak deviation")
    learn.set_defaults(module="audiotest.terminal.feed", way="tone")
    hiss = ways.add_parser("hiss", help="roughly, from open-squelch hiss without a carrier")
    hiss.add_argument("reference", metavar="REF", help="recording of the hiss")
    hiss.add_argument(
        "--if-bandwidth-khz", type=positive, required=True, metavar="KHZ", help="noise bandwidth of the IF"
    )
    hiss.set_defaults(module="audiotest.terminal.feed", way="hiss")
    for way in (learn, hiss):
        way.add_argument(
            "--deemphasis-us", type=not_negative, metavar="US",
            help="de-emphasis of the feed in microseconds; 0 is a flat discriminator feed",
        )  # fmt: skip
        way.add_argument("--channel", type=from_one, metavar="N", help="channel of the recording, from 1")
        way.add_argument("-o", "--output", required=True, metavar="FEED.toml", help="file to write")
    path = ways.add_parser(
        "learn-path",
        help="the response behind the limiter, from tones that overdrive it",
        description=LEARN_PATH,
    )
    path.add_argument("reference", metavar="REF", help="recording of the tones")
    path.add_argument("--feed", required=True, metavar="FEED.toml", help="learned feed to add the path to")
    path.add_argument("-o", "--output", metavar="OUT.toml", help="file to write instead of the feed's own")
    path.add_argument("--channel", type=from_one, metavar="N", help="channel of the recording, from 1")
    path.add_argument(
        "--keep-ceiling", action="store_true",
        help="keep where the limiter holds too: volume and deviation control stay as they are",
    )  # fmt: skip
    path.set_defaults(module="audiotest.terminal.feed", way="path")
