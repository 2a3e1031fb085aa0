"""``audiotest bench drive-by-speech --sent FILE --heard FILE``: the same from recordings made elsewhere."""

import argparse
import json
import os

from audiotest.errors import FileError, MeasureError, RequestError
from audiotest.feeds.feedfile import refuse_output
from audiotest.records import Feed
from audiotest.standards.limits import get_limits
from audiotest.terminal.benchcard import print_report
from audiotest.terminal.card import make_console
from audiotest.terminal.heard import read_samples
from audiotest.tones.byhand import GIVES_A_FEED, NULL_BY_HAND
from audiotest.tones.reported import bench_document
from audiotest.tones.speechdrive import drive_from_recordings
from audiotest.tones.steps import Report

PROCEDURE = "drive-by-speech"
SENDS_FROM = ("limiting", "response", "distortion", "hum", "two-tone", "carrier-null", "drive-by-tone")
FREQUENCY = ("frequency", "frequency-iq")
OPTION_OF = {
    "own_mv": (PROCEDURE, "drive-by-tone"), "speech_mv": (PROCEDURE,), "voice": (PROCEDURE,),
    "sent": (PROCEDURE,), "heard": (PROCEDURE,), "tone_hz": ("drive-by-tone",), "start_mv": SENDS_FROM,
    "start_dbm": ("sensitivity",), "nominal_mhz": FREQUENCY, "tolerance_hz": FREQUENCY,
    "lower_sideband": ("frequency",), "swapped": ("frequency-iq", NULL_BY_HAND), "iq": (NULL_BY_HAND,),
    "wanted_khz": (NULL_BY_HAND,), "deemphasis_us": GIVES_A_FEED, "feed_out": GIVES_A_FEED,
}  # fmt: skip
"""Options that only some procedures know what to do with; the others would do nothing with them."""
INSTRUMENTS = ("device", "channel", "output")


def check_options(arguments: argparse.Namespace) -> None:
    """Refuse what does not go together, or would do nothing; `RequestError` names it."""
    for name, procedures in OPTION_OF.items():
        value = getattr(arguments, name)
        # Not "in (None, False)": no de-emphasis at all is 0, which equals False.
        if value is not None and value is not False and arguments.procedure not in procedures:
            listed = " and ".join(filter(None, (", ".join(procedures[:-1]), procedures[-1])))
            raise RequestError(f"--{name.replace('_', '-')} goes with {listed}", "leave it out")
    if arguments.swapped and arguments.procedure == NULL_BY_HAND and not arguments.iq:
        raise RequestError("--swapped goes with --iq", "give both, or leave it out")
    for name in INSTRUMENTS if arguments.rehearse and arguments.sent is None else ():
        if getattr(arguments, name) is not None:
            raise RequestError(f"--{name} is for the sound card, and --rehearse uses none", "leave one out")
    if arguments.feed_out is not None:
        # Before minutes of work, not after them.
        refuse_output(arguments.feed_out)
        folder = os.path.dirname(os.path.abspath(arguments.feed_out))
        if not os.path.isdir(folder):
            raise FileError(
                f"{arguments.feed_out}: there is no folder {folder}", "name a place you may write to"
            )
    if (arguments.sent is None) != (arguments.heard is None):
        raise RequestError("--sent and --heard go together", "give both recordings, or neither")
    if arguments.sent is not None:
        live = [name for name in ("rehearse", "output", "device", "voice") if getattr(arguments, name)]
        if live:
            raise RequestError(f"--{live[0]} does not go with recordings", "leave it out")


def say_report(report: Report, *, rehearsed: bool, as_json: bool) -> None:
    """Print a report on standard output, as a document or to be read."""
    if as_json:
        document = bench_document(report, rehearsed=rehearsed)
        print(json.dumps(document, indent=1, allow_nan=False))
    else:
        print_report(make_console(), report, rehearsed=rehearsed)


def compare_files(arguments: argparse.Namespace, feed: Feed | None) -> int:
    """Print what two recordings say about the drive."""
    sent, sent_rate_hz = read_samples(arguments.sent, None)
    heard, heard_rate_hz = read_samples(arguments.heard, arguments.channel)
    try:
        report = drive_from_recordings(
            sent, sent_rate_hz, heard, heard_rate_hz, feed, get_limits(arguments.limits),
            speech_mv=arguments.speech_mv, own_mv=arguments.own_mv,
        )  # fmt: skip
    except MeasureError as error:
        raise MeasureError(f"{arguments.heard}: {error.what}", error.remedy) from error
    say_report(report, rehearsed=False, as_json=arguments.json)
    return 0
