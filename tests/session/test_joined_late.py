"""Started in the middle of an over: a gap in speech is not its end, whatever the stream began with."""

import numpy as np
import pytest

from audiotest.measure.bands import BandFrames, band_frames, plan_bands
from audiotest.radio.link import simulate_session
from audiotest.radio.settings import Receiver, SoundCard, Timing, Transmitter
from audiotest.radio.voices import load_voice
from audiotest.session.cells import CELL_HOPS
from audiotest.session.finder import OverFinder
from audiotest.session.running import FoundOver

SPEECH_S = 8
LEAST_LEFT_CELLS = 30
SOME = 3
"""Every third cell, 120 ms, is a place to start at."""


def find(frames: BandFrames, from_cell: int = 0) -> list[FoundOver]:
    finder = OverFinder()
    found: list[FoundOver] = []
    for k in range(from_cell * CELL_HOPS, len(frames.levels_db) // CELL_HOPS * CELL_HOPS, CELL_HOPS):
        found += finder.push(frames.levels_db[k : k + CELL_HOPS], frames.flatness_db[k : k + CELL_HOPS])
    return found + finder.finish()


@pytest.mark.parametrize("squelch", ["open", "closed"])
def test_overs_stay_whole_wherever_in_them_the_stream_begins(squelch: str) -> None:
    speech, rate_hz = load_voice("english_address")
    size_n = SPEECH_S * rate_hz
    overs = [
        (speech[k * size_n : (k + 1) * size_n], rate_hz, Transmitter(drive_db=drive_db, ceiling_khz=1.6))
        for k, drive_db in enumerate((20.0, 5.0))
    ]
    receiver = Receiver(scale_khz_per_fs=12.0, squelch=squelch)  # type: ignore[arg-type]
    heard = simulate_session(overs, receiver, SoundCard(), Timing(), seed=6)
    frames = band_frames(heard.audio, plan_bands(heard.sample_rate_hz))
    whole = find(frames)
    assert len(whole) == 2
    wrong, tried = [], 0
    for k, over in enumerate(whole):
        for start in range(over.start_cell + SOME, over.end_cell - LEAST_LEFT_CELLS, SOME):
            tried += 1
            ends = [found.end_cell + start for found in find(frames, start)]
            right = [other.end_cell for other in whole[k:]]
            if len(ends) != len(right) or np.max(np.abs(np.subtract(ends, right))) > 1:
                wrong.append((start, ends))
    assert tried > 50
    assert wrong == []
