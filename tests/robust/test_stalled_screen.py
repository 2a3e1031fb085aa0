"""The window is held up, or the measuring fails under it: what was heard is there, and it says so."""

import time

import numpy as np
import pytest

from audiotest.__main__ import main
from audiotest.feeds.protocol import Block
from audiotest.feeds.simulated import SimulatedSource
from audiotest.window import listening as listening_module
from audiotest.window.sitting import Sitting
from tests.robust.material import LIMITS, RATE_HZ, over
from tests.robust.test_worker_faults import Failing

STALL_S = 5.0


def settle(sitting: Sitting, seconds: float = 60.0) -> list:
    """Poll, as the window's timer does, until the run has ended."""
    fresh = []
    deadline_s = time.monotonic() + seconds
    while sitting.trouble is None:
        fresh += sitting.poll()
        assert time.monotonic() < deadline_s
        time.sleep(0.01)
    return fresh


def test_a_window_that_is_held_up_for_five_seconds_loses_nothing() -> None:
    """Nobody asks for anything while a source in real time goes on: every over and sample is there."""
    audio = np.tile(over(), 2)
    sitting = Sitting(limits=LIMITS)
    try:
        sitting.open_source(lambda: SimulatedSource(audio, RATE_HZ, real_time=True))
        while sitting.listening is None:
            sitting.poll()
            time.sleep(0.01)
        time.sleep(STALL_S)
        fresh = settle(sitting)
        assert [each.heard.over.kind for each in fresh] == ["voice", "voice"]
        tape = sitting.listening.tape
        assert tape.end_n == len(audio)
        assert sitting.listening.reading is not None
        assert sitting.listening.reading.lost_n == 0
        assert len(sitting.audio(2)) > 0
        assert sitting.trouble == "the input has ended"
    finally:
        sitting.close()


def test_a_window_says_that_the_measuring_failed_and_keeps_the_overs(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(listening_module, "Engine", Failing)
    sitting = Sitting(limits=LIMITS)
    try:
        sitting.open_source(lambda: SimulatedSource(np.tile(over(), 4), RATE_HZ))
        fresh = settle(sitting)
        assert len(fresh) == 2
        assert sitting.trouble == "unexpected ZeroDivisionError: by chance: a fault of the program"
        # Another start works.
        monkeypatch.undo()
        sitting.restart()
        assert len(settle(sitting)) == 4
    finally:
        sitting.close()


def test_a_terminal_says_that_the_measuring_failed_and_keeps_the_overs(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(
        "audiotest.terminal.live.open_input", lambda *_: SimulatedSource(np.tile(over(), 4), RATE_HZ)
    )
    monkeypatch.setattr("audiotest.terminal.live.Engine", Failing)
    assert main(["live", "--text"]) == 2
    said = capsys.readouterr()
    assert said.out.count("voice") == 2, said.out
    assert said.err.count("\n") == 1
    assert "ZeroDivisionError: by chance: a fault of the program" in said.err


class Storm(SimulatedSource):
    """Reports a drop-out before every single block."""

    def blocks(self):
        for block in super().blocks():
            yield Block(samples=block.samples, lost_n=1)


def test_a_storm_of_drop_outs_is_counted_shown_and_survived(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    audio = np.tile(over(), 2)
    monkeypatch.setattr(
        "audiotest.terminal.live.open_input", lambda *_: Storm(audio, RATE_HZ, real_time=True)
    )
    assert main(["live", "--text"]) == 0
    said = capsys.readouterr()
    assert said.out.count("voice") == 2, said.out
    assert "LOST" in said.out
    assert said.err == ""

    sitting = Sitting(limits=LIMITS)
    try:
        sitting.open_source(lambda: Storm(audio, RATE_HZ))
        assert len(settle(sitting)) == 2
        assert sitting.listening is not None
        assert sitting.listening.reading is not None
        assert sitting.listening.reading.lost_n == -(-len(audio) // round(0.02 * RATE_HZ))
    finally:
        sitting.close()
