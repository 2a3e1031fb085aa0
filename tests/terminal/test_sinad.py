"""``audiotest sinad`` from the command line: what it says when there is no tone."""

import json
from pathlib import Path

import numpy as np
import pytest
import soundfile

from audiotest.__main__ import main

RATE = 16000


@pytest.fixture
def written(tmp_path: Path):  # type: ignore[no-untyped-def]
    def write(samples) -> str:  # type: ignore[no-untyped-def]
        path = tmp_path / "heard.wav"
        soundfile.write(path, samples, RATE)
        return str(path)

    return write


def test_hiss_has_no_sinad(written, capsys: pytest.CaptureFixture[str]) -> None:  # type: ignore[no-untyped-def]
    file = written(0.1 * np.random.default_rng(1).standard_normal(3 * RATE))
    assert main(["sinad", file]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert len(lines) == 11
    assert all("no steady tone near 1000 Hz" in line and "dB" not in line for line in lines)
    assert main(["sinad", "--json", file]) == 0
    for reading in json.loads(capsys.readouterr().out)["readings"]:
        assert reading["sinad_db"] is reading["sinad_sd_db"] is reading["frequency_hz"] is None
        assert "no steady tone" in reading["note"]


def test_silence_is_said(written, capsys: pytest.CaptureFixture[str]) -> None:  # type: ignore[no-untyped-def]
    assert main(["sinad", written(np.zeros(2 * RATE))]) == 0
    assert capsys.readouterr().out.count("no audio") == 6


def test_a_recording_too_short_is_refused(written, capsys: pytest.CaptureFixture[str]) -> None:  # type: ignore[no-untyped-def]
    assert main(["sinad", written(np.zeros(RATE // 2))]) == 2
    assert "too short for a SINAD reading" in capsys.readouterr().err


@pytest.mark.parametrize("hz", ["5000", "100", "nan"])
def test_a_tone_outside_its_own_band_is_refused(hz: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["sinad", "heard.wav", "--tone-hz", hz]) == 2
    errors = capsys.readouterr().err
    assert "--tone-hz" in errors
    assert "not from 300 to 3000 Hz" in errors
