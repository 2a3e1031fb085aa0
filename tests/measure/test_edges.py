"""The change-point of noise power, and the squelch tail."""

import numpy as np
import pytest
from scipy.signal import butter, ellip, resample_poly, sosfilt

from audiotest.measure.edges import change_point, squelch_tail_start, unnoticed_tail_start
from audiotest.radio.voices import load_voice

RATE_HZ = 48000


@pytest.mark.parametrize("ratio_db", [8.0, 20.0, 40.0])
@pytest.mark.parametrize("rising", [False, True])
def test_change_point_is_found_within_four_milliseconds(ratio_db, rising):
    for seed in range(10):
        rng = np.random.default_rng(seed)
        at = int(rng.integers(RATE_HZ // 20, RATE_HZ // 5))
        gain = np.ones(RATE_HZ // 4)
        gain[at:] = 10 ** ((ratio_db if rising else -ratio_db) / 20)
        found = change_point(gain * rng.standard_normal(len(gain)), RATE_HZ)
        assert abs(found - at) <= 0.004 * RATE_HZ


def test_squelch_tail_starts_where_the_carrier_dropped():
    rng = np.random.default_rng(1)
    quiet = 0.003 * rng.standard_normal(2 * RATE_HZ)
    voice = 0.2 * np.sin(2 * np.pi * 220 * np.arange(2 * RATE_HZ) / RATE_HZ)
    over = np.concatenate(
        [quiet + voice, quiet[: RATE_HZ // 5], 0.3 * rng.standard_normal(RATE_HZ * 12 // 100)]
    )
    found = squelch_tail_start(over, RATE_HZ)
    assert found is not None
    assert abs(found - len(over) + 0.12 * RATE_HZ) < 0.01 * RATE_HZ


def test_chance_breaks_no_long_tail():
    """Three tenths of a second of hiss: of two hundred looks at a band some stray far."""
    for seed in range(40):
        rng = np.random.default_rng(seed)
        quiet = 0.003 * rng.standard_normal(RATE_HZ)
        voice = 0.2 * np.sin(2 * np.pi * 220 * np.arange(RATE_HZ) / RATE_HZ)
        hiss = 0.2 * rng.standard_normal(RATE_HZ * 3 // 10)
        over = np.concatenate([quiet + voice, quiet[: RATE_HZ // 5], hiss])
        over = sosfilt(butter(3, [300, 3000], "band", fs=RATE_HZ, output="sos"), over)
        found = squelch_tail_start(over, RATE_HZ)
        assert found is not None
        assert abs(found - len(over) + 0.3 * RATE_HZ) < 0.015 * RATE_HZ, seed


@pytest.mark.parametrize("seed", range(4))
def test_a_tail_through_a_steep_audio_filter(seed):
    """A receiver made of software: its filter ends inside a band, and over it is the sound card's noise."""
    rng = np.random.default_rng(seed)
    quiet = 0.003 * rng.standard_normal(2 * RATE_HZ)
    voice = 0.2 * np.sin(2 * np.pi * 220 * np.arange(2 * RATE_HZ) / RATE_HZ)
    over = np.concatenate([quiet + voice, quiet[: RATE_HZ // 5], 0.3 * rng.standard_normal(RATE_HZ // 5)])
    over = sosfilt(ellip(9, 0.1, 60.0, [260, 3020], "band", fs=RATE_HZ, output="sos"), over)
    found = squelch_tail_start(over + 1e-5 * rng.standard_normal(len(over)), RATE_HZ)
    assert found is not None
    assert abs(found - len(over) + 0.2 * RATE_HZ) < 0.015 * RATE_HZ


def test_no_tail_no_answer():
    rng = np.random.default_rng(2)
    assert squelch_tail_start(0.01 * rng.standard_normal(2 * RATE_HZ), RATE_HZ) is None


def over_as_quiet_as_the_squelch(tail: np.ndarray, quiet_s: float) -> np.ndarray:
    """A voice, 0.2 s of bare carrier, `tail`, and a closed squelch that is just as quiet as the carrier."""
    voice, voice_hz = load_voice("english_reading")
    voice = resample_poly(voice[: 3 * voice_hz], RATE_HZ, voice_hz)
    over = np.concatenate([0.3 * voice, np.zeros(RATE_HZ // 5), tail, np.zeros(round(quiet_s * RATE_HZ))])
    return over + 2e-4 * np.random.default_rng(5).standard_normal(len(over))


@pytest.mark.parametrize("tail_s", [0.04, 0.1, 0.3])
@pytest.mark.parametrize("quiet_s", [0.2, 6.0])
def test_a_tail_is_found_where_nothing_else_tells_the_carrier_from_none(
    tail_s: float, quiet_s: float
) -> None:
    hiss = 0.1 * np.random.default_rng(6).standard_normal(round(tail_s * RATE_HZ))
    over = over_as_quiet_as_the_squelch(hiss, quiet_s)
    found = unnoticed_tail_start(over, RATE_HZ)
    assert found is not None
    assert abs(found - len(over) + (tail_s + quiet_s) * RATE_HZ) < 0.01 * RATE_HZ


def test_what_fades_or_never_ends_is_no_squelch_s_tail() -> None:
    fading = (
        0.1 * np.random.default_rng(7).standard_normal(RATE_HZ // 8) * np.linspace(1.0, 0.0, RATE_HZ // 8)
    )
    assert unnoticed_tail_start(over_as_quiet_as_the_squelch(fading, 0.5), RATE_HZ) is None
    broken_off = np.random.default_rng(9).standard_normal(RATE_HZ // 4) * np.repeat([0.1, 0.01], RATE_HZ // 8)
    assert unnoticed_tail_start(over_as_quiet_as_the_squelch(broken_off, 0.0), RATE_HZ) is None
    hiss = 0.1 * np.random.default_rng(8).standard_normal(RATE_HZ // 2)
    assert unnoticed_tail_start(over_as_quiet_as_the_squelch(hiss, 0.0), RATE_HZ) is None
    assert unnoticed_tail_start(np.zeros(100), RATE_HZ) is None


def test_a_loud_part_before_digital_silence_leaves_no_power_below_nothing():
    rng = np.random.default_rng(0)
    for loud_n in range(400, 2000, 16):
        audio = np.concatenate([rng.uniform(-1.0, 1.0, loud_n), np.zeros(64)])
        assert change_point(audio, 8000) == pytest.approx(loud_n, abs=80)
