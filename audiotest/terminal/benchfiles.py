"""``audiotest bench drive-by-speech --sent FILE --heard FILE``: the same from recordings made elsewhere."""

import argparse
import json

from audiotest.errors import MeasureError, RequestError
from audiotest.records import Feed
from audiotest.standards.limits import get_limits
from audiotest.terminal.benchcard import print_report
from audiotest.terminal.card import make_console
from audiotest.terminal.heard import read_samples
from audiotest.tones.reported import bench_document
from audiotest.tones.speechdrive import drive_from_recordings
from audiotest.tones.steps import Report

PROCEDURE = "drive-by-speech"
OPTION_OF = {
    "own_mv": (PROCEDURE, "drive-by-tone"), "speech_mv": (PROCEDURE,), "voice": (PROCEDURE,),
    "sent": (PROCEDURE,), "heard": (PROCEDURE,), "tone_hz": ("drive-by-tone",),
}  # fmt: skip


def check_drive_options(arguments: argparse.Namespace) -> None:
    """Refuse what does not go together; `RequestError` names it."""
    for name, procedures in OPTION_OF.items():
        if getattr(arguments, name) is not None and arguments.procedure not in procedures:
            option = f"--{name.replace('_', '-')}"
            raise RequestError(f"{option} goes with {' and '.join(procedures)}", "leave it out")
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
