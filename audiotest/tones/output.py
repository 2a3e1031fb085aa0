"""The sound card's output: plays one prepared signal, ends by itself, and stops softly when told to."""

import threading
import time
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from audiotest.errors import DeviceError
from audiotest.feeds.soundcard import _sounddevice, no_restart, stream_closed, stream_opened

FADE_S = 0.02
"""How fast an interruption silences the output: fast, but without a click."""
LATENCY_S = 0.1
PATIENCE_S, POLL_S = 0.5, 0.005
BLOCK_S = 0.05
"""More than a sound system takes at a time."""


@dataclass(frozen=True, slots=True, kw_only=True)
class OutputDevice:
    """A sound-card output as PortAudio lists it."""

    index: int
    name: str
    channels: int
    host_api: str


def list_outputs() -> tuple[OutputDevice, ...]:
    """List the outputs; `DeviceError` when the sound system cannot be used."""
    sd = _sounddevice()
    apis = [str(api["name"]) for api in sd.query_hostapis()]
    return tuple(
        OutputDevice(
            index=int(device["index"]), name=str(device["name"]), channels=int(device["max_output_channels"]),
            host_api=apis[device["hostapi"]],
        )
        for device in sd.query_devices()
        if device["max_output_channels"] > 0
    )  # fmt: skip


def find_output(device: str | None) -> int | None:
    """Index of the output meant by a number or a part of a name; None for the system's default.

    Raises `DeviceError` when there is none such, or several.
    """
    if not device:
        return None
    outputs = list_outputs()
    wanted = device.strip().casefold()
    exact = [output for output in outputs if wanted in (str(output.index), output.name.casefold())]
    found = exact or [
        output for output in outputs if wanted in f"{output.name}, {output.host_api}".casefold()
    ]
    if len(found) != 1:
        names = ", ".join(f"{output.index} {output.name}" for output in found or outputs) or "none"
        raise DeviceError(f"{device!r} names {len(found)} outputs", f"name one by its number: {names}")
    return found[0].index


class SoundOutput:
    """An opened output. It is silent unless a signal plays; `stop` fades whatever does."""

    def __init__(self, device: str | None, rate_hz: int) -> None:
        sd = _sounddevice()
        self.rate_hz = rate_hz
        self._lock = threading.Lock()
        self._samples: NDArray[np.float32] = np.zeros(0, dtype=np.float32)
        self._at_n = 0
        self._fade_n = round(FADE_S * rate_hz)
        self._closed = False
        self._sounded_s = -np.inf
        try:
            with no_restart():
                self._stream = sd.OutputStream(
                    device=find_output(device), samplerate=rate_hz, channels=2, dtype="float32",
                    latency=LATENCY_S, callback=self._fill,
                )  # fmt: skip
                self._stream.start()
                stream_opened()
        except (sd.PortAudioError, ValueError) as error:
            raise DeviceError(
                f"the output cannot be opened: {error}", "close other programs that use it, or name another"
            ) from error

    def play(self, samples: NDArray[np.float32]) -> None:
        """Start to play samples of shape (n,), full scale 1.0; returns at once. It ends with the last one."""
        with self._lock:
            self._samples, self._at_n = np.array(samples, dtype=np.float32), 0

    @property
    def playing(self) -> bool:
        """Whether a signal is being handed to the sound card."""
        with self._lock:
            return self._at_n < len(self._samples)

    def stop(self) -> None:
        """Fade out within 20 ms; safe at any time."""
        with self._lock:
            rest = self._samples[self._at_n : self._at_n + self._fade_n].copy()
            rest *= np.linspace(1.0, 0.0, len(rest), dtype=np.float32)
            self._samples, self._at_n = rest, 0

    def close(self) -> None:
        """Fade out what sounds, if anything does, and release the device; safe to call twice."""
        with self._lock:
            if self._closed:
                return
            self._closed = True
        try:
            self.stop()
            self._wait_for_silence()
        finally:
            with self._lock:
                self._samples, self._at_n = np.zeros(0, dtype=np.float32), 0
            with no_restart():
                self._stream.stop()
                self._stream.close()
                stream_closed()

    def _wait_for_silence(self) -> None:
        """Until the device has taken the fade, in its own time, and played it; a dead one never does.

        Some sound systems drop what is taken and not yet played when a stream stops: a step, and so a click
        and a splash over the channels beside.
        """
        given_up_s = time.monotonic() + PATIENCE_S
        while self.playing and time.monotonic() < given_up_s:
            time.sleep(POLL_S)
        rest_s = self._sounded_s + self._stream.latency + BLOCK_S - time.monotonic()
        if rest_s > 0.0:
            time.sleep(min(rest_s, PATIENCE_S))

    def _fill(self, outdata: Any, frames: int, when: Any, status: Any) -> None:
        """Copy the next samples, then silence; runs in PortAudio's thread."""
        with self._lock:
            part = self._samples[self._at_n : self._at_n + frames]
            self._at_n += len(part)
        if len(part):
            self._sounded_s = time.monotonic()
        outdata[: len(part)] = part[:, None]
        outdata[len(part) :] = 0.0
