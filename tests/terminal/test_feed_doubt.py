"""``audiotest feed``: a de-emphasis that the hiss contradicts, and numbers out of range by their option."""

from pathlib import Path

import numpy as np
import pytest
import soundfile
from scipy.signal import lfilter

from audiotest.__main__ import main

RATE_HZ = 48000


@pytest.fixture(params=[0.0, 750.0], ids=["flat", "falling"])
def hiss(request: pytest.FixtureRequest, tmp_path: Path) -> tuple[Path, float]:
    noise = 0.1 * np.random.default_rng(1).standard_normal(3 * RATE_HZ)
    if request.param:
        pole = np.exp(-1.0 / (RATE_HZ * request.param * 1e-6))
        noise = lfilter([1.0 - pole], [1.0, -pole], noise)
    path = tmp_path / "hiss.wav"
    soundfile.write(path, noise, RATE_HZ, subtype="FLOAT")
    return path, request.param


@pytest.mark.parametrize("stated_us", [0.0, 530.0, 750.0])
def test_a_slope_that_contradicts_the_stated_de_emphasis_is_told(
    hiss: tuple[Path, float], stated_us: float, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    path, true_us = hiss
    request = ["feed", "hiss", str(path), "--if-bandwidth-khz", "8", "--deemphasis-us", f"{stated_us:g}"]
    assert main([*request, "-o", str(tmp_path / "bench.toml")]) == 0
    errors = capsys.readouterr().err
    if (stated_us > 0.0) == (true_us > 0.0):
        assert errors == ""
        return
    assert errors.count("\n") == 1
    assert ("flat feed (0 µs)" if true_us == 0.0 else "750 µs is usual") in errors


@pytest.mark.parametrize(
    ("way", "options", "named"),
    [
        ("learn", {"--tone-hz": "1e9", "--deviation-khz": "1.5"}, "--tone-hz"),
        ("learn", {"--tone-hz": "1000", "--deviation-khz": "1e9"}, "--deviation-khz"),
        ("learn", {"--tone-hz": "1000", "--deviation-khz": "1e-9"}, "--deviation-khz"),
        ("hiss", {"--if-bandwidth-khz": "1e9"}, "--if-bandwidth-khz"),
        ("hiss", {"--if-bandwidth-khz": "8", "--deemphasis-us": "1e9"}, "--deemphasis-us"),
    ],
)
def test_a_number_out_of_range_is_told_by_its_option(
    hiss: tuple[Path, float],
    way: str,
    options: dict[str, str],
    named: str,
    capsys: pytest.CaptureFixture[str],
    tmp_path: Path,
) -> None:
    given = [word for pair in options.items() for word in pair]
    assert main(["feed", way, str(hiss[0]), *given, "-o", str(tmp_path / "bench.toml")]) == 2
    errors = capsys.readouterr().err
    assert f"audiotest: {named}: " in errors
    # The remedy would take the number that it refuses.
    assert "give one above zero" not in errors
    assert errors.count("\n") == 1
