"""Anything a source may hand over, pushed through the engine: finite readings and overs, no exception."""

from dataclasses import asdict

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from audiotest.advise.rules import advise
from audiotest.feeds.feedfile import load_feed
from audiotest.feeds.file import IMPOSSIBLE_FS
from audiotest.feeds.protocol import WILDEST_FS
from audiotest.records import Over
from audiotest.session.engine import Engine
from audiotest.terminal.document import file_entry
from tests.robust.material import FEED_TOML, LIMITS, PATH_TOML, RATE_HZ, not_finite, over

WHATS = (
    "over", "noise", "tone", "zero", "constant", "nan", "infinite", "denormal", "square", "huge", "wild",
    "largest", "speck", "repeated", "empty",
)  # fmt: skip
Part = tuple[str, int, float, int]
PARTS = st.lists(
    st.tuples(
        st.sampled_from(WHATS), st.integers(1, 6000), st.sampled_from((1.0, 0.3, 0.01, 1e-5)),
        st.sampled_from((0, 0, 0, 1, 480, 10**9)),
    ),
    min_size=1, max_size=12,
)  # fmt: skip


def block(what: str, count_n: int, gain: float, rng: np.random.Generator) -> NDArray[np.float32]:
    """A stretch of what a source might hand over in its best or its worst hour."""
    n = np.arange(count_n)
    noise = gain * rng.standard_normal(count_n)
    if what == "over":
        made: NDArray[np.floating] = gain * over()
    elif what == "noise":
        made = np.clip(noise, -1.0, 1.0)
    elif what == "tone":
        made = gain * np.sin(2.0 * np.pi * 0.125 * n)
    elif what == "constant":
        made = np.full(count_n, gain)
    elif what == "square":
        made = gain * np.sign(np.sin(2.0 * np.pi * 0.02 * n))
    elif what == "denormal":
        made = noise * 1e-42
    elif what == "huge":
        made = np.clip(30.0 * noise, -IMPOSSIBLE_FS, IMPOSSIBLE_FS)
    elif what == "wild":
        made = WILDEST_FS * np.sign(noise)
    elif what == "largest":
        made = np.where(n % 5 == 0, np.finfo(np.float32).max, noise)
    elif what == "repeated":
        made = np.tile(noise[:37], count_n // 37 + 1)
    elif what == "empty":
        made = noise[:0]
    else:
        made = np.zeros(count_n)
        if what != "zero":
            made[::7] = {"nan": np.nan, "infinite": -np.inf, "speck": 1e-30}[what]
    return made.astype(np.float32)


def hold(engine: Engine, overs: list[Over]) -> None:
    """Hold everything the engine tells to be finite."""
    records = [asdict(engine.input_reading()), asdict(engine.reading()), *map(asdict, overs)]
    fault = not_finite(records)
    assert fault is None, fault


@settings(max_examples=40)
@given(
    rate_hz=st.sampled_from((RATE_HZ, 6000, 44100, 48000)), parts=PARTS, seed=st.integers(0, 2**32 - 1),
    with_feed=st.booleans(), pause_s=st.sampled_from((None, 0.3)),
)  # fmt: skip
def test_no_block_upsets_the_engine(
    tmp_path_factory: pytest.TempPathFactory, rate_hz: int, parts: list[Part], seed: int, with_feed: bool,
    pause_s: float | None,
) -> None:  # fmt: skip
    feed = None
    if with_feed:
        path = tmp_path_factory.getbasetemp() / "feed.toml"
        path.write_bytes(FEED_TOML + PATH_TOML)
        feed = load_feed(path)
    rng = np.random.default_rng(seed)
    engine = Engine(rate_hz, feed=feed, limits=LIMITS, pause_ends_over_s=pause_s)
    overs: list[Over] = []
    pushed_n = 0
    for what, count_n, gain, lost_n in parts:
        samples = block(what, count_n, gain, rng)
        pushed_n += len(samples)
        engine.mark_lost(lost_n)
        overs += engine.push(samples)
        hold(engine, overs)
    overs += engine.finish()
    hold(engine, overs)
    assert engine.duration_s == pytest.approx(pushed_n / rate_hz)
    assert engine.reading().lost_n == sum(lost_n for _, _, _, lost_n in parts)
    judged = [(one, advise(one, LIMITS, scale_uncertainty_db=1.0)) for one in overs]
    entry = file_entry("-", rate_hz, engine.duration_s, engine.input_reading(), judged, engine.notes)
    fault = not_finite(entry)
    assert fault is None, fault


@pytest.mark.parametrize("bad", [3e38, -3e38, 1e300, np.inf, np.nan])
def test_a_bad_sample_costs_itself_only(bad: float) -> None:
    """An over with a sample in it that no sound card gives is the over with that sample at zero."""
    good = np.tile(over(), 2).astype(np.float64)
    good[:: RATE_HZ // 2] = 0.0
    spoilt = good.copy()
    spoilt[:: RATE_HZ // 2] = bad
    found = []
    for samples in (good, spoilt):
        engine = Engine(RATE_HZ, feed=None, limits=LIMITS)
        overs = engine.push(samples) + engine.finish()
        hold(engine, overs)
        found.append((overs, engine.input_reading()))
    assert [each.kind for each in found[0][0]] == ["voice", "voice"]
    assert found[0] == found[1]
