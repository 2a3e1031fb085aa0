"""Tone tables: how many, how far apart, and how the sets relate."""

from itertools import pairwise

import numpy as np
import pytest

from audiotest.standards import tones


def neighbours(table_hz):
    """Gap in Hz and as a share of the lower tone, with that tone, for each pair of neighbours."""
    table_hz = sorted(table_hz)
    return [(b - a, (b - a) / a, a) for a, b in pairwise(table_hz)]


def test_sub_audible_tones_count_and_closest_neighbours():
    # EIA RS-220 / TIA-603 tones as in public lists; the gaps follow from the lists.
    assert len(set(tones.SUBAUDIBLE_COMMON_HZ)) == 38
    assert len(set(tones.SUBAUDIBLE_HZ)) == 50
    assert (min(tones.SUBAUDIBLE_HZ), max(tones.SUBAUDIBLE_HZ)) == (67.0, 254.1)
    closest = min(neighbours(tones.SUBAUDIBLE_COMMON_HZ), key=lambda gap: gap[1])
    assert (closest[2], round(100 * closest[1], 2)) == (97.4, 2.67)
    closest = min(neighbours(tones.SUBAUDIBLE_HZ), key=lambda gap: gap[1])
    assert (closest[2], round(100 * closest[1], 2)) == (165.5, 1.45)
    smallest = min(neighbours(tones.SUBAUDIBLE_HZ))
    assert (smallest[2], round(smallest[0], 2)) == (67.0, 2.3)


def test_sub_audible_tones_follow_their_law():
    # Twenty tones to the octave: the lists' runs keep to it within what rounding to 0.1 Hz and their makers
    # left, so that a wrong digit would stand out. The law was found in the lists themselves, no source.
    step = 2.0 ** (1.0 / 20.0)
    for first_hz, last_hz in ((67.0, 94.8), (100.0, 192.8), (203.5, 250.3)):
        run = [hz for hz in tones.SUBAUDIBLE_COMMON_HZ if first_hz <= hz <= last_hz]
        if first_hz == 67.0:
            run = sorted([*run, 69.3])
        for low, high in pairwise(run):
            assert high / low == pytest.approx(step, rel=0.0035)


def test_tones_that_were_added_stand_half_way_between_their_neighbours():
    # Found in the lists, no source: all but those next to a gap or at an end.
    common = sorted(tones.SUBAUDIBLE_COMMON_HZ)
    between = [hz for hz in tones.SUBAUDIBLE_EXTRA_HZ if hz not in (69.3, 196.6, 199.5, 254.1)]
    assert len(between) == 8
    for hz in between:
        low, high = max(c for c in common if c < hz), min(c for c in common if c > hz)
        assert hz == pytest.approx((low * high) ** 0.5, rel=0.0035)


def test_uk_sub_audible_tones():
    # MPT 1306, Radio & RF Engineering Pocket Book §16.1: 32 tones, all of them common ones, no 100.0 Hz.
    assert len(set(tones.SUBAUDIBLE_UK_HZ)) == 32
    assert set(tones.SUBAUDIBLE_UK_HZ) < set(tones.SUBAUDIBLE_COMMON_HZ)
    assert 100.0 not in tones.SUBAUDIBLE_UK_HZ
    # Table 16.2: ±200 to 400 Hz in 12.5 kHz channels, twice that in 25 kHz channels.
    assert tones.SUBAUDIBLE_DEVIATION_KHZ == {12.5: (0.2, 0.4), 25.0: (0.4, 0.8)}


def test_letters_of_uk_repeaters_are_common_tones():
    # ukrepeater.net: letters A to J.
    letters = (67.0, 71.9, 77.0, 82.5, 88.5, 94.8, 103.5, 110.9, 118.8)
    assert set(letters) <= set(tones.SUBAUDIBLE_COMMON_HZ)


def test_dual_tones():
    # ITU-T Q.23: eight frequencies, sixteen keys.
    assert tones.DTMF_ROWS_HZ == (697.0, 770.0, 852.0, 941.0)
    assert tones.DTMF_COLUMNS_HZ == (1209.0, 1336.0, 1477.0, 1633.0)
    assert sorted("".join(tones.DTMF_KEYS)) == sorted("0123456789ABCD*#")
    # Neighbours in a group stand as 21 to 19 (found in the list, no source), rounded to whole hertz.
    for group_hz in (tones.DTMF_ROWS_HZ, tones.DTMF_COLUMNS_HZ):
        for low, high in pairwise(group_hz):
            assert high / low == pytest.approx(21.0 / 19.0, rel=1.2e-3)
    # No tone is within 3.5 % (the bound for rejection, second hand) of a harmonic of another, 2nd or 3rd.
    every = np.array(tones.DTMF_ROWS_HZ + tones.DTMF_COLUMNS_HZ)
    for order in (2, 3):
        assert np.min(np.abs(np.log(order * every[:, None] / every[None, :]))) > np.log(1.035)


def test_five_tone_sets():
    sets = {each.name: each for each in tones.FIVE_TONE_SETS}
    # Public lists: CCIR and EEA share their digits; 100 and 40 ms; repeat 2110 Hz.
    assert sets["CCIR"].digits_hz == sets["EEA"].digits_hz
    assert (sets["CCIR"].tone_s, sets["EEA"].tone_s) == (0.1, 0.04)
    assert sets["CCIR"].digits_hz[0] == 1124.0
    assert sets["CCIR"].digits_hz[-1] == 1981.0
    # Second hand: the digits of EIA are 141 Hz apart, from 600 Hz for 0.
    eia = sets["EIA"].digits_hz
    assert [eia[-1], *eia[:-1]] == [600.0 + 141.0 * n for n in range(10)]
    assert sets["EIA"].repeat_hz == 600.0 - 141.0
    # The upper end of ZVEI-1 goes in steps of 200 Hz, its group tone (from memory) among them.
    zvei = sets["ZVEI-1"]
    upper = [*zvei.digits_hz[-3:], zvei.repeat_hz, zvei.group_hz]
    assert upper == [2000.0 + 200.0 * n for n in range(5)]
    # The ten digits of CCIR and its repeat tone are one geometric series (found in the list, no source).
    series = [*sets["CCIR"].digits_hz, sets["CCIR"].repeat_hz]
    ratio = (series[-1] / series[0]) ** 0.1
    assert series == pytest.approx([series[0] * ratio**n for n in range(11)], rel=5e-4)
    # The group tone of EEA is its next step down.
    assert sets["EEA"].group_hz == pytest.approx(series[0] / ratio, rel=5e-4)
    # A decoder that accepts ±1.5 % (from memory) can tell any two tones of a set apart.
    for each in tones.FIVE_TONE_SETS:
        used = {*each.digits_hz, each.repeat_hz, *([each.group_hz] if each.group_hz else [])}
        assert len(used) == len(each.digits_hz) + 1 + (each.group_hz is not None)
        assert min(gap[1] for gap in neighbours(used)) > 0.03


def test_repeater_burst():
    # ukrepeater.net.
    assert pytest.approx(1750.0) == tones.REPEATER_BURST_HZ


@pytest.mark.parametrize("tone_hz", tones.SUBAUDIBLE_HZ)
def test_an_encoder_within_its_tolerance_is_recognised(tone_hz):
    # TIA-603: encoders keep within 0.5 % (from memory).
    for share in (-0.005, 0.0, 0.005):
        assert tones.nearest_subaudible(tone_hz * (1 + share)) == tone_hz


@pytest.mark.parametrize("hz", [50.0, 60.0, 66.0, 68.1, 101.7, 260.0])
def test_a_frequency_between_tones_is_none_of_them(hz):
    assert tones.nearest_subaudible(hz) is None
