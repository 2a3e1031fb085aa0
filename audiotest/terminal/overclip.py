"""One over of a recording: measured, and cut out with half a second around it."""

from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from audiotest.errors import RequestError
from audiotest.keep.clips import AROUND_S, clip_start_n
from audiotest.keep.parts import Part, read_stretch
from audiotest.records import Advice, Feed, LimitSet, Over
from audiotest.terminal.check import check_file


@dataclass(frozen=True, slots=True, kw_only=True)
class OverClip:
    """An over with its advice and its sound: 24-bit codes in the upper part of 32, shape (n,)."""

    number: int
    over: Over
    advice: Advice
    codes: NDArray[np.int32]
    rate_hz: int


def cut_over(
    file: str, channel: int | None, feed: Feed | None, limits: LimitSet, number: int | None = None
) -> OverClip:
    """Measure a recording and cut out one over: the one asked for, or the longest of speech.

    Raises
    ------
    RequestError
        There is no such over.
    """
    checked = check_file(file, channel, feed, limits)
    judged = checked.judged
    if not judged:
        raise RequestError(f"{file}: no over found", "record from before the carrier comes up")
    if number is None:
        number = 1 + max(
            range(len(judged)),
            key=lambda k: (judged[k][0].kind == "voice", judged[k][0].end_s - judged[k][0].start_s),
        )
    if number > len(judged):
        raise RequestError(f"{file}: has {len(judged)} overs, no over {number}", "see 'audiotest check'")
    over, advice = judged[number - 1]
    rate = checked.sample_rate_hz
    start_n = clip_start_n(over.start_s, rate)
    codes = read_stretch(
        [Part(Path(file), 0)], start_n, round((over.end_s + AROUND_S) * rate), channel=channel
    )
    return OverClip(number=number, over=over, advice=advice, codes=codes, rate_hz=rate)
