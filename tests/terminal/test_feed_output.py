"""``audiotest feed ... -o``: a recording and a stranger's file survive a slip of the keys."""

import os
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import soundfile

from audiotest.__main__ import main
from audiotest.feeds.scale import load_feed, save_feed
from audiotest.records import Feed, PathResponse
from audiotest.terminal import feed as feed_command

RATE_HZ = 48000
FEED = Feed(
    name="bench", method="tone", scale_khz_per_fs=6.25, scale_uncertainty_db=0.2, deemphasis_us=750.0,
    tone_hz=1000.0, deviation_khz=1.5, if_bandwidth_khz=None, hiss_dbfs=-14.5, learned="2024-02-29",
)  # fmt: skip
EIGHT = tuple(float(k) for k in range(1, 9))
PATH = PathResponse(
    hz=EIGHT, gain_db=EIGHT, phase_rad=EIGHT, gain_error_db=EIGHT, phase_error_rad=EIGHT, drive_db=20.0,
    softness_db=0.0, even_db=None, tones_hz=EIGHT,
)  # fmt: skip


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


@pytest.mark.parametrize("way", ["learn", "hiss", "learn-path"])
def test_a_feed_that_another_takes_the_place_of_is_kept_and_that_is_said(
    tone: Path, tmp_path: Path, capsys, monkeypatch, way: str
) -> None:
    output = tmp_path / "bench.toml"
    save_feed(FEED, output)
    # What is learned is another matter, tested elsewhere.
    learned = replace(FEED, scale_khz_per_fs=9.0)
    monkeypatch.setattr(feed_command, "_learn", lambda *_: learned)
    monkeypatch.setattr(feed_command, "learn_path", lambda *_: PATH)
    more = {
        "learn": ["--tone-hz", "1000", "--deviation-khz", "1.5"],
        "hiss": ["--if-bandwidth-khz", "8"],
        "learn-path": ["--feed", str(output)],
    }[way]
    assert main(["feed", way, str(tone), *more, "-o", str(output)]) == 0
    said = " ".join(capsys.readouterr().out.split())
    assert "The feed that was in that file is kept as" in said
    assert load_feed(tmp_path / "bench.toml.before") == FEED
    assert load_feed(output) != FEED


def test_a_first_feed_and_the_same_again_keep_nothing(tone: Path, tmp_path: Path, capsys) -> None:
    output = tmp_path / "bench.toml"
    assert learn(tone, str(output)) == 0
    assert "is kept as" not in capsys.readouterr().out
    save_feed(load_feed(output), output)
    assert {found.name for found in tmp_path.iterdir()} == {"tone.wav", "bench.toml"}


def test_a_stranger_under_the_name_to_keep_it_by_stops_it_and_nothing_is_lost(
    tone: Path, tmp_path: Path, capsys
) -> None:
    output, stranger = tmp_path / "bench.toml", tmp_path / "bench.toml.before"
    save_feed(FEED, output)
    stranger.write_text("notes of the day")
    assert learn(tone, str(output)) == 2
    errors = capsys.readouterr().err
    assert "bench.toml.before: is there already and is not a feed file" in errors
    assert errors.count("\n") == 1
    assert load_feed(output) == FEED
    assert stranger.read_text() == "notes of the day"
