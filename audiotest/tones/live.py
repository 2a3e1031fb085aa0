"""A bench with instruments: sound-card input and output, and a technician who does what is asked."""

import threading
import time
from collections.abc import Callable
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from audiotest.errors import DeviceError, RequestError
from audiotest.feeds.protocol import Source
from audiotest.measure.iq import complex_feed
from audiotest.tones.guided import Halted
from audiotest.tones.level import OutputScale, prepare
from audiotest.tones.punctual import Punctuality
from audiotest.tones.steps import Heard, Step

POLL_S = 0.01
PATIENCE_S = 3.0
KEPT_S = 5.0
"""Whoever listens onward and comes back later than this starts afresh, behind a gap."""
TRIES = 3
"""Times that a tone is sent before it is given up for one that breaks off."""
DELAY_S = 0.5
"""From handing a signal to the sound card to hearing it at the input: output, radio and input together."""


class Player(Protocol):
    """An output that plays prepared samples."""

    rate_hz: int

    def play(self, samples: NDArray[np.float32]) -> None:
        """Start what has shape (n,), full scale 1.0; returns at once."""

    def stop(self) -> None:
        """Fade out now."""

    def close(self) -> None:
        """Silence and release."""


Technician = Callable[[Step], tuple[float, ...]]
"""Shows a step's prompt, has its settings made, and returns what was set; may refuse by raising."""


class Ear:
    """Keeps an input drained and hands out what comes from a moment on."""

    def __init__(self, source: Source) -> None:
        self.rate_hz = source.sample_rate_hz
        self._source = source
        self._lock = threading.Lock()
        self._parts: list[NDArray[np.float32]] = []
        self._wanted_n = 0
        self._held_n = 0
        self._skip_n = 0
        self._lost_n = 0
        self._onward = False
        self._error: BaseException | None = None
        self._ended = False
        self._halted = threading.Event()
        self._thread = threading.Thread(target=self._drain, name="audiotest-ear", daemon=True)
        self._thread.start()

    def listen(
        self,
        settle_s: float,
        listen_s: float,
        start: Callable[[], None] = lambda: None,
        lacking_s: Callable[[NDArray[np.float32]], float] = lambda samples: 0.0,
        onward: bool = False,
    ) -> NDArray[np.float32]:
        """Samples of the next ``listen_s``, after leaving out ``settle_s``; shape (n,).

        ``start`` is called once listening has begun, so that nothing of what it starts is missed.
        ``lacking_s`` is shown the samples and says for how many seconds more to listen, until it is
        satisfied. ``onward`` begins where the last call with it ended, up to `KEPT_S` ago.

        Raises
        ------
        DeviceError
            The input fails, stops delivering, or has lost samples in between.
        Halted
            `halt` was called.
        """
        with self._lock:
            if not (onward and self._onward):
                self._parts, self._held_n, self._lost_n = [], 0, 0
                self._skip_n = round(settle_s * self.rate_hz)
            self._onward = onward
            self._wanted_n = round(listen_s * self.rate_hz)
        start()
        heard_n, since = 0, time.monotonic()
        while True:
            if self._halted.is_set():
                raise Halted
            with self._lock:
                done = self._held_n >= self._wanted_n
                progress_n = self._held_n - self._skip_n
                failed, ended = self._error, self._ended
            if done:
                with self._lock:
                    so_far = self._whole()[: self._wanted_n]
                more_n = round(lacking_s(so_far) * self.rate_hz)
                if more_n <= 0:
                    break
                with self._lock:
                    self._wanted_n += more_n
                continue
            if failed is not None:
                raise failed
            if progress_n != heard_n:
                heard_n, since = progress_n, time.monotonic()
            if ended or time.monotonic() - since > PATIENCE_S:
                raise DeviceError(
                    "the input has ended or stopped delivering", "check the plug and start again"
                )
            time.sleep(POLL_S)
        with self._lock:
            whole = self._whole()
            samples, rest = whole[: self._wanted_n], whole[self._wanted_n :]
            self._parts, self._held_n = [rest], len(rest)
            lost_n, self._wanted_n, self._lost_n = self._lost_n, 0, 0
        if lost_n:
            raise DeviceError(
                f"the input lost {lost_n} samples or more", "close what else keeps the computer busy"
            )
        return samples

    def _whole(self) -> NDArray[np.float32]:
        return np.concatenate(self._parts) if self._parts else np.zeros(0, np.float32)

    def halt(self) -> None:
        """Have `listen` give up at once; may be called from any thread."""
        self._halted.set()

    def close(self) -> None:
        """End the input."""
        self._source.close()
        self._thread.join(PATIENCE_S)

    def _drain(self) -> None:
        try:
            for block in self._source.blocks():
                self._take(block.samples, block.lost_n)
        except BaseException as error:
            with self._lock:
                self._error = error
        with self._lock:
            self._ended = True

    def _take(self, samples: NDArray[np.float32], lost_n: int) -> None:
        with self._lock:
            if self._wanted_n == 0 and not (self._onward and self._held_n < KEPT_S * self.rate_hz):
                self._onward = False
                return
            skipped = min(self._skip_n, len(samples))
            self._skip_n -= skipped
            self._lost_n += lost_n
            rest = samples[skipped:]
            # What comes while it is being judged whether that was enough counts too.
            if len(rest):
                self._parts.append(rest)
                self._held_n += len(rest)


class LiveBench:
    """Carries out steps with real instruments; a `Bench`.

    Parameters
    ----------
    source : Source
        Opened input; it is drained from now on, and closed with the bench.
    technician : callable
        See `Technician`.
    player : Player or None
        Opened output; None refuses every step that sends something.
    scale : OutputScale or None
        Learned output; None refuses likewise.
    delay_s : float
        Left out in addition to a step's own settling while something is sent.
    """

    def __init__(
        self,
        source: Source,
        technician: Technician,
        *,
        player: Player | None = None,
        scale: OutputScale | None = None,
        delay_s: float = DELAY_S,
    ) -> None:
        self._ear = Ear(source)
        self._technician = technician
        self._player = player
        self._scale = scale
        self._delay_s = delay_s
        self._gate = threading.Lock()
        self._halted = False

    def perform(self, step: Step) -> Heard:
        """Have the settings made, then play and listen; the output is silent again when it returns.

        `RequestError` for what this bench cannot do, `DeviceError` when a tone breaks off again and again.
        """
        if step.feed == "iq":
            raise RequestError("this input hears audio, not I/Q", "take a stereo input that carries I and Q")
        sent = self._prepared(step)
        answers = self._technician(step)
        samples: NDArray[np.float32] = np.zeros(0, dtype=np.float32)
        remark = ""
        try:
            if sent is not None:
                samples, remark = self._sent_and_heard(step, sent)
            elif step.listen_s > 0.0:
                samples = self._ear.listen(step.settle_s, step.listen_s, onward=step.onward)
        finally:
            self.silence()
        return Heard(samples=samples, rate_hz=self._ear.rate_hz, answers=answers, remark=remark)

    def _sent_and_heard(self, step: Step, sent: NDArray[np.float32]) -> tuple[NDArray[np.float32], str]:
        """Play and listen, longer where the tone comes late; what was heard of it settled, and a remark."""
        for _ in range(TRIES):
            if step.listen_s <= 0.0:
                self._play(sent)
                return np.zeros(0, dtype=np.float32), ""
            watch = Punctuality(step, self._ear.rate_hz, self._delay_s)
            heard = self._ear.listen(
                0.0, watch.usual_s, start=lambda: self._play(sent), lacking_s=watch.lacking_s
            )
            if not watch.broken(heard):
                return watch.settled(heard), watch.remark
            self.silence()
        raise DeviceError(
            "the tone breaks off or comes too late to be measured", "close what else keeps the computer busy"
        )

    def _play(self, sent: NDArray[np.float32]) -> None:
        with self._gate:
            # Under the lock: a halt that comes between would be forgotten by the next signal.
            if self._halted:
                raise Halted
            if self._player is not None:
                self._player.play(sent)

    def halt(self) -> None:
        """Silence now, refuse whatever else would sound, and end the step; may come from any thread."""
        with self._gate:
            self._halted = True
        self.silence()
        self._ear.halt()

    def silence(self) -> None:
        """Fade out whatever sounds."""
        if self._player is not None:
            self._player.stop()

    def close(self) -> None:
        """Silence, then release output and input."""
        if self._player is not None:
            self._player.close()
        self._ear.close()

    def _prepared(self, step: Step) -> NDArray[np.float32] | None:
        """The samples of a step, refused before anybody keys anything if they are too much."""
        if step.signal is None:
            return None
        if self._player is None or self._scale is None:
            raise RequestError(
                "this procedure sends tones, and no output is learned",
                "learn one with 'audiotest send learn'",
            )
        if self._player.rate_hz != step.signal.rate_hz:
            raise RequestError(
                f"the output runs at {self._player.rate_hz} Hz, the signal at {step.signal.rate_hz} Hz",
                "open the output at the signal's rate",
            )
        return prepare(step.signal, step.level_mv, self._scale)


Recorder = Callable[[float], NDArray[np.float32]]
"""Records both channels of an input for so many seconds; shape (n, 2)."""


class IqBench:
    """Carries out steps that only listen to an I/Q feed; a `Bench` without an output."""

    def __init__(
        self, record: Recorder, rate_hz: int, technician: Technician, *, swapped: bool = False
    ) -> None:
        self._record = record
        self._rate_hz = rate_hz
        self._technician = technician
        self._swapped = swapped
        self._halted = False

    def perform(self, step: Step) -> Heard:
        """Have the settings made, then record left and right.

        Raises `RequestError` for a step that needs audio, `Halted` when it is to end.
        """
        if step.feed != "iq" or step.signal is not None:
            raise RequestError("this bench only listens to I and Q", "use a bench with audio for this step")
        answers = self._technician(step)
        stereo = self._record(step.settle_s + step.listen_s)
        if self._halted:
            raise Halted
        iq = complex_feed(stereo[round(step.settle_s * self._rate_hz) :], swapped=self._swapped)
        return Heard(samples=iq, rate_hz=self._rate_hz, answers=answers)

    def halt(self) -> None:
        """End the step once its recording is through."""
        self._halted = True

    def silence(self) -> None:
        """Nothing sounds here."""

    def close(self) -> None:
        """Nothing stays open here."""
