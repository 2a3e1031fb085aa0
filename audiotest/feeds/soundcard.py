"""Sound-card inputs through PortAudio; the only place that knows the library, loaded when first asked for."""

import atexit
import gc
import threading
import time
from collections.abc import Iterator
from contextlib import AbstractContextManager
from typing import Any

import numpy as np
from numpy.typing import NDArray

from audiotest.errors import DeviceError
from audiotest.extras import how_to_install
from audiotest.feeds.channels import ChannelChooser
from audiotest.feeds.chatter import hear_libraries, quieten_libraries
from audiotest.feeds.inputs import InputDevice, find_input
from audiotest.feeds.protocol import WILDEST_FS, Block
from audiotest.feeds.ring import SampleRing

BLOCK_S = 0.02
BUFFER_S = 0.1
"""What PortAudio may hold while the measuring keeps Python to itself; what many inputs name as their highest
latency is a third of this."""
RING_S = 30.0
"""Longer than any over takes to measure: the reader measures between two blocks."""
NO_DATA_S = 2.0
FIRST_DATA_S = 5.0
"""A sleeping input (a monitor, a wireless headset) takes its time to wake up."""
POLL_S = 0.005
LONGEST_LOOK_S = 0.1
"""More than this between two looks for data is no waiting: the program was stopped, or the machine slept."""
START_PATIENCE_S = 10.0
START_TRIES = 3
TIMED_OUT = -9987
"""PortAudio's paTimedOut: its own thread did not get going within its second, as on a busy machine."""
CLOSE_PATIENCE_S = 2.0
LOWEST_RATE_HZ = 6000
USUAL_RATES_HZ = (48000, 44100, 96000, 32000, 16000, 8000)

_open_streams = 0
_stream_lock = threading.RLock()


def list_inputs() -> tuple[InputDevice, ...]:
    """List the inputs that are there now; `DeviceError` when the sound system cannot be used."""
    sd = _sounddevice()
    with _stream_lock:
        if _open_streams == 0 and not _replaying(sd):
            # PortAudio looks for devices only when it starts: start it again to see what was plugged in.
            quieten_libraries()
            try:
                sd._terminate()
                sd._initialize()
            except sd.PortAudioError as error:
                raise DeviceError(
                    f"the sound system does not start: {_reason(error)}", "restart it"
                ) from error
            finally:
                hear_libraries()
    apis = [str(api["name"]) for api in sd.query_hostapis()]
    return tuple(
        InputDevice(
            index=int(device["index"]),
            name=str(device["name"]),
            channels=int(device["max_input_channels"]),
            default_rate_hz=round(device["default_samplerate"]),
            host_api=apis[device["hostapi"]],
            high_latency_s=float(device["default_high_input_latency"]),
        )
        for device in sd.query_devices()
        if device["max_input_channels"] > 0
    )


def open_input(
    device: str | int | None, sample_rate_hz: int | None = None, channel: int | None = None
) -> "SoundCardSource":
    """Open an input; it starts to listen when its blocks are asked for.

    Parameters
    ----------
    device : str, int or None
        Number, whole name or a part of the name that only one input has; None is the system's default.
    sample_rate_hz : int or None
        None takes the rate the device prefers.
    channel : int or None
        From 1. None listens to the first two and takes the first that has a signal.

    Raises
    ------
    DeviceError
        When there is no such input, several fit, or it refuses the rate or the channel.
    """
    sd = _sounddevice()
    chosen = find_input(device, list_inputs(), _default_index(sd))
    if channel is not None and not 1 <= channel <= chosen.channels:
        raise DeviceError(
            f"{chosen.name}: has {chosen.channels} input channels, no channel {channel}",
            f"name one from 1 to {chosen.channels}",
        )
    rate_hz = chosen.default_rate_hz if sample_rate_hz is None else sample_rate_hz
    if rate_hz < LOWEST_RATE_HZ:
        raise DeviceError(f"{chosen.name}: {rate_hz} Hz is too low for speech", "ask for 8000 Hz or more")
    return SoundCardSource(sd, chosen, rate_hz, channel)


def no_restart() -> AbstractContextManager[Any]:
    """Keep `list_inputs` from starting PortAudio again while a stream is opened or closed."""
    return _stream_lock


def stream_opened() -> None:
    """From here on `list_inputs` does not start PortAudio again, until `stream_closed` is called as often."""
    global _open_streams
    with _stream_lock:
        _open_streams += 1


def stream_closed() -> None:
    """A stream that `stream_opened` was told of is closed."""
    global _open_streams
    with _stream_lock:
        _open_streams -= 1


def _replaying(sd: Any) -> bool:
    """Whether something sounds that was started by the library's own `play`; if it has ended it is closed."""
    try:
        if sd.get_stream().active:
            return True
    except (RuntimeError, sd.PortAudioError):  # nothing was ever played
        return False
    # PortAudio forgets it when it starts again; to close it after that is to close what is no more.
    sd.stop()
    return False


class SoundCardSource:
    """One channel of a running input. Made by `open_input`.

    ``notes`` says which channel was taken, and ``lost_n`` how many samples are known to be missing so far.
    """

    def __init__(self, sd: Any, device: InputDevice, sample_rate_hz: int, channel: int | None) -> None:
        self.name = device.name
        self.sample_rate_hz = sample_rate_hz
        self.notes: tuple[str, ...] = ()
        self.lost_n = 0
        width = min(2, device.channels) if channel is None else channel
        self._column = None if channel is None else channel - 1
        self._chooser = ChannelChooser(sample_rate_hz) if channel is None and width > 1 else None
        self._ring = SampleRing(round(RING_S * sample_rate_hz), width if channel is None else 1)
        self._failure: BaseException | None = None
        self._finished = False
        self._closing = threading.Event()
        self._close_lock = threading.Lock()
        self._released = False
        self._starter: threading.Thread | None = None
        self._sd = sd
        quieten_libraries()
        try:
            with no_restart():
                self._stream = sd.InputStream(
                    device=device.index, samplerate=sample_rate_hz, channels=width, dtype="float32",
                    blocksize=round(BLOCK_S * sample_rate_hz), latency=max(BUFFER_S, device.high_latency_s),
                    callback=self._take, finished_callback=self._note_finished,
                )  # fmt: skip
                stream_opened()
        except (sd.PortAudioError, ValueError) as error:
            refusal = _refusal(sd, device, sample_rate_hz, width, error)
            hear_libraries()
            raise refusal from error

    def blocks(self) -> Iterator[Block]:
        """Yield blocks of 20 ms, shorter before a gap; `DeviceError` when the input stops delivering."""
        self._start()
        block_n = round(BLOCK_S * self.sample_rate_hz)
        waited_s = 0.0
        patience_s = FIRST_DATA_S
        looked_s = time.monotonic()
        while not self._closing.is_set():
            if self._ring.ready_n >= block_n:
                yield self._block(block_n)
                # However long the reader took over that block, the input is not to blame.
                waited_s = 0.0
                patience_s = NO_DATA_S
                looked_s = time.monotonic()
                continue
            # Nor is it for a time in which the whole program stood still.
            now_s = time.monotonic()
            waited_s += min(now_s - looked_s, LONGEST_LOOK_S)
            looked_s = now_s
            if not (waited_s > patience_s or self._finished or self._failure is not None):
                self._closing.wait(POLL_S)
                continue
            while self._ring.ready_n:
                yield self._block(block_n)
            if self._closing.is_set():
                return
            self.close()
            if self._failure is not None:
                raise DeviceError(
                    f"{self.name}: the input failed: {self._failure}", "a fault of the program: start again"
                ) from self._failure
            raise DeviceError(
                f"{self.name}: the input stopped delivering", "check the plug and open it again"
            )

    def _start(self) -> None:
        """Start the stream; a device that goes in that moment may keep PortAudio from ever coming back."""
        _settle_collector()
        refused: list[Exception] = []

        def start() -> None:
            for tries_left in reversed(range(START_TRIES)):
                try:
                    self._stream.start()
                except Exception as error:
                    if tries_left and error.args[1:2] == (TIMED_OUT,):
                        self._finished = False
                        continue
                    refused.append(error)
                return

        self._starter = threading.Thread(target=start, name="audiotest-start-input", daemon=True)
        self._starter.start()
        self._starter.join(START_PATIENCE_S)
        if not (self._starter.is_alive() or refused):
            return
        reason = _reason(refused[0]) if refused else f"no answer within {START_PATIENCE_S:.0f} s"
        if not refused:
            self.close()
        raise DeviceError(
            f"{self.name}: does not start: {reason}", "close other programs that use it, or plug it in"
        ) from (refused[0] if refused else None)

    def close(self) -> None:
        """End the blocks and release the device; safe to call twice and from another thread."""
        self._closing.set()
        with self._close_lock:
            if self._released:
                return
            self._released = True
        closer = threading.Thread(target=self._release, name="audiotest-close-input", daemon=True)
        closer.start()
        closer.join(CLOSE_PATIENCE_S)
        if closer.is_alive():
            _abandon(self._sd)
            return
        hear_libraries()
        stream_closed()

    def _release(self) -> None:
        # PortAudio ends the whole program if it is told to stop while it still tries to start.
        if self._starter is not None:
            self._starter.join()
        # Errors of closing are of no use to anyone: ignore_errors is on by default.
        self._stream.abort()
        self._stream.close()

    def _take(self, indata: NDArray[np.float32], frames: int, when: Any, status: Any) -> None:
        """Copy into the ring and return; runs in PortAudio's thread, which must never wait."""
        try:
            if status.input_overflow or status.input_underflow:
                # How much is missing is not told: at least one sample.
                self._ring.lose(1)
            self._ring.write(indata if self._column is None else indata[:, self._column :])
        except BaseException as error:
            self._failure = error

    def _note_finished(self) -> None:
        self._finished = True

    def _block(self, block_n: int) -> Block:
        frames, lost_n = self._ring.read(block_n)
        self.lost_n += lost_n
        column = 0
        if self._chooser is not None:
            column = self._chooser.choose(frames)
            self.notes = self._chooser.notes
        samples = np.ascontiguousarray(frames[:, column])
        # Written so that NaN is found as well.
        wild = ~(np.abs(samples) <= WILDEST_FS)
        if wild.any():
            wild_n = int(np.count_nonzero(wild))
            samples[wild] = 0.0
            self.lost_n += wild_n
            lost_n += wild_n
        return Block(samples=samples, lost_n=lost_n)


def _settle_collector() -> None:
    """Have Python's collector pass over all that is loaded by now, once for the process.

    It runs in whatever thread happens to allocate, the callback's too, and the libraries' objects take it
    nearly a block's time (seen: 15 ms). Once only: what a session leaves behind is let go of.
    """
    if gc.get_freeze_count() == 0:
        gc.collect()
        gc.freeze()


def _sounddevice() -> Any:
    """Load PortAudio's Python layer, or say what is missing."""
    try:
        import sounddevice
    except ImportError as error:
        raise DeviceError(
            "no access to the sound card: the Python package sounddevice is not installed",
            how_to_install("live"),
        ) from error
    except OSError as error:
        raise DeviceError(
            "no access to the sound card: the PortAudio library is not installed",
            "on Debian and its kin: apt install libportaudio2",
        ) from error
    except Exception as error:  # Its own error class is out of reach when loading it fails.
        raise DeviceError(f"the sound system does not start: {_reason(error)}", "restart it") from error
    return sounddevice


def _abandon(sd: Any) -> None:
    """Keep the program usable when PortAudio does not come back from closing a device that has vanished.

    PortAudio 19.6 on ALSA then keeps a thread that can neither be ended nor stopped from writing to the
    standard error as fast as it can (seen when the device goes before its first sample), and it would hang
    the end of the program as well: nobody waits for it at the end, and the libraries stay unheard.
    """
    atexit.unregister(sd._exit_handler)


def _default_index(sd: Any) -> int | None:
    try:
        return int(sd.query_devices(kind="input")["index"])
    except (sd.PortAudioError, ValueError):
        return None


def _refusal(sd: Any, device: InputDevice, rate_hz: int, channels: int, error: Exception) -> DeviceError:
    rates = [
        rate for rate in USUAL_RATES_HZ if rate != rate_hz and _accepts(sd, device.index, rate, channels)
    ]
    if rates and not _accepts(sd, device.index, rate_hz, channels):
        listed = ", ".join(str(rate) for rate in rates)
        return DeviceError(f"{device.name}: refuses {rate_hz} Hz", f"it takes {listed} Hz")
    return DeviceError(
        f"{device.name}: cannot be opened: {_reason(error)}",
        "close other programs that use it, or choose another input",
    )


def _accepts(sd: Any, index: int, rate_hz: int, channels: int) -> bool:
    try:
        sd.check_input_settings(device=index, channels=channels, dtype="float32", samplerate=rate_hz)
    except (sd.PortAudioError, ValueError):
        return False
    return True


def _reason(error: BaseException) -> str:
    """Put what PortAudio says on one line."""
    text = str(error.args[0]) if error.args else ""
    return " ".join(text.split()) or type(error).__name__
