"""Loudness against the published check values of ITU-R BS.1770 and EBU Tech 3341.

Sources: ITU-R BS.1770-4, annex 1: a full-scale 997 Hz sine in one front channel reads -3.01 LKFS. EBU Tech
3341 (2016), table 1, test signals 1 to 5 of the minimum requirements, from memory: 1 kHz sines, integrated
loudness within ±0.1 LU. There the sines are stereo and in phase, and -23.0 dBFS peak in both channels reads
-23.0 LUFS: two channels have 3.01 dB more power than one. The program measures one channel: 3.01 LU less are
expected.
"""

import numpy as np
import pytest
from numpy.typing import NDArray

from audiotest.keep.loudness import integrated_loudness_lufs

RATES_HZ = (48000, 44100)
ONE_OF_TWO_LU = 10.0 * np.log10(2.0)
Steps = tuple[tuple[float, float], ...]

CASES: dict[str, tuple[Steps, float]] = {
    "1": (((20.0, -23.0),), -23.0),
    "2": (((20.0, -33.0),), -33.0),
    "3": (((10.0, -36.0), (60.0, -23.0), (10.0, -36.0)), -23.0),
    "4": (((10.0, -72.0), (10.0, -36.0), (60.0, -23.0), (10.0, -36.0), (10.0, -72.0)), -23.0),
    "5": (((20.0, -26.0), (20.1, -20.0), (20.0, -26.0)), -23.0),
}
"""Seconds and peak dBFS of each stretch, and the integrated loudness of the stereo signal in LUFS."""


def sines(steps: Steps, rate_hz: int, hz: float = 1000.0) -> NDArray[np.float32]:
    level = np.concatenate([np.full(round(s * rate_hz), 10.0 ** (dbfs / 20.0)) for s, dbfs in steps])
    return (level * np.sin(2.0 * np.pi * hz / rate_hz * np.arange(len(level)))).astype(np.float32)


@pytest.mark.parametrize("rate_hz", RATES_HZ)
@pytest.mark.parametrize("case", list(CASES))
def test_ebu_minimum_requirements(case: str, rate_hz: int) -> None:
    steps, stereo_lufs = CASES[case]
    found = integrated_loudness_lufs(sines(steps, rate_hz), rate_hz)
    assert found == pytest.approx(stereo_lufs - ONE_OF_TWO_LU, abs=0.1)


@pytest.mark.parametrize("rate_hz", RATES_HZ)
def test_a_full_scale_997_hz_sine(rate_hz: int) -> None:
    found = integrated_loudness_lufs(sines(((10.0, 0.0),), rate_hz, 997.0), rate_hz)
    assert found == pytest.approx(-3.01, abs=0.1)


def test_the_gates_are_at_minus_70_and_10_below() -> None:
    rate_hz = 48000
    steps, _ = CASES["4"]
    # At 1 kHz the weighting's gain and the constant of annex 1 cancel: the mean square is the loudness.
    ungated = 10.0 * np.log10(np.mean(sines(steps, rate_hz).astype(np.float64) ** 2))
    gated = integrated_loudness_lufs(sines(steps, rate_hz), rate_hz)
    assert gated is not None
    assert gated - ungated > 1.5
    assert integrated_loudness_lufs(sines(((5.0, -75.0),), rate_hz), rate_hz) is None
