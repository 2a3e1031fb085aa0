"""The sound card's edges, with a made-up PortAudio: what it lists, refuses, loses and how it fails."""

import gc
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from types import ModuleType, SimpleNamespace
from typing import Any, ClassVar

import numpy as np
import pytest

from audiotest.errors import DeviceError
from audiotest.feeds import soundcard
from audiotest.feeds.soundcard import list_inputs, open_input
from audiotest.tones.output import SoundOutput


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


@pytest.fixture(autouse=True)
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


def ramp(start: int, n: int, channels: int = 1) -> np.ndarray[Any, np.dtype[np.float32]]:
    return np.repeat(np.arange(start, start + n, dtype=np.float32)[:, np.newaxis], channels, axis=1)


def test_inputs_are_listed_without_outputs() -> None:
    inputs = list_inputs()
    assert [found.name for found in inputs][:2] == ["Bench Box", "Bench Box Line"]
    assert (inputs[0].index, inputs[0].channels, inputs[0].default_rate_hz) == (1, 2, 44100)
    assert (inputs[0].host_api, inputs[-1].host_api) == ("First", "Second")


def test_portaudio_is_not_started_again_under_what_is_open() -> None:
    """A list is asked for while something listens, sounds or is replayed: it goes on."""
    source = open_input(1, 48000)
    output = SoundOutput(None, 48000)
    FakeCard.calls.clear()
    list_inputs()
    source.close()
    list_inputs()
    output.close()
    output.close()
    FakeCard.replay = SimpleNamespace(active=True)
    list_inputs()
    assert FakeCard.calls == []
    # A replay that has come to its end is let go of first: PortAudio would forget it.
    FakeCard.replay = SimpleNamespace(active=False)
    list_inputs()
    assert FakeCard.calls == ["stop", "terminate"]


@pytest.mark.parametrize(
    ("wanted", "index"),
    [
        (None, 1),
        (2, 2),
        ("2", 2),
        ("bench box", 1),
        ("LINE", 2),
        ("blue stick", 3),
        ("blue stick, second", 4),
    ],
)
def test_an_input_is_found_by_number_name_or_part(wanted: str | int | None, index: int) -> None:
    open_input(wanted, 48000).close()
    assert FakeCard.streams[-1].options["device"] == index
    assert FakeCard.streams[-1].closed


@pytest.mark.parametrize(
    ("wanted", "what"),
    [
        ("attic", "no input 'attic'"),
        ("", "no input ''"),
        (17, "no input number 17"),
        (0, "no input number 0"),
        ("b", "1 Bench Box .*2 Bench Box Line"),
        ("twin", "5 Twin .*6 Twin"),
    ],
)
def test_an_unknown_or_ambiguous_name_is_refused_with_a_remedy(wanted: str | int, what: str) -> None:
    with pytest.raises(DeviceError, match=what) as caught:
        open_input(wanted, 48000)
    assert caught.value.remedy


def test_the_callback_is_asked_for_whole_blocks_and_room_behind_it() -> None:
    """A callback of a few samples costs as much as one of a block, and Python is not always to be had."""
    open_input(1, 48000).close()
    FakeCard.devices[1]["default_high_input_latency"] = 0.18
    open_input(1, 44100).close()
    asked = [(stream.options["blocksize"], stream.options["latency"]) for stream in FakeCard.streams]
    assert asked == [(960, soundcard.BUFFER_S), (882, 0.18)]


def test_no_input_at_all_is_refused() -> None:
    FakeCard.devices = [device("Loudspeaker", 0)]
    with pytest.raises(DeviceError, match="no sound-card input"):
        open_input(None)


def test_a_refused_rate_names_the_rates_that_work() -> None:
    with pytest.raises(DeviceError, match="refuses 12345 Hz: it takes 48000, 44100 Hz"):
        open_input(1, 12345)
    assert open_input(1).sample_rate_hz == 44100
    with pytest.raises(DeviceError, match="too low"):
        open_input(1, 4000)


def test_a_busy_device_and_a_missing_channel_are_refused_in_one_line() -> None:
    with pytest.raises(DeviceError, match="has 2 input channels, no channel 3"):
        open_input(1, 48000, 3)
    FakeCard.busy = True
    with pytest.raises(DeviceError, match="Device unavailable") as caught:
        open_input(1, 48000)
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize(("error", "remedy"), [(ImportError, "pip install"), (OSError, "libportaudio2")])
def test_a_missing_library_is_said_with_its_remedy(
    monkeypatch: pytest.MonkeyPatch, error: type[Exception], remedy: str
) -> None:
    class Refuse:
        def find_spec(self, name: str, path: Any = None, target: Any = None) -> None:
            if name == "sounddevice":
                raise error("not here")

    monkeypatch.delitem(sys.modules, "sounddevice")
    monkeypatch.setattr(sys, "meta_path", [Refuse(), *sys.meta_path])
    with pytest.raises(DeviceError, match=remedy):
        list_inputs()


def test_importing_the_module_loads_no_portaudio() -> None:
    code = "import sys, audiotest.feeds.soundcard; sys.exit('sounddevice' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0


def test_blocks_carry_the_chosen_channel_and_the_losses_at_their_place() -> None:
    source = open_input(1, 48000, 2)
    blocks = source.blocks()
    stream_frames = np.stack([np.zeros(960), np.arange(960)], axis=1).astype(np.float32)
    threading.Timer(0.02, lambda: FakeCard.streams[-1].deliver(stream_frames)).start()
    first = next(blocks)
    assert (first.lost_n, len(first.samples), first.samples.dtype) == (0, 960, np.float32)
    np.testing.assert_array_equal(first.samples, np.arange(960))
    FakeCard.streams[-1].deliver(stream_frames[:500])
    FakeCard.streams[-1].deliver(stream_frames, overflow=True)
    got = [next(blocks), next(blocks)]
    assert [(len(block.samples), block.lost_n) for block in got] == [(500, 0), (960, 1)]
    assert source.lost_n == 1
    source.close()
    assert list(blocks) == []


def test_a_reader_that_is_too_slow_counts_what_did_not_fit(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(soundcard, "RING_S", 0.1)
    source = open_input(2, 48000)
    blocks = source.blocks()
    threading.Timer(0.02, lambda: FakeCard.streams[-1].deliver(ramp(0, 960))).start()
    next(blocks)
    for k in range(1, 8):
        FakeCard.streams[-1].deliver(ramp(960 * k, 960))
    taken = [next(blocks) for _ in range(5)]
    FakeCard.streams[-1].deliver(ramp(960 * 8, 960))
    late = next(blocks)
    assert [block.lost_n for block in taken] == [0] * 5
    assert late.lost_n == 2 * 960
    assert late.samples[0] == 8 * 960
    source.close()


def test_an_input_that_stops_delivering_gives_the_rest_and_then_an_error() -> None:
    source = open_input(2, 48000)
    blocks = source.blocks()
    threading.Timer(0.02, lambda: FakeCard.streams[-1].deliver(ramp(0, 1000))).start()
    assert len(next(blocks).samples) == 960
    assert len(next(blocks).samples) == 40
    with pytest.raises(DeviceError, match="stopped delivering: check the plug"):
        next(blocks)
    assert FakeCard.streams[-1].closed


def test_a_program_that_stood_still_does_not_blame_the_input(monkeypatch: pytest.MonkeyPatch) -> None:
    # Far more than a busy machine takes for this, far less than the hour of sleep.
    monkeypatch.setattr(soundcard, "NO_DATA_S", 20.0)
    source = open_input(2, 48000)
    blocks = source.blocks()
    threading.Timer(0.02, lambda: FakeCard.streams[-1].deliver(ramp(0, 960))).start()
    next(blocks)
    now, slept_s = time.monotonic, [0.0]
    monkeypatch.setattr(soundcard.time, "monotonic", lambda: now() + slept_s[0])

    def sleep_and_deliver() -> None:
        slept_s[0] = 3600.0
        time.sleep(0.03)
        FakeCard.streams[-1].deliver(ramp(960, 960))

    threading.Timer(0.02, sleep_and_deliver).start()
    assert next(blocks).samples[0] == 960
    source.close()


def test_an_input_that_never_comes_back_from_its_start_is_given_up(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(soundcard, "START_PATIENCE_S", 0.1)
    source = open_input(2, 48000)
    monkeypatch.setattr(soundcard, "CLOSE_PATIENCE_S", 0.1)
    stream = FakeCard.streams[-1]
    monkeypatch.setattr(stream, "start", lambda: FakeCard.release.wait(10.0))
    with pytest.raises(DeviceError, match="does not start: no answer"):
        next(source.blocks())
    # PortAudio 19.6 ends the whole program when it is told to stop what it still tries to start.
    assert not stream.closed


@pytest.mark.parametrize(("code", "tries"), [(-9987, 3), (-9985, 1)])
def test_a_start_that_came_too_late_is_tried_again(
    monkeypatch: pytest.MonkeyPatch, code: int, tries: int
) -> None:
    """On a busy machine PortAudio gives its thread up after a second; what refuses for good is asked once."""
    source = open_input(2, 48000)
    stream = FakeCard.streams[-1]
    errors = [FakePortAudioError("Error starting stream: Wait timed out", code) for _ in range(2)]
    started: list[int] = []

    def start() -> None:
        started.append(1)
        if errors:
            stream.options["finished_callback"]()
            raise errors.pop()
        stream.deliver(ramp(0, 960))

    monkeypatch.setattr(stream, "start", start)
    if tries == 1:
        with pytest.raises(DeviceError, match="does not start: Error starting stream"):
            next(source.blocks())
    else:
        assert len(next(source.blocks()).samples) == 960
    assert len(started) == tries
    source.close()


def test_the_collector_does_not_look_through_the_libraries_in_the_callback() -> None:
    gc.unfreeze()
    counts = []
    for _ in range(2):
        source = open_input(2, 48000)
        threading.Timer(0.02, lambda: FakeCard.streams[-1].deliver(ramp(0, 960))).start()
        next(source.blocks())
        source.close()
        counts.append(gc.get_freeze_count())
    gc.unfreeze()
    assert counts[0] > 10000
    # What came after the first start is collected as ever.
    assert counts[1] <= counts[0]


def test_what_is_no_sample_of_sound_counts_as_lost() -> None:
    source = open_input(2, 48000)
    blocks = source.blocks()
    frames = ramp(0, 960) / 960.0
    frames[:3, 0] = (np.nan, np.inf, -3e38)
    threading.Timer(0.02, lambda: FakeCard.streams[-1].deliver(frames)).start()
    block = next(blocks)
    assert (block.lost_n, source.lost_n) == (3, 3)
    np.testing.assert_array_equal(block.samples[:4], [0.0, 0.0, 0.0, np.float32(3 / 960)])
    source.close()


def test_an_input_that_finishes_by_itself_is_noticed_at_once(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(soundcard, "FIRST_DATA_S", 60.0)
    source = open_input(2, 48000)
    threading.Timer(0.05, lambda: FakeCard.streams[-1].options["finished_callback"]()).start()
    with pytest.raises(DeviceError, match="stopped delivering"):
        next(source.blocks())


def test_an_error_in_the_callback_reaches_the_reader() -> None:
    source = open_input(2, 48000)
    threading.Timer(0.02, lambda: FakeCard.streams[-1].deliver(np.zeros((10, 3, 2)))).start()
    with pytest.raises(DeviceError, match="the input failed") as caught:
        next(source.blocks())
    assert isinstance(caught.value.__cause__, ValueError)


def test_close_ends_a_wait_from_another_thread_and_never_hangs(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(soundcard, "FIRST_DATA_S", 60.0)
    source = open_input(2, 48000)
    threading.Timer(0.05, source.close).start()
    assert list(source.blocks()) == []
    FakeCard.hangs = True
    stuck = open_input(2, 48000)
    started_s = time.monotonic()
    stuck.close()
    stuck.close()
    assert time.monotonic() - started_s < 2.0


def test_a_second_start_listens_again() -> None:
    for _ in range(2):
        source = open_input(2, 48000)
        threading.Timer(0.02, lambda: FakeCard.streams[-1].deliver(ramp(0, 960))).start()
        assert len(next(source.blocks()).samples) == 960
        source.close()
    assert len(FakeCard.streams) == 2
    assert all(stream.closed for stream in FakeCard.streams)
