"""Fixtures of the feeds' tests."""

import sys
import threading
from collections.abc import Iterator
from types import ModuleType
from typing import Any

import pytest

from audiotest.feeds import soundcard
from tests.feeds.fakecard import FakeCard, FakePortAudioError, FakeStream, device


@pytest.fixture
def fake_card(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    fake = ModuleType("sounddevice")
    FakeCard.busy = FakeCard.hangs = False
    FakeCard.streams = []
    FakeCard.devices = []
    FakeCard.calls = []
    FakeCard.replay = None
    FakeCard.release = threading.Event()
    for name, inputs, api in [
        ("Loudspeaker", 0, 0), ("Bench Box", 2, 0), ("Bench Box Line", 1, 0), ("Blue Stick", 1, 0),
        ("Blue Stick", 1, 1), ("Twin", 2, 1), ("Twin", 2, 1),
    ]:  # fmt: skip
        FakeCard.devices.append(device(name, inputs, api))

    def query_devices(index: int | None = None, kind: str | None = None) -> Any:
        if kind != "input":
            return FakeCard.devices
        if len(FakeCard.devices) < 2:
            raise FakePortAudioError("Error querying device -1")
        return FakeCard.devices[1]

    def check_input_settings(**settings: Any) -> None:
        if settings["samplerate"] not in FakeCard.rates:
            raise FakePortAudioError("Invalid sample rate")

    def get_stream() -> Any:
        if FakeCard.replay is None:
            raise RuntimeError("play()/rec()/playrec() was not called yet")
        return FakeCard.replay

    vars(fake).update(
        PortAudioError=FakePortAudioError,
        InputStream=FakeStream,
        query_devices=query_devices,
        query_hostapis=lambda: [{"name": "First"}, {"name": "Second"}],
        check_input_settings=check_input_settings,
        get_stream=get_stream,
        stop=lambda: FakeCard.calls.append("stop"),
        OutputStream=FakeStream,
        _terminate=lambda: FakeCard.calls.append("terminate"),
        _initialize=lambda: None,
        _exit_handler=lambda: None,
    )
    monkeypatch.setitem(sys.modules, "sounddevice", fake)
    monkeypatch.setattr(soundcard, "_open_streams", 0)
    monkeypatch.setattr(soundcard, "NO_DATA_S", 0.15)
    monkeypatch.setattr(soundcard, "FIRST_DATA_S", 0.3)
    monkeypatch.setattr(soundcard, "CLOSE_PATIENCE_S", 0.2)
    yield
    FakeCard.release.set()
