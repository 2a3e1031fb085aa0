"""Whether a tone that was sent is heard in time: a busy computer starts it late, or breaks it off."""

import numpy as np
from numpy.typing import NDArray

from audiotest.measure.arrival import has_break, tone_start, tone_trace
from audiotest.tones.signals import Signal
from audiotest.tones.steps import Step

FADE_S = 0.05
STEADY = 0.9
MOST_LATE_S = 2.0
UNSEEN_S = 1.0
"""A tone that is not told from noise in the usual time gets so much more to appear in, once."""
REMARK = "a tone was heard late, and listened to for longer: the computer is busy"


def steady_tone_of(signal: Signal) -> float | None:
    """The strongest tone of a signal that keeps its level from start to end; None for any other signal."""
    if not signal.tones_hz:
        return None
    edge_n = round(FADE_S * signal.rate_hz)
    traces = {hz: tone_trace(signal.samples[edge_n:-edge_n], signal.rate_hz, hz) for hz in signal.tones_hz}
    hz = max(traces, key=lambda each: float(np.median(traces[each])) if len(traces[each]) else 0.0)
    trace = traces[hz]
    return hz if len(trace) and float(np.min(trace)) > STEADY * float(np.max(trace)) else None


class Punctuality:
    """Watches one step's tone from the moment that it was handed to the sound card.

    The usual case leaves out ``delay_s`` for the way there and back and the step's own settling. A tone that
    begins later, or again after a break, is listened to for as much longer, so that what is measured has
    settled.
    """

    def __init__(self, step: Step, rate_hz: int, delay_s: float) -> None:
        self._step, self._rate_hz, self._delay_s = step, rate_hz, delay_s
        signal = step.signal if step.feed == "audio" else None
        self._tone_hz = None if signal is None else steady_tone_of(signal)
        self._patience_s = UNSEEN_S
        self._start_s = delay_s
        self.usual_s = delay_s + step.settle_s + step.listen_s
        self._lost = False

    def lacking_s(self, heard: NDArray[np.float32]) -> float:
        """For how many seconds more to listen, given what was heard so far, shape (n,); 0 is enough."""
        if self._tone_hz is None:
            return 0.0
        start_s = tone_start(heard, self._rate_hz, self._tone_hz)
        if start_s is None:
            more_s, self._patience_s = self._patience_s, 0.0
            # It was seen before and is not now: it ended while it was listened to.
            self._lost = not more_s and self._start_s > self._delay_s
            return more_s
        self._start_s = max(start_s, self._delay_s)
        if self._start_s > self._delay_s + MOST_LATE_S:
            self._lost = True
            return 0.0
        lacking_n = round(self._end_s * self._rate_hz) - len(heard)
        return max(lacking_n, 0) / self._rate_hz

    @property
    def _end_s(self) -> float:
        return self._start_s + self._step.settle_s + self._step.listen_s

    @property
    def remark(self) -> str:
        """What to say about it; empty in the usual case."""
        return REMARK if self._start_s > self._delay_s else ""

    def broken(self, heard: NDArray[np.float32]) -> bool:
        """Whether what is to be measured of what was heard, shape (n,), lacks some of the tone."""
        if self._tone_hz is None:
            return False
        return self._lost or has_break(self.settled(heard), self._rate_hz, self._tone_hz)

    def settled(self, heard: NDArray[np.float32]) -> NDArray[np.float32]:
        """The part of what was heard that is to be measured, shape (n,)."""
        first_n = round((self._start_s + self._step.settle_s) * self._rate_hz)
        return heard[first_n : first_n + round(self._step.listen_s * self._rate_hz)]
