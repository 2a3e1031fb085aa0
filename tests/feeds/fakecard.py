"""A made-up PortAudio, driven by the test."""

import threading
from types import SimpleNamespace
from typing import Any, ClassVar

import numpy as np


class FakePortAudioError(Exception):
    pass


class FakeStream:
    """Takes the callback and waits to be driven by the test."""

    latency = 0.0

    def __init__(self, **options: Any) -> None:
        if options["samplerate"] not in FakeCard.rates:
            raise FakePortAudioError(
                "Error opening InputStream: Invalid sample rate [PaErrorCode -9997]", -9997
            )
        if FakeCard.busy:
            raise FakePortAudioError(
                "Error opening InputStream: Device unavailable\n[PaErrorCode -9985]", -9985
            )
        self.options = options
        self.started = self.closed = False
        FakeCard.streams.append(self)

    def start(self) -> None:
        self.started = True

    def stop(self) -> None:
        self.started = False

    def abort(self) -> None:
        if FakeCard.hangs:
            FakeCard.release.wait(10.0)

    def close(self) -> None:
        self.closed = True

    def deliver(self, frames: Any, *, overflow: bool = False) -> None:
        status = SimpleNamespace(input_overflow=overflow, input_underflow=False)
        self.options["callback"](frames, len(frames), None, status)


class FakeCard:
    rates: ClassVar[set[int]] = {48000, 44100}
    busy = False
    hangs = False
    release = threading.Event()
    streams: ClassVar[list[FakeStream]] = []
    devices: ClassVar[list[dict[str, Any]]] = []
    calls: ClassVar[list[str]] = []
    replay: Any = None


def device(name: str, inputs: int, api: int = 0) -> dict[str, Any]:
    return {
        "index": len(FakeCard.devices),
        "name": name,
        "max_input_channels": inputs,
        "default_samplerate": 44100.0,
        "default_high_input_latency": 0.035,
        "hostapi": api,
    }


def ramp(start: int, n: int, channels: int = 1) -> np.ndarray[Any, np.dtype[np.float32]]:
    return np.repeat(np.arange(start, start + n, dtype=np.float32)[:, np.newaxis], channels, axis=1)
