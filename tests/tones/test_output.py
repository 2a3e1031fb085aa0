"""The output on a device that takes blocks in its own time: it never ends a tone with a step."""

import threading
import time
from collections.abc import Callable
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from audiotest.tones import output as output_module
from audiotest.tones.output import FADE_S, PATIENCE_S, SoundOutput

RATE_HZ = 48000
BLOCK_N = 1200


class SlowStream:
    """Takes a block every 25 ms in a thread of its own, plays it 0.1 s later, drops the rest when stopped.

    So do sound servers. A dead one takes nothing.
    """

    dead = False
    latency = 0.1

    def __init__(self, callback: Callable[..., None], **_: Any) -> None:
        self.callback, self.closed = callback, False
        self.taken: list[tuple[float, np.ndarray]] = []
        self.heard = np.zeros(0)
        self._ended = threading.Event()
        self._thread = threading.Thread(target=self._run)

    def start(self) -> None:
        self._thread.start()

    def _run(self) -> None:
        while not self._ended.wait(BLOCK_N / RATE_HZ):
            if not self.dead:
                block = np.zeros((BLOCK_N, 2))
                self.callback(block, BLOCK_N, None, None)
                self.taken.append((time.monotonic(), block[:, 0]))

    def stop(self) -> None:
        stopped_s = time.monotonic()
        self._ended.set()
        self._thread.join()
        played = [block for at_s, block in self.taken if at_s + self.latency <= stopped_s]
        self.heard = np.concatenate([np.zeros(1), *played, np.zeros(1)])

    def close(self) -> None:
        self.closed = True


@pytest.fixture
def opened(monkeypatch: pytest.MonkeyPatch) -> SoundOutput:
    card = SimpleNamespace(OutputStream=SlowStream, PortAudioError=OSError)
    monkeypatch.setattr(output_module, "_sounddevice", lambda: card)
    monkeypatch.setattr(SlowStream, "dead", False)
    return SoundOutput(None, RATE_HZ)


@pytest.mark.parametrize("stopped_before", [True, False])
def test_a_tone_fades_out_however_soon_the_output_is_closed(
    opened: SoundOutput, stopped_before: bool
) -> None:
    stream: Any = opened._stream
    opened.play((0.5 * np.sin(2 * np.pi * 1000 * np.arange(RATE_HZ) / RATE_HZ)).astype(np.float32))
    time.sleep(0.3)
    if stopped_before:
        opened.stop()
    opened.close()
    opened.close()
    heard = stream.heard
    assert stream.closed
    assert np.max(np.abs(heard)) > 0.49
    # A tone of 1 kHz never changes faster than this from one sample to the next, and a fade adds nothing.
    assert np.max(np.abs(np.diff(heard))) < 1.05 * 0.5 * 2 * np.pi * 1000 / RATE_HZ
    last_n = np.flatnonzero(np.abs(heard) > 1e-4)[-1]
    assert np.max(np.abs(heard[last_n - round(0.002 * RATE_HZ) : last_n])) < 0.5 * 0.002 / FADE_S * 1.1


def test_a_dead_device_is_not_waited_for_without_end(
    opened: SoundOutput, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(SlowStream, "dead", True)
    stream: Any = opened._stream
    opened.play(np.full(RATE_HZ, 0.1, dtype=np.float32))
    began_s = time.monotonic()
    opened.close()
    assert stream.closed
    assert PATIENCE_S <= time.monotonic() - began_s < 10.0
