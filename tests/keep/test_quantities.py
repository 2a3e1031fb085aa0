"""Typed readings: what is understood, what is refused, and with what words."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from audiotest.errors import RequestError
from audiotest.keep.quantities import (
    QUANTITIES,
    check_point,
    example,
    implausible,
    impossible,
    parse_reading,
    show,
)


@pytest.mark.parametrize(
    ("key", "text", "expected"),
    [
        ("deviation", "1.8 kHz", 1.8),
        ("deviation", "1800Hz", 1.8),
        ("deviation", "2k5", 2.5),
        ("deviation", "2k5Hz", 2.5),
        ("deviation", "2,5 khz", 2.5),
        ("sensitivity", "0.35 uV", 0.35),
        ("sensitivity", "0,350 µV", 0.35),
        ("sensitivity", "350 nV", 0.35),
        ("sensitivity", "0u35", 0.35),
        ("sensitivity", "0.7 uV emf", 0.35),
        ("sensitivity", "0.35 uV pd", 0.35),
        ("supply-voltage", "13V8", 13.8),
        ("supply-voltage", "13.8 V", 13.8),
        ("current-receive", "350 mA", 0.35),
        ("current-transmit", "1A2", 1.2),
        ("power", "4W", 4.0),
        ("power", "500 mW", 0.5),
        ("power", "36 dBm", 3.981071706),
        ("swr", "1.4", 1.4),
        ("swr", "1.4:1", 1.4),
        ("swr", "1 : 1.4", 1.4),
        ("frequency", "27.60125 MHz", 27.60125),
        ("frequency", "27601.25 kHz", 27.60125),
        ("frequency", "27M60125", 27.60125),
        ("frequency-error", "-350 Hz", -350.0),
        ("frequency-error", "−0.35 kHz", -350.0),
        ("drive", "+4 dB", 4.0),
        ("distortion", "3 %", 3.0),
        ("mic-level", "10 mV", 10.0),
    ],
)
def test_what_one_writes_is_understood(key: str, text: str, expected: float) -> None:
    assert parse_reading(key, text) == pytest.approx(expected, rel=1e-9)


def test_one_microvolt_in_fifty_ohms_is_minus_107_dbm() -> None:
    # P = V²/R: (1 µV)² / 50 Ω = 2e-14 W = -106.99 dBm.
    assert parse_reading("sensitivity", "-106.9897 dBm") == pytest.approx(1.0, rel=1e-5)


def test_ppm_are_of_the_channel() -> None:
    assert parse_reading("frequency-error", "10 ppm", nominal_mhz=27.60125) == pytest.approx(276.0125)
    with pytest.raises(RequestError, match="channel is not known"):
        parse_reading("frequency-error", "10 ppm")


@pytest.mark.parametrize(
    ("key", "text", "words"),
    [
        ("deviation", "2.5", "has no unit"),
        ("deviation", "2.5 W", "is not such a reading"),
        ("deviation", "about 2 kHz", "is not such a reading"),
        ("deviation", "", "is not such a reading"),
        ("deviation", "2V5", "is not such a reading"),
        ("deviation", "nan kHz", "is not such a reading"),
        ("deviation", "1,350 Hz", "two ways"),
        ("deviation", "1,000.5 Hz", "two ways"),
        ("power", "99999999999 dBm", "is not such a reading"),
        ("power", "4 W " * 20, "too long"),
        ("swr", "1.4 W", "is not such a reading"),
        ("swr", "1:0", "is not such a reading"),
        ("sensitivity", "0.3 uV rms", "is not such a reading"),
        ("volume", "3", "no reading is called"),
    ],
)
def test_what_is_not_a_reading_is_refused_with_the_reason(key: str, text: str, words: str) -> None:
    with pytest.raises(RequestError, match=words):
        parse_reading(key, text)


def test_a_forgotten_prefix_is_noticed() -> None:
    assert "expected" in (implausible("sensitivity", parse_reading("sensitivity", "0.35 V")) or "")
    assert "expected" in (implausible("power", parse_reading("power", "4 MW")) or "")
    assert implausible("power", 4.0) is None


def test_what_no_set_can_give_is_never_taken() -> None:
    assert impossible("swr", 0.9)
    assert impossible("power", -1.0)
    assert impossible("deviation", float("nan"))
    assert impossible("deviation", 2.5) is None


def test_points_belong_to_the_s_meter() -> None:
    assert check_point("s-meter", "s9+20") == "S9+20"
    for key, point in (("s-meter", ""), ("s-meter", "S12"), ("power", "S9")):
        with pytest.raises(RequestError):
            check_point(key, point)


@pytest.mark.parametrize("key", QUANTITIES)
def test_the_example_of_each_quantity_is_itself_understood(key: str) -> None:
    for text in example(key).split(" or "):
        value = parse_reading(key, text)
        assert impossible(key, value) is None
        assert implausible(key, value) is None


@given(st.sampled_from(sorted(QUANTITIES)), st.floats(0.06, 0.999))
def test_what_is_shown_reads_back(key: str, share: float) -> None:
    quantity = QUANTITIES[key]
    value = quantity.lowest + share * (quantity.highest - quantity.lowest)
    back = parse_reading(key, show(key, value))
    assert back == pytest.approx(value, abs=0.51 * 10.0**-quantity.digits, rel=5e-3)


@given(st.sampled_from(sorted(QUANTITIES)), st.text(max_size=60))
def test_whatever_is_typed_gives_a_number_or_a_reason(key: str, text: str) -> None:
    try:
        value = parse_reading(key, text, nominal_mhz=27.6)
    except RequestError:
        return
    assert math.isfinite(value)
