"""``audiotest check`` on real files, good and bad: exit status, one-line errors, the document."""

import json
import math
import os
import subprocess
import sys
import time
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile

from audiotest.__main__ import main

REPOSITORY = Path(__file__).parents[2]
RATE_HZ = 16000
FILE_KEYS = {"file", "sample_rate_hz", "duration_s", "input", "overs", "notes", "error"}
INPUT_KEYS = {"peak_dbfs", "rms_dbfs", "dc_percent_fs", "overload_runs", "verdict"}


def babble(seconds: float, rate_hz: int) -> np.ndarray:
    """A buzz with the rhythm of syllables: enough of a voice for the machinery, none for a judgement."""
    time_s = np.arange(round(seconds * rate_hz)) / rate_hz
    pitch = np.sin(2 * np.pi * (120 * time_s + 3 * np.sin(2 * np.pi * 0.7 * time_s)))
    buzz = np.tanh(6 * pitch) * (0.55 + 0.45 * np.sin(2 * np.pi * 3.1 * time_s)) ** 2
    return 0.25 * buzz + 0.002 * np.random.default_rng(3).standard_normal(len(time_s))


def write(path: Path, samples: np.ndarray, rate_hz: int = RATE_HZ, subtype: str | None = None) -> str:
    soundfile.write(path, samples, rate_hz, subtype=subtype)
    return str(path)


@pytest.fixture
def clip(tmp_path: Path) -> str:
    return write(tmp_path / "clip.wav", babble(3.0, RATE_HZ))


def check_json(capsys, *arguments: str) -> tuple[int, dict[str, Any], str]:
    status = main(["check", "--json", *arguments])
    captured = capsys.readouterr()
    return status, json.loads(captured.out, parse_constant=pytest.fail), captured.err


def every_number(value: Any):
    if isinstance(value, dict):
        value = list(value.values())
    if isinstance(value, list):
        for inner in value:
            yield from every_number(inner)
    elif isinstance(value, float):
        yield value


def test_a_clip_gives_a_whole_entry(capsys, clip):
    status, whole, errors = check_json(capsys, clip)
    assert (status, errors) == (0, "")
    assert set(whole) == {"schema", "limits", "feed", "files"}
    entry = whole["files"][0]
    assert set(entry) == FILE_KEYS
    assert set(entry["input"]) == INPUT_KEYS
    assert entry["error"] is None
    assert entry["sample_rate_hz"] == RATE_HZ
    assert entry["duration_s"] == pytest.approx(3.0)
    assert len(entry["overs"]) == 1
    assert all(math.isfinite(number) for number in every_number(whole))


def test_without_a_scale_deviation_is_null_with_its_reason(capsys, clip):
    _, whole, _ = check_json(capsys, clip)
    entry = whole["files"][0]
    assert entry["overs"][0]["deviation"]["peak_khz"] is None
    assert any("over 1: deviation unknown" in note for note in entry["notes"])


@pytest.mark.parametrize(
    ("name", "content"),
    [
        ("empty.wav", b""),
        ("words.wav", b"this is a letter and no recording\n" * 50),
        ("words.txt", b"neither is this"),
        ("header.wav", b"RIFF\x24\x00\x00\x00WAVEfmt "),
    ],
)
def test_what_is_no_recording_is_refused_in_one_line(capsys, tmp_path, name, content):
    path = tmp_path / name
    path.write_bytes(content)
    for arguments in (["check", str(path)], ["check", "--json", str(path)]):
        assert main(arguments) == 2
        errors = capsys.readouterr().err
        assert errors.count("\n") == 1
        assert errors.startswith("audiotest: ")
        assert name in errors
        assert "Traceback" not in errors


def test_a_missing_file_a_directory_and_a_name_with_a_newline(capsys, tmp_path):
    for path in (tmp_path / "none.wav", tmp_path, tmp_path / "two\nlines.wav"):
        assert main(["check", str(path)]) == 2
        assert capsys.readouterr().err.count("\n") == 1


def test_a_truncated_file_is_measured_as_far_as_it_goes(capsys, tmp_path, clip):
    content = Path(clip).read_bytes()
    cut = tmp_path / "cut.wav"
    cut.write_bytes(content[: len(content) * 3 // 5])
    status, whole, _ = check_json(capsys, str(cut))
    entry = whole["files"][0]
    assert status == 0
    assert entry["duration_s"] == pytest.approx(1.8, abs=0.1)
    assert any("breaks off" in note for note in entry["notes"])


def test_samples_that_are_no_numbers_are_an_error(capsys, tmp_path):
    path = write(tmp_path / "nan.wav", np.full(RATE_HZ, np.nan), subtype="FLOAT")
    status, whole, errors = check_json(capsys, path)
    entry = whole["files"][0]
    assert status == 2
    assert errors.count("\n") == 1
    assert set(entry) == FILE_KEYS
    assert "nan.wav" in entry["error"]
    assert entry["overs"] == []


def test_silence_is_measured_as_silent(capsys, tmp_path):
    path = write(tmp_path / "zero.wav", np.zeros(3 * RATE_HZ))
    status, whole, _ = check_json(capsys, path)
    entry = whole["files"][0]
    assert status == 0
    assert entry["input"]["verdict"] == "silent"
    assert entry["input"]["peak_dbfs"] is None
    assert "silence: wrong input or channel?" in entry["notes"][0]
    for over in entry["overs"]:
        assert over["advice"]["mic_gain"] == over["advice"]["deviation"] == "unknown"


@pytest.mark.parametrize(("offset", "noted"), [(0.7, True), (-0.2, True), (0.02, False)])
def test_a_large_steady_offset_is_noted_with_its_cure(capsys, tmp_path, offset, noted):
    path = write(tmp_path / "dc.wav", 0.3 * babble(3.0, RATE_HZ) + offset)
    _, whole, _ = check_json(capsys, path)
    entry = whole["files"][0]
    assert entry["input"]["dc_percent_fs"] == pytest.approx(100 * offset, abs=0.5)
    said = [note for note in entry["notes"] if "offset (DC)" in note]
    assert len(said) == noted
    if noted:
        assert f"{abs(100 * offset):.0f} % of full scale" in said[0]
        assert "capacitor" in said[0]


@pytest.mark.parametrize("times", [1.5, 3.0, 50.0])
def test_an_over_far_beyond_full_scale_gets_no_advice_but_what_to_do(capsys, tmp_path, times):
    samples = babble(3.0, RATE_HZ)
    path = write(tmp_path / "float.wav", times / np.max(np.abs(samples)) * samples, subtype="FLOAT")
    status, whole, _ = check_json(capsys, path)
    entry = whole["files"][0]
    (over,) = entry["overs"]
    assert status == 0
    assert (entry["input"]["verdict"] == "overloaded") == (times > 2.0)
    assert ("beyond full scale" in over["advice"]["sentence"]) == (times > 2.0)
    if times > 2.0:
        assert over["advice"]["mic_gain"] == over["advice"]["deviation"] == "unknown"
        assert "record again at a lower level" in over["advice"]["sentence"]


@pytest.mark.parametrize("seconds", [0.2, 0.5, 1.0])
def test_a_fraction_of_a_word_is_too_short_and_not_only_a_carrier(capsys, tmp_path, seconds):
    path = write(tmp_path / "short.wav", babble(3.0, RATE_HZ)[: round(seconds * RATE_HZ)])
    _, whole, _ = check_json(capsys, path)
    (over,) = whole["files"][0]["overs"]
    assert over["advice"]["mic_gain"] == over["advice"]["deviation"] == "unknown"
    assert over["advice"]["sentence"].startswith("First talk for at least five seconds")


def test_one_sample_does_no_harm(capsys, tmp_path):
    path = write(tmp_path / "one.wav", np.array([0.5]))
    status, whole, _ = check_json(capsys, path)
    entry = whole["files"][0]
    assert (status, entry["error"], entry["overs"]) == (0, None, [])
    assert entry["notes"][-1].startswith("no over found")


@pytest.mark.parametrize(
    ("rate_hz", "channels", "subtype"),
    [(8000, 1, "PCM_U8"), (48000, 3, "PCM_16"), (384000, 1, "PCM_24"), (44100, 2, "FLOAT")],
)
def test_odd_formats_are_measured(capsys, tmp_path, rate_hz, channels, subtype):
    samples = np.zeros((3 * rate_hz, channels))
    samples[:, -1] = babble(3.0, rate_hz)
    path = write(tmp_path / "odd.wav", samples, rate_hz, subtype)
    status, whole, errors = check_json(capsys, path)
    entry = whole["files"][0]
    assert (status, errors, entry["error"]) == (0, "", None)
    assert entry["sample_rate_hz"] == rate_hz
    assert entry["input"]["verdict"] == "good"
    assert len(entry["overs"]) == 1


def test_the_channel_can_be_chosen(capsys, tmp_path):
    samples = np.zeros((3 * RATE_HZ, 2))
    samples[:, 1] = babble(3.0, RATE_HZ)
    path = write(tmp_path / "stereo.wav", samples)
    _, dead, _ = check_json(capsys, path, "--channel", "1")
    _, live, _ = check_json(capsys, path, "--channel", "2")
    assert dead["files"][0]["input"]["verdict"] == "silent"
    assert live["files"][0]["input"]["verdict"] == "good"
    assert main(["check", path, "--channel", "3"]) == 2
    assert "channel 3" in capsys.readouterr().err


def test_one_bad_file_does_not_stop_the_others(capsys, tmp_path, clip):
    bad = tmp_path / "bad.wav"
    bad.write_bytes(b"")
    status, whole, errors = check_json(capsys, clip, str(bad), clip)
    assert status == 2
    assert [entry["error"] is None for entry in whole["files"]] == [True, False, True]
    assert whole["files"][0]["overs"] == whole["files"][2]["overs"] != []
    assert errors.count("\n") == 1
    assert main(["check", clip, str(bad)]) == 2
    assert "1 of 2 files measured." in capsys.readouterr().out


def test_unknown_limits_and_feeds_are_named(capsys, tmp_path, clip):
    assert main(["check", clip, "--limits", "moon-12k5"]) == 2
    captured = capsys.readouterr()
    assert "moon-12k5" in captured.err
    assert captured.out == ""
    assert main(["check", clip, "--feed", str(tmp_path / "none.toml")]) == 2
    captured = capsys.readouterr()
    assert "none.toml" in captured.err
    assert captured.err.count("\n") == 1


def test_the_card_of_a_clip_piped(audiotest, clip):
    done = audiotest("check", clip)
    assert (done.returncode, done.stderr) == (0, "")
    assert "\x1b" not in done.stdout
    assert max(len(line) for line in done.stdout.splitlines()) <= max(80, len(clip))
    assert "mic gain" in done.stdout


@pytest.mark.skipif(os.name == "nt", reason="pipes end differently there")
@pytest.mark.parametrize("arguments", [["limits"], ["check", "--json"], ["check"]])
def test_a_reader_that_goes_away_is_no_fault(clip, arguments):
    if arguments[0] == "check":
        arguments = [*arguments, clip]
    reading, writing = os.pipe()
    os.close(reading)
    try:
        done = subprocess.run(
            [sys.executable, "-m", "audiotest", *arguments],
            stdout=writing,
            stderr=subprocess.PIPE,
            env={**os.environ, "PYTHONPATH": str(REPOSITORY)},
            check=False,
        )
    finally:
        os.close(writing)
    assert done.stderr == b""
    assert done.returncode == 0


@pytest.mark.skipif(os.name == "nt", reason="pipes end differently there")
@pytest.mark.parametrize("unbuffered", ["", "1"])
def test_a_reader_that_wants_one_line_gets_it_and_no_complaint(unbuffered):
    """As ``limits | head -1`` does, whether it goes before the last line is written or after it."""
    for late_s in (0.0, 0.0, 1.0):
        with subprocess.Popen(
            [sys.executable, "-m", "audiotest", "limits"], stdout=subprocess.PIPE, stderr=subprocess.PIPE,
            env={**os.environ, "PYTHONPATH": str(REPOSITORY), "PYTHONUNBUFFERED": unbuffered}, bufsize=0,
        ) as process:  # fmt: skip
            assert process.stdout.readline().startswith(b"uk-27fm")
            time.sleep(late_s)
            process.stdout.close()
            assert process.wait(60.0) == 0
            assert process.stderr.read() == b""
