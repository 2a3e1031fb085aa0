"""The measuring fails in the middle of a run: it ends with that error, and what was heard before is kept."""

import numpy as np
import pytest
from numpy.typing import NDArray

from audiotest.feeds.simulated import SimulatedSource
from audiotest.records import Over
from audiotest.session.engine import Engine
from audiotest.session.worker import Ended, OverHeard, Worker, WorkerEvent
from tests.robust.material import LIMITS, RATE_HZ, over


class Failing(Engine):
    """An engine that fails at the push that reaches a moment."""

    fails_at_s = 3.0

    def push(self, samples: NDArray[np.floating]) -> list[Over]:
        if self.duration_s >= self.fails_at_s:
            raise ZeroDivisionError("by chance")
        return super().push(samples)


def test_an_exception_in_the_measuring_ends_the_run_and_keeps_the_overs() -> None:
    audio = np.tile(over(), 4)
    events: list[WorkerEvent] = []
    source = SimulatedSource(audio, RATE_HZ)
    worker = Worker(source, Failing(RATE_HZ, feed=None, limits=LIMITS), events.append)
    worker.start()
    assert worker.join(30.0)
    heard = [event.over for event in events if isinstance(event, OverHeard)]
    # The second over is cut off where the measuring failed, and measured as far as it went.
    assert [found.kind for found in heard] == ["voice", "voice"]
    assert heard[-1].end_s == pytest.approx(3.0, abs=0.7)
    assert isinstance(events[-1], Ended)
    assert isinstance(worker.error, ZeroDivisionError)
    worker.stop()
