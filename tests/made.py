"""Invented records that more than one room's tests need."""

from typing import Any

from audiotest.records import Feed, PathResponse


def flat_path(**changes: Any) -> PathResponse:
    """A learnt path that lets everything through as it is."""
    hz = tuple(float(at) for at in range(150, 3301, 50))
    nought = (0.0,) * len(hz)
    usual: dict[str, Any] = {
        "hz": hz, "gain_db": nought, "phase_rad": nought, "gain_error_db": nought,
        "phase_error_rad": nought, "drive_db": 24.0, "softness_db": 0.0, "even_db": None,
        "tones_hz": (200.0,),
    }  # fmt: skip
    return PathResponse(**(usual | changes))


def bench_feed(**changes: Any) -> Feed:
    """A feed whose scale a 1 kHz tone taught: 750 µs, 16 kHz at full scale."""
    usual: dict[str, Any] = {
        "name": "bench", "method": "tone", "scale_khz_per_fs": 16.0, "scale_uncertainty_db": 0.2,
        "deemphasis_us": 750.0, "tone_hz": 1000.0, "deviation_khz": 1.5, "if_bandwidth_khz": None,
        "hiss_dbfs": None, "learned": "",
    }  # fmt: skip
    return Feed(**(usual | changes))
