"""First-order emphasis against its closed form, on the response and on samples."""

import numpy as np
import pytest

from audiotest.measure.filters import deemphasis, emphasis_response, undo_deemphasis
from audiotest.standards.emphasis import EMPHASIS_TABLE, TABLE_HZ, gain_db

RATE_HZ = 16000
FIRST_ORDER = [row for row in EMPHASIS_TABLE if row.tau_us is not None]


def change_db(measured, reference):
    """Level change of the middle half, where no end matters."""
    inside = slice(len(measured) // 4, 3 * len(measured) // 4)
    return 20 * np.log10(np.std(measured[inside]) / np.std(reference[inside]))


@pytest.mark.parametrize("row", FIRST_ORDER, ids=lambda row: f"{row.tau_us:g} us")
def test_table_of_time_constants(row):
    # Textbook first-order network, gain re 1 kHz; the table is rounded to 0.01 dB, the corner to 0.1 Hz.
    gain = np.abs(emphasis_response(np.array([*TABLE_HZ, 1000.0]), row.tau_us))
    assert 20 * np.log10(gain) == pytest.approx([*row.gains_db, 0.0], abs=0.0051)
    assert row.corner_hz == pytest.approx(1e6 / (2 * np.pi * row.tau_us), abs=0.051)


def test_ideal_slope_and_how_far_750_us_is_from_it():
    # 20·log10(f / 1 kHz); from 300 Hz to 1 kHz a time constant of 750 µs rises 1.57 dB less.
    ideal = next(row for row in EMPHASIS_TABLE if row.tau_us is None)
    assert ideal.gains_db == pytest.approx(20 * np.log10(np.array(TABLE_HZ) / 1000.0), abs=0.00051)
    usual = next(row for row in EMPHASIS_TABLE if row.tau_us == 750.0)
    assert usual.gains_db[0] - ideal.gains_db[0] == pytest.approx(1.57, abs=0.01)


@pytest.mark.parametrize("row", EMPHASIS_TABLE, ids=lambda row: f"{row.tau_us} us")
def test_closed_form_gives_the_rows_of_the_table(row):
    # The ideal row is rounded to 0.001 dB, the others to 0.01 dB.
    rounding = 0.00051 if row.tau_us is None else 0.0051
    gains = [gain_db(hz, row.tau_us) for hz in TABLE_HZ]
    assert gains == pytest.approx(row.gains_db, abs=rounding)
    assert gain_db(1000.0, row.tau_us) == 0.0


@pytest.mark.parametrize("row", FIRST_ORDER, ids=lambda row: f"{row.tau_us:g} us")
@pytest.mark.parametrize("hz", [*TABLE_HZ, 1000.0])
def test_samples_get_the_gain_and_the_phase_of_the_network(row, hz):
    # The analogue network at every frequency up to 3 kHz, though the rate is only 16 kHz.
    t = np.arange(RATE_HZ) / RATE_HZ
    tone = np.cos(2 * np.pi * hz * t)
    turn = 2e-6 * np.pi * row.tau_us
    response = (1 + 1j * turn * hz) / abs(1 + 1j * turn * 1000.0)
    expected = np.real(np.exp(2j * np.pi * hz * t) / response)
    lowered = deemphasis(tone, RATE_HZ, row.tau_us)
    inside = slice(RATE_HZ // 4, 3 * RATE_HZ // 4)
    # 1e-3: what the continuation beyond either end still adds a quarter of a second further in.
    assert np.max(np.abs(lowered[inside] - expected[inside])) < 1e-3 * np.max(np.abs(expected))
    restored = undo_deemphasis(lowered, RATE_HZ, row.tau_us)
    assert change_db(restored, tone) == pytest.approx(0.0, abs=0.01)
