"""The receiver under test: level arithmetic, noise theory, its true sensitivity, its squelch."""

from dataclasses import replace

import numpy as np
import pytest

from audiotest.errors import RequestError
from audiotest.measure.sensitivity import dbm_of_microvolt, rf_level
from audiotest.measure.sinad import read_sinad
from audiotest.radio.bench import (
    ReceiverUnderTest,
    cnr_of_level,
    level_of_cnr,
    receive_levels,
    receive_tone,
    true_levels,
)
from audiotest.radio.settings import Receiver

UNIT = ReceiverUnderTest(receiver=Receiver(if_bandwidth_khz=10.0), noise_figure_db=10.0)
WIDE = ReceiverUnderTest(
    receiver=Receiver(if_bandwidth_khz=15.0, deemphasis_us=0.0, highpass_hz=None, lowpass_hz=None,
                      scale_khz_per_fs=1.0)
)  # fmt: skip


def band_power(audio: np.ndarray, low_hz: float = 300.0, high_hz: float = 3400.0) -> float:
    """Mean square of a band, whole spectrum of 48 kHz audio."""
    power = 2.0 * np.abs(np.fft.rfft(audio.astype(float)) / len(audio)) ** 2
    hz = np.fft.rfftfreq(len(audio), 1 / 48000)
    return float(np.sum(power[(hz >= low_hz) & (hz <= high_hz)]))


def test_level_noise_figure_and_bandwidth_add_up():
    """kTB: -174 dBm/Hz + 10 dB + 10·lg(10 kHz) = -124 dBm of noise (textbook); 0.5 µV across 50 Ω is
    -113.01 dBm (P = U²/R)."""
    assert cnr_of_level(-124.0, UNIT) == pytest.approx(0.0, abs=1e-9)
    assert cnr_of_level(dbm_of_microvolt(0.5), UNIT) == pytest.approx(10.99, abs=0.01)
    assert level_of_cnr(cnr_of_level(-101.3, UNIT), UNIT) == pytest.approx(-101.3)
    assert 10 * np.log10(1.380649e-23 * 290 * 1e3) == pytest.approx(-174.0, abs=0.03)
    assert rf_level(level_of_cnr(0.0, UNIT)).microvolt_emf == pytest.approx(0.2822, abs=1e-3)


@pytest.mark.parametrize("level_dbm", [-100.0, -90.0])
def test_above_threshold_the_noise_is_the_triangle(level_dbm):
    """S/N = (Δf²/2)/(N0/C·(f2³-f1³)/3), N0/C from level and noise figure (textbook).

    4 s of 3.1 kHz scatter by 0.04 dB; the IF of order 4 passes the sidebands of 1.5 kHz within 0.1 dB.
    """
    heard = receive_tone(level_dbm, 1000.0, 1.5, 4.2, WIDE, seed=1).audio[4800:-4800]
    whole = band_power(heard)
    tone = band_power(heard, 999.0, 1001.0)
    density = 10 ** (-cnr_of_level(level_dbm, WIDE) / 10) / 15e3
    expected_db = 10 * np.log10(1.5e3**2 / 2 / (density * (3400**3 - 300**3) / 3))
    assert 10 * np.log10(tone / (whole - tone)) == pytest.approx(expected_db, abs=0.25)
    assert tone == pytest.approx(1.5**2 / 2, rel=0.02)


def test_a_generator_switched_off_leaves_the_hiss():
    quiet = receive_levels([None, -90.0, None], 1.0, 1000.0, 0.0, WIDE, seed=2)
    off, on, again = (band_power(quiet.audio[k * 48000 + 4800 : (k + 1) * 48000 - 4800]) for k in range(3))
    assert off == pytest.approx(again, rel=0.1)
    assert 10 * np.log10(off / on) > 30
    assert [step.level_dbm for step in quiet.steps] == [None, -90.0, None]


@pytest.mark.parametrize(
    "unit", [UNIT, ReceiverUnderTest(receiver=Receiver(if_bandwidth_khz=15.0, if_order=6))]
)
def test_true_levels_are_where_an_independent_run_finds_them(unit):
    """Other noise, through the whole audio path, read with the SINAD meter, to four standard deviations."""
    true = true_levels(unit)
    assert true.sinad_12_dbm < true.sinad_20_psophometric_dbm < true.sinad_20_dbm
    for level, target, psophometric in (
        (true.sinad_12_dbm, 12.0, False),
        (true.sinad_20_dbm, 20.0, False),
        (true.sinad_20_psophometric_dbm, 20.0, True),
    ):
        heard = receive_tone(level, 1000.0, 1.5, 6.0, unit, seed=77)
        found = read_sinad(heard.audio[4800:-4800], 48000)
        value, sd = (
            (found.psophometric_db, found.psophometric_sd_db)
            if psophometric
            else (found.sinad_db, found.sinad_sd_db)
        )
        # Plus the truth's own scatter, 0.07 dB of level, which is 0.15 dB of SINAD on the steep part.
        assert value == pytest.approx(target, abs=4 * np.hypot(sd, 0.1))


def test_true_quieting_is_where_an_independent_run_finds_it():
    true = true_levels(UNIT)
    heard = receive_levels([None, true.quieting_20_dbm], 6.0, 1000.0, 0.0, UNIT, seed=78).audio
    hiss, quiet = (band_power(heard[k * 288000 + 4800 : (k + 1) * 288000 - 4800]) for k in range(2))
    assert 10 * np.log10(hiss / quiet) == pytest.approx(20.0, abs=0.4)


def test_a_better_noise_figure_is_so_much_more_sensitive():
    worse = true_levels(UNIT, seconds=4.0)
    better = true_levels(replace(UNIT, noise_figure_db=4.0), seconds=4.0)
    assert worse.sinad_12_dbm - better.sinad_12_dbm == pytest.approx(6.0)
    assert worse.quieting_20_dbm - better.quieting_20_dbm == pytest.approx(6.0)


def test_a_narrow_if_never_reaches_a_clean_tone_of_too_much_deviation():
    """3.4 kHz in an IF of 5 kHz: distortion alone keeps SINAD below 20 dB at any level."""
    narrow = ReceiverUnderTest(receiver=Receiver(if_bandwidth_khz=5.0, if_order=6, mistune_khz=0.8))
    assert true_levels(narrow, deviation_khz=3.4, seconds=4.0).sinad_20_dbm is None


def test_the_squelch_opens_and_shuts_at_its_own_two_levels():
    unit = replace(UNIT, squelch_open_dbm=-112.0, squelch_close_dbm=-116.0)
    levels = [None, -118.0, -114.0, -112.0, -114.0, -116.0, -117.0, -114.0]
    heard = receive_levels(levels, 0.4, 1000.0, 1.5, unit, seed=3)
    states = [False, False, False, True, True, True, False, False]
    assert [step.squelch_is_open for step in heard.steps] == states
    step_n = round(0.4 * 48000)
    for k, is_open in enumerate(states):
        settled = heard.audio[k * step_n + 12000 : (k + 1) * step_n - 1000]
        assert (np.std(settled) > 1e-3) == is_open
    # It opens 50 ms after the level rose, and the tail lasts 120 ms.
    opens = heard.audio[3 * step_n : 4 * step_n]
    assert np.flatnonzero(np.abs(opens) > 1e-3)[0] / 48000 == pytest.approx(0.05, abs=0.003)
    shuts = heard.audio[6 * step_n : 7 * step_n]
    assert np.flatnonzero(np.abs(shuts) > 1e-3)[-1] / 48000 == pytest.approx(0.12, abs=0.003)


def test_a_squelch_that_makes_no_sense_is_refused():
    with pytest.raises(RequestError, match="two levels"):
        ReceiverUnderTest(squelch_open_dbm=-110.0)
    with pytest.raises(RequestError, match="cannot shut"):
        ReceiverUnderTest(squelch_open_dbm=-115.0, squelch_close_dbm=-110.0)
