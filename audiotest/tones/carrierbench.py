"""A bench that sees a carrier in I and Q, and hears the FM receiver afterwards."""

from collections.abc import Callable

from audiotest.tones.live import IqBench, LiveBench
from audiotest.tones.steps import Heard, Step


class CarrierBench:
    """Carries out steps on an I/Q feed, and those that listen to audio on an input that it opens for them.

    Both may be one and the same receiver and input: the audio is opened only when the first step asks for
    it, and I and Q are not open in between.

    Parameters
    ----------
    iq : IqBench
        With the technician.
    open_audio : callable
        Opens the bench for audio, with the same technician.
    """

    def __init__(self, iq: IqBench, open_audio: Callable[[], LiveBench]) -> None:
        self._iq = iq
        self._open_audio = open_audio
        self._audio: LiveBench | None = None
        self._halted = False

    def perform(self, step: Step) -> Heard:
        """Have the settings made, then record what the step listens to."""
        if step.feed == "iq":
            return self._iq.perform(step)
        if self._audio is None:
            self._audio = self._open_audio()
        if self._halted:
            self._audio.halt()
        return self._audio.perform(step)

    def halt(self) -> None:
        """End the step; may come from any thread."""
        self._halted = True
        self._iq.halt()
        if self._audio is not None:
            self._audio.halt()

    def silence(self) -> None:
        """Nothing sounds here."""

    def close(self) -> None:
        """Let go of the audio, if it was opened."""
        if self._audio is not None:
            self._audio.close()
