"""``audiotest feed``: learn how many kilohertz one full scale of a feed is, and write it down."""

import argparse
from dataclasses import replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from rich.console import Console

from audiotest.errors import FileError, MeasureError, RequestError
from audiotest.feeds.feedfile import LEARN_PATH_AGAIN, refuse_output
from audiotest.feeds.file import open_recording
from audiotest.feeds.scale import deemphasis_doubt, learn_from_hiss, learn_from_tone, load_feed, save_feed
from audiotest.measure.path import SOFT_DB, learn_path, path_doubt
from audiotest.records import Feed, PathResponse
from audiotest.terminal.card import make_console
from audiotest.terminal.shown import complain, shown

OPTIONS = {
    "tone": "--tone-hz",
    "deviation": "--deviation-khz",
    "IF bandwidth": "--if-bandwidth-khz",
    "de-emphasis": "--deemphasis-us",
}
"""By what `audiotest.feeds.scale` calls them."""
SHOWN_HZ = (300.0, 500.0, 1000.0, 1500.0, 2000.0, 2500.0, 3000.0)
LOPSIDED_DB = -35.0
HOLDS_KHZ = (0.3, 15.0)
"""Where limiters hold, with room: 1.5 to 5 kHz in the services (common practice, no source)."""
LONGEST_S = 120.0
"""A reference needs a few seconds; of a longer recording only this much is read."""


def run(arguments: argparse.Namespace) -> int:
    """Learn from the recording and write the feed file."""
    if arguments.way == "path":
        return _run_path(arguments)
    output = Path(arguments.output)
    refuse_output(arguments.output, arguments.reference)
    samples, sample_rate_hz = _read(arguments)
    try:
        feed = _learn(arguments, samples, sample_rate_hz, output.stem)
    except MeasureError as error:
        raise MeasureError(f"{arguments.reference}: {error.what}", error.remedy) from error
    except RequestError as error:
        raise RequestError(f"{_option(error.what)}{error.what}", error.remedy) from error
    had_path = _has_path(output)
    kept = save_feed(feed, output)
    if had_path:
        complain(
            f"warning: {arguments.output}: the path learnt before is not in the new feed: {LEARN_PATH_AGAIN}"
        )
    console = make_console()
    console.print(
        f"{shown(str(output))}: full scale is {feed.scale_khz_per_fs:.2f} kHz of deviation, "
        f"±{feed.scale_uncertainty_db:.1f} dB."
    )
    if arguments.way == "hiss":
        console.print("A rough scale: it rests on the IF bandwidth. A reference tone confirms it.")
        doubt = None
        if arguments.deemphasis_us is not None:
            doubt = deemphasis_doubt(samples, sample_rate_hz, arguments.deemphasis_us)
        if doubt is not None:
            complain(f"warning: {arguments.reference}: {doubt}")
    console.print("It holds while the receiver's volume and the input level stay as they are.")
    _say_kept(console, kept)
    return 0


def _say_kept(console: Console, kept: Path | None) -> None:
    """Say where the feed is that another has taken the place of."""
    if kept is not None:
        console.print(f"The feed that was in that file is kept as {shown(str(kept))}.")


def _has_path(output: Path) -> bool:
    """Whether a feed file that is to be replaced holds a learnt path."""
    try:
        return load_feed(output).path is not None
    except FileError:
        return False


def _option(what: str) -> str:
    """Name the option that a refusal is about."""
    return next((f"{option}: " for word, option in OPTIONS.items() if what.startswith(word)), "")


def _run_path(arguments: argparse.Namespace) -> int:
    """Learn the path and write the feed file with it."""
    feed = load_feed(arguments.feed)
    output = Path(arguments.feed if arguments.output is None else arguments.output)
    refuse_output(arguments.feed if arguments.output is None else arguments.output, arguments.reference)
    samples, sample_rate_hz = _read(arguments)
    try:
        response = learn_path(samples, sample_rate_hz)
    except MeasureError as error:
        raise MeasureError(f"{arguments.reference}: {error.what}", error.remedy) from error
    ceiling_khz = None if response.ceiling_fs is None else response.ceiling_fs * feed.scale_khz_per_fs
    believed = ceiling_khz is not None and HOLDS_KHZ[0] <= ceiling_khz <= HOLDS_KHZ[1]
    keeps = arguments.keep_ceiling and believed
    if not keeps:
        response = replace(response, ceiling_fs=None)
    kept = save_feed(replace(feed, path=response), output)
    console = make_console()
    console.print(
        f"{shown(str(output))}: path learnt from {len(response.tones_hz)} tones, "
        f"{response.drive_db:.0f} dB or more beyond the limiter."
    )
    for line in _path_lines(response):
        console.print(line)
    doubt = None if feed.deemphasis_us is None else path_doubt(response, feed.deemphasis_us)
    if doubt is not None:
        complain(f"warning: {arguments.reference}: {doubt}")
    if ceiling_khz is not None:
        stored = "kept" if keeps else "not kept"
        if not arguments.keep_ceiling:
            stored += ": --keep-ceiling would"
        off_db = feed.scale_uncertainty_db
        console.print(f"The limiter holds {ceiling_khz:.2f} kHz, ±{off_db:.1f} dB by the scale ({stored}).")
    if arguments.keep_ceiling and not keeps:
        why = "the limiter is a soft one and has no ceiling to keep"
        if ceiling_khz is not None:
            why = "no set holds there: the volume is not that of the scale; set it and record the tones again"
        complain(f"warning: {arguments.reference}: {why}")
    elif feed.keeps_ceiling and not keeps:
        console.print("The ceiling kept before is no longer in it.")
    if keeps:
        console.print(
            "It holds for this set, this receiver and this input, the ceiling only while neither the volume "
            "nor the deviation control is turned."
        )
    else:
        console.print("It holds for this set, this receiver and this input; the volume may change.")
    _say_kept(console, kept)
    return 0


def _path_lines(response: PathResponse) -> list[str]:
    """The response at a few frequencies, and what makes it less sure."""
    shown = [hz for hz in SHOWN_HZ if hz in response.hz]
    at = [response.hz.index(hz) for hz in shown]
    lines = [
        "  Hz " + "".join(f"{hz:8.0f}" for hz in shown),
        "  dB " + "".join(f"{response.gain_db[k]:+8.1f}" for k in at),
        "   ± " + "".join(f"{response.gain_error_db[k]:8.1f}" for k in at),
    ]
    if response.even_db is not None and response.even_db > LOPSIDED_DB:
        lines.append(
            f"Even harmonics at {response.even_db:.0f} dB: the limiter is lopsided or the receiver off tune."
        )
    if response.softness_db > SOFT_DB:
        lines.append("The limiter is a soft one: the gain is less sure towards both ends.")
    return lines


def _read(arguments: argparse.Namespace) -> tuple[NDArray[np.float32], int]:
    """Samples of the reference, no more than is of use, and their rate."""
    source = open_recording(arguments.reference, arguments.channel)
    parts, length_n = [], 0
    try:
        for block in source.blocks():
            parts.append(block.samples)
            length_n += len(block.samples)
            if length_n > LONGEST_S * source.sample_rate_hz:
                break
    finally:
        source.close()
    samples = np.concatenate(parts) if parts else np.zeros(0, dtype=np.float32)
    return samples, source.sample_rate_hz


def _learn(
    arguments: argparse.Namespace, samples: NDArray[np.float32], sample_rate_hz: int, name: str
) -> Feed:
    if arguments.way == "tone":
        return learn_from_tone(
            samples, sample_rate_hz, tone_hz=arguments.tone_hz, deviation_khz=arguments.deviation_khz,
            deemphasis_us=arguments.deemphasis_us, name=name,
        )  # fmt: skip
    return learn_from_hiss(
        samples, sample_rate_hz, if_bandwidth_khz=arguments.if_bandwidth_khz,
        deemphasis_us=arguments.deemphasis_us, name=name,
    )  # fmt: skip
