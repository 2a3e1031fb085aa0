"""From a monitor receiver's audio to deviation, with the learned scale of the feed."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from audiotest.errors import MeasureError, RequestError
from audiotest.measure.cycle import Cycle, measure_cycle
from audiotest.measure.filters import undo_deemphasis
from audiotest.measure.level import overload_runs
from audiotest.records import Feed
from audiotest.tones.steps import Heard

FLAT_HIGH_HZ = 6000.0
DEEMPHASISED_HIGH_HZ = 3600.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Monitor:
    """A feed whose scale is known."""

    feed: Feed

    @property
    def high_hz(self) -> float:
        """Up to where modulation is read: a de-emphasised feed has nothing but noise above speech."""
        return FLAT_HIGH_HZ if self.feed.deemphasis_us == 0.0 else DEEMPHASISED_HIGH_HZ

    def deviation_khz(self, heard: Heard) -> NDArray[np.float64]:
        """Deviation over time in kHz, shape (n,).

        Raises
        ------
        MeasureError
            The sound card overloads.
        """
        samples = np.real(heard.samples)
        if overload_runs(samples) > 0:
            raise MeasureError(
                "the sound card overloads", "lower the receiver's volume, and learn the feed again"
            )
        tau_us = self.feed.deemphasis_us or 0.0
        flat = undo_deemphasis(samples, heard.rate_hz, tau_us, self.high_hz)
        return np.asarray(flat * self.feed.scale_khz_per_fs)

    def cycle(self, heard: Heard, tone_hz: float) -> Cycle:
        """The deviation's cycle at a tone, in kHz; see `audiotest.measure.cycle`."""
        return measure_cycle(self.deviation_khz(heard), heard.rate_hz, tone_hz, high_hz=self.high_hz)


def scaled(feed: Feed | None) -> Monitor:
    """The monitor for a feed; `RequestError` when its scale was never learned."""
    if feed is None:
        raise RequestError(
            "deviation needs a feed with a learned scale", "learn it with 'audiotest feed', then give --feed"
        )
    return Monitor(feed=feed)
