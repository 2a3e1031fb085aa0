"""Gathering hiss from a stream: what is looked at, and what is not."""

import numpy as np
import pytest

from audiotest.session.guard import KEPT_AT_EACH_END_N, HissWatch, hiss_level

RATE_HZ = 48000
BLOCK_N = 960
# White noise of RMS 0.1 over 24 kHz has 3.1 kHz of it in the band: -20 - 8.89 dB.
LEARNED_DBFS = -28.9


def white(seconds, seed=3):
    return 0.1 * np.random.default_rng(seed).normal(size=round(seconds * RATE_HZ)).astype(np.float32)


def hear(watch, samples, block_n=BLOCK_N):
    for start_n in range(0, len(samples), block_n):
        watch.push(samples[start_n : start_n + block_n])
    return watch.drift


def test_hiss_level_of_white_noise():
    level_dbfs, steady = hiss_level(white(0.5), RATE_HZ)
    assert level_dbfs == pytest.approx(LEARNED_DBFS, abs=0.4)
    assert steady
    assert hiss_level(np.zeros(24000), RATE_HZ) == (-120.0, True)
    syllables = white(0.5) * np.where(np.arange(24000) % 12000 < 6000, 1.0, 0.05)
    assert not hiss_level(syllables, RATE_HZ)[1]


@pytest.mark.parametrize("block_n", [160, BLOCK_N, 24000, 100000])
def test_a_moved_volume_control_is_noticed_whatever_the_blocks(block_n):
    watch = HissWatch(RATE_HZ, LEARNED_DBFS, lambda: True)
    assert watch.drift.state == "unknown"
    assert hear(watch, white(16.0), block_n).state == "holds"
    drift = hear(watch, 10 ** (3.0 / 20.0) * white(16.0, seed=4), block_n)
    assert drift.state == "moved"
    assert drift.shift_db == pytest.approx(3.0, abs=0.4)
    assert "3 dB up since the scale was learned" in drift.sentence


def test_nothing_is_looked_at_while_a_carrier_is_up_nor_around_its_edges():
    states = iter([True, True, False, False, True, True, True])
    watch = HissWatch(RATE_HZ, LEARNED_DBFS, lambda: next(states))
    # Piece by piece of half a second: only the second, sixth and seventh lie between two waiting moments.
    drift = hear(watch, np.repeat([1.0, 2.0, 9.0, 9.0, 9.0, 2.0, 2.0], RATE_HZ // 2) * white(3.5), 24000)
    assert drift.readings_n == 3
    assert drift.shift_db == pytest.approx(6.0, abs=0.4)


def test_a_closed_squelch_is_not_a_moved_control():
    watch = HissWatch(RATE_HZ, LEARNED_DBFS, lambda: True)
    hear(watch, white(4.0))
    assert hear(watch, np.zeros(4 * RATE_HZ, dtype=np.float32)).state == "closed"
    assert hear(watch, white(4.0)).state == "holds"


def test_a_scale_from_a_tone_is_held_against_the_first_hiss_however_long_ago():
    watch = HissWatch(1000, None, lambda: True)
    # A rate so low that the band is filtered away would hide the level: the readings are put in by hand.
    watch._readings = [(0.5 * k, -20.0) for k in range(3 * KEPT_AT_EACH_END_N)]
    watch._rate_hz, watch._waited = RATE_HZ, True
    for _ in range(6):
        drift = hear(watch, 2.0 * white(0.5), 24000)
    assert drift.reference == "session"
    assert len(watch._readings) == 2 * KEPT_AT_EACH_END_N
    assert drift.shift_db == pytest.approx(LEARNED_DBFS + 6.0 + 20.0, abs=0.4)
