"""``audiotest feed``: learn how many kilohertz one full scale of a feed is, and write it down."""

import argparse
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from audiotest.errors import MeasureError
from audiotest.feeds.file import open_recording
from audiotest.feeds.scale import learn_from_hiss, learn_from_tone, save_feed
from audiotest.records import Feed
from audiotest.terminal.card import make_console

LONGEST_S = 120.0
"""A reference needs a few seconds; of a longer recording only this much is read."""


def run(arguments: argparse.Namespace) -> int:
    """Learn from the recording and write the feed file."""
    output = Path(arguments.output)
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
    try:
        feed = _learn(arguments, samples, source.sample_rate_hz, output.stem)
    except MeasureError as error:
        raise MeasureError(f"{arguments.reference}: {error.what}", error.remedy) from error
    save_feed(feed, output)
    console = make_console()
    console.print(
        f"{output}: full scale is {feed.scale_khz_per_fs:.2f} kHz of deviation, "
        f"±{feed.scale_uncertainty_db:.1f} dB."
    )
    if arguments.way == "hiss":
        console.print("A rough scale: it rests on the IF bandwidth. A reference tone confirms it.")
    console.print("It holds while the receiver's volume and the input level stay as they are.")
    return 0


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
