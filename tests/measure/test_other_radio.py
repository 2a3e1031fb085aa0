"""A radio that shares nothing with the simulated one of the product: the advice has to hold there too."""

import ast
from dataclasses import asdict
from typing import Any

import numpy as np
import pytest
import soundfile as sf

from tests.benchmarks.accuracy import otherradio
from tests.benchmarks.accuracy.listening import measured
from tests.benchmarks.accuracy.otherradio import IQ_HZ, Moments, Monitor, Sender, hear, send
from tests.docs.reading import ROOT

LIMIT_KHZ = 2.5
MOMENTS = Moments(before_s=0.8, lead_s=0.4, after_s=0.2, end_s=0.8)
SENDER: dict[str, Any] = {
    "preemphasis_us": 530.0, "upper_corner_hz": 7000.0, "couplings_hz": (60.0, 150.0), "mic_headroom": 3.0,
    "limiter": "rails", "bend": 0.1, "splatter": "opamp", "order": 4, "corner_hz": 3000.0, "tolerance": 0.05,
    "integrator_hz": 0.0, "whine_hz": 700.0, "whine_share": 0.0, "pull_khz": 0.0, "ambient_db": -40.0,
    "seed": 1,
}  # fmt: skip
BARE: dict[str, Any] = {
    "kind": "bare", "bandwidth_khz": 12.5, "mistune_khz": 0.1, "cnr_db": 35.0, "curve_khz": 0.0,
    "deemphasis_us": 0.0, "low_hz": 1.0, "low_order": 0, "high_hz": 3000.0, "high_order": 0,
    "squelched": False, "opens_s": 0.03, "tail_s": 0.15, "rate_hz": 48000, "coupling_hz": 3.0,
    "level_dbfs": -16.0, "drift_db": 0.1, "noise_dbfs": -85.0, "seed": 2,
}  # fmt: skip
SPEAKER = BARE | {
    "kind": "speaker", "deemphasis_us": 750.0, "low_hz": 200.0, "low_order": 2, "high_order": 2,
    "squelched": True, "curve_khz": 30.0, "rate_hz": 44100,
}  # fmt: skip
SOFTWARE = BARE | {
    "kind": "digital",
    "deemphasis_us": 750.0,
    "low_hz": 250.0,
    "low_order": 1,
    "high_order": 1,
}


def voice(name: str, seconds: float = 9.0) -> tuple[Any, int]:
    samples, rate_hz = sf.read(ROOT / "fixtures" / "speech" / f"{name}.flac", dtype="float64")
    return samples[: round(seconds * rate_hz)], rate_hz


def over(name: str, sender: Sender, monitor: Monitor) -> tuple[Any, dict[str, Any]]:
    samples, truth = hear(send(*voice(name), sender, MOMENTS), monitor, MOMENTS, LIMIT_KHZ)
    receiver = asdict(monitor) | {"if_bandwidth_khz": monitor.bandwidth_khz}
    record = {"limit_khz": LIMIT_KHZ, "receiver": receiver, "truth": truth, "sample_rate_hz": monitor.rate_hz}
    return samples, record


@pytest.mark.parametrize(
    ("name", "sent", "heard", "mic_gain", "deviation"),
    [
        ("english_reading", {"drive_db": 22.0, "ceiling_khz": 1.6}, BARE, "lower", "keep"),
        (
            "italian_male",
            {"drive_db": -13.0, "ceiling_khz": 2.3, "limiter": "diodes", "splatter": "rc", "order": 2},
            SPEAKER, "raise", "unknown",
        ),
        (
            "russian_female", {"drive_db": 18.0, "ceiling_khz": 3.6, "splatter": "switched", "order": 6},
            SOFTWARE, "lower", "lower",
        ),
    ],
)  # fmt: skip
def test_the_advice_holds_on_another_radio(name, sent, heard, mic_gain, deviation):
    samples, record = over(name, Sender(**(SENDER | sent)), Monitor(**heard))
    said = measured(record, samples)
    assert said["overs"] == 1
    assert (said["mic_gain"], said["deviation"]) == (mic_gain, deviation)
    assert abs(said["start_error_s"]) < 0.12
    assert abs(said["end_error_s"]) < 0.05


def test_what_is_heard_of_a_clean_carrier_times_the_scale_is_what_was_sent():
    sender = Sender(**(SENDER | {"drive_db": 12.0, "ceiling_khz": 2.0}))
    monitor = Monitor(**(BARE | {"cnr_db": 80.0, "mistune_khz": 0.0, "drift_db": 0.0, "bandwidth_khz": 20.0}))
    samples, record = over("german_male", sender, monitor)
    truth = record["truth"]
    first, last = (round(truth[key] * monitor.rate_hz) for key in ("start_s", "end_s"))
    inside = samples[first + 2400 : last - 2400] * truth["scale_khz_per_fs"]
    # The rails hold most of the loud frames at one height; the highest peaks tell.
    assert np.max(np.abs(inside)) == pytest.approx(truth["peak_khz"], rel=0.03)
    assert truth["drive_db"] == pytest.approx(12.0, abs=0.01)


def test_a_leaky_integrator_tilts_the_tops_and_lifts_the_peak():
    """A wave held flat by the rails sags behind a phase modulator, and its edges stand higher."""
    clipped = SENDER | {"drive_db": 24.0, "ceiling_khz": 2.0}
    direct, leaky = (
        send(*voice("italian_male", 4.0), Sender(**(clipped | {"integrator_hz": hz})), MOMENTS).truth
        for hz in (0.0, 250.0)
    )
    assert leaky["peak_khz"] > 1.15 * direct["peak_khz"]
    assert leaky["drive_db"] == direct["drive_db"]


def test_the_channel_filter_and_its_noise():
    taps = otherradio.channel_taps(12.5)
    hz = np.fft.rfftfreq(1 << 16, 1.0 / IQ_HZ)
    gain = np.abs(np.fft.rfft(taps, 1 << 16))
    assert gain[hz < 4000.0] == pytest.approx(1.0, abs=0.01)
    assert np.max(gain[hz > 8500.0]) < 0.002
    assert otherradio.noise_bandwidth_khz(taps) == pytest.approx(12.0, abs=0.5)


def test_it_shares_no_code_with_the_product():
    tree = ast.parse((ROOT / "tests" / "benchmarks" / "accuracy" / "otherradio.py").read_text("utf-8"))
    named = {alias.name for node in ast.walk(tree) if isinstance(node, ast.Import) for alias in node.names}
    named |= {node.module or "" for node in ast.walk(tree) if isinstance(node, ast.ImportFrom)}
    assert {name.split(".")[0] for name in named} <= {"numpy", "scipy", "soxr", "dataclasses", "typing"}
