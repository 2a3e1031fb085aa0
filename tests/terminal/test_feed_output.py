"""``audiotest feed ... -o``: a recording and a stranger's file survive a slip of the keys."""

import os
from pathlib import Path

import numpy as np
import pytest
import soundfile

from audiotest.__main__ import main

RATE_HZ = 48000


@pytest.fixture
def tone(tmp_path: Path) -> Path:
    path = tmp_path / "tone.wav"
    t = np.arange(2 * RATE_HZ) / RATE_HZ
    soundfile.write(path, 0.3 * np.sin(2 * np.pi * 1000.0 * t), RATE_HZ)
    return path


def learn(reference: Path, output: str) -> int:
    return main(
        ["feed", "learn", str(reference), "--tone-hz", "1000", "--deviation-khz", "1.5", "-o", output]
    )


@pytest.mark.parametrize("way", ["itself", "hard link", "symbolic link"])
def test_the_recording_survives(tone: Path, tmp_path: Path, capsys, way: str) -> None:
    before = tone.read_bytes()
    output = tmp_path / "other.wav"
    if way == "itself":
        output = tone
    elif way == "hard link":
        os.link(tone, output)
    else:
        output.symlink_to(tone)
    assert learn(tone, str(output)) == 2
    errors = capsys.readouterr().err
    assert "is the recording to learn from" in errors
    assert errors.count("\n") == 1
    assert tone.read_bytes() == before


def test_another_recording_survives(tone: Path, tmp_path: Path, capsys) -> None:
    other = tmp_path / "over.wav"
    other.write_bytes(tone.read_bytes())
    assert learn(tone, str(other)) == 2
    assert "is not a feed file" in capsys.readouterr().err
    assert other.read_bytes() == tone.read_bytes()


@pytest.mark.parametrize("way", ["learn-path", "hiss"])
def test_the_other_ways_take_the_same_care(tone: Path, tmp_path: Path, capsys, way: str) -> None:
    before = tone.read_bytes()
    assert learn(tone, str(tmp_path / "bench.toml")) == 0
    more = {
        "hiss": ["--if-bandwidth-khz", "8"],
        "learn-path": ["--feed", str(tmp_path / "bench.toml")],
    }[way]
    assert main(["feed", way, str(tone), *more, "-o", str(tone)]) == 2
    assert "is the recording to learn from" in capsys.readouterr().err
    assert tone.read_bytes() == before


@pytest.mark.parametrize("output", ["", "-", "n" * 300])
def test_an_output_that_is_no_name_is_refused_in_one_line(
    tone: Path, capsys, monkeypatch, output: str
) -> None:
    monkeypatch.chdir(tone.parent)
    assert learn(tone, output) == 2
    errors = capsys.readouterr().err
    assert "fault of the program" not in errors
    assert errors.count("\n") == 1
    assert [found.name for found in tone.parent.iterdir()] == ["tone.wav"]
