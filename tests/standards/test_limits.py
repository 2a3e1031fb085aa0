"""Limit sets and channel plans against the published rasters."""

import re
from itertools import pairwise

import pytest

from audiotest.errors import RequestError
from audiotest.standards.limits import LIMIT_SETS, channel_frequency, get_limits

DEVIATION_KHZ = {
    "uk-27fm": 2.5,  # MPT 1320, second hand
    "cept-27fm": 2.0,  # EN 300 433 family, second hand
    "pmr446": 2.5,  # from memory
    "land-12k5": 2.5,  # second hand
    "land-20k": 4.0,  # from memory
    "land-25k": 5.0,  # second hand
    "amateur-12k5": 2.5,  # ukrepeater.net
    "amateur-25k": 5.0,  # ukrepeater.net
}


def test_the_sets_and_their_deviations():
    assert {limits.id: limits.deviation_khz for limits in LIMIT_SETS} == DEVIATION_KHZ


@pytest.mark.parametrize("limits", LIMIT_SETS, ids=lambda limits: limits.id)
def test_every_source_says_how_well_it_is_founded(limits):
    assert re.search(r"published|second hand|from memory", limits.source)
    assert get_limits(limits.id) is limits


def test_an_unknown_set_is_refused_with_the_ids_there_are():
    with pytest.raises(RequestError) as refused:
        get_limits("uk-27am")
    assert "uk-27am" in refused.value.what
    assert all(limits_id in refused.value.remedy for limits_id in DEVIATION_KHZ)


def test_uk_channels():
    # MPT 1320: 27.60125 MHz + 10 kHz x (n - 1), n 1 to 40, the last 27.99125 MHz.
    plan = [channel_frequency("uk-27fm", n) for n in range(1, 41)]
    assert (plan[0], plan[-1]) == (27.60125, 27.99125)
    assert {round(1e5 * (b - a)) for a, b in pairwise(plan)} == {1000}


def test_cept_channels():
    # ECC/DEC/(11)03: 40 channels on 26.965-27.405 MHz without five frequencies.
    plan = [channel_frequency("cept-27fm", n) for n in range(1, 41)]
    assert len(set(plan)) == 40
    assert (min(plan), max(plan)) == (26.965, 27.405)
    assert not {26.995, 27.045, 27.095, 27.145, 27.195} & set(plan)
    # From memory: 23 to 25 out of order; 19 on 27.185 MHz.
    assert plan[22:25] == [27.255, 27.235, 27.245]
    assert plan[18] == 27.185
    assert plan[25] == 27.265


def test_pmr446_channels():
    # ECC/DEC/(15)05: 446.00625 MHz + 12.5 kHz x (n - 1), n 1 to 16, the last 446.19375 MHz.
    plan = [channel_frequency("pmr446", n) for n in range(1, 17)]
    assert (plan[0], plan[-1]) == (446.00625, 446.19375)
    assert {round(1e5 * (b - a)) for a, b in pairwise(plan)} == {1250}


@pytest.mark.parametrize(
    ("limits_id", "channel"), [("uk-27fm", 0), ("uk-27fm", 41), ("pmr446", 17), ("land-25k", 1)]
)
def test_a_channel_that_does_not_exist_is_refused(limits_id, channel):
    with pytest.raises(RequestError, match=limits_id):
        channel_frequency(limits_id, channel)
