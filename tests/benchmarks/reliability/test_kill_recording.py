"""A recording killed a hundred times: how much audio each kill cost. Run by hand, a few minutes."""

import os
from pathlib import Path

import numpy as np
import pytest

from tests.keep.killing import kill_once

KILLS = int(os.environ.get("AUDIOTEST_KILLS", "100"))
PROMISE_S = 1.0


@pytest.mark.parametrize("rate_hz", [8000, 48000])
def test_no_kill_costs_more_than_a_second(tmp_path: Path, rate_hz: int) -> None:
    rng = np.random.default_rng(rate_hz)
    outcomes = [kill_once(tmp_path, rate_hz, after_s=float(rng.uniform(0.1, 2.2))) for _ in range(KILLS // 2)]
    lost_s = [outcome.lost_s for outcome in outcomes]
    print(
        f"\n{rate_hz} Hz, {len(outcomes)} kills: lost {np.mean(lost_s):.3f} s on average, "
        f"{max(lost_s):.3f} s at most; kept {sum(outcome.kept_n for outcome in outcomes) / rate_hz:.0f} s"
    )
    assert all(outcome.exact for outcome in outcomes)
    assert max(lost_s) <= PROMISE_S
