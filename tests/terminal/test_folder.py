"""``audiotest check DIR``: everything in it, nothing twice, and on from where it was stopped."""

import json
import os
import signal
import subprocess
import sys
import time
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import soundfile

from audiotest.__main__ import main
from audiotest.terminal import folder
from audiotest.terminal.folder import Memory, expand
from tests.keep.benchjob import FEED
from tests.made import flat_path

REPOSITORY = Path(__file__).parents[2]


@pytest.fixture(autouse=True)
def cache(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setattr(folder, "user_cache_path", lambda *_, **__: tmp_path / "cache")
    return tmp_path / "cache"


@pytest.fixture
def recordings(tmp_path: Path) -> Path:
    rng = np.random.default_rng(1)
    place = tmp_path / "tape"
    for name in ("b.wav", "a.flac", "below/c.WAV", "below/deeper/d.ogg"):
        path = place / name
        path.parent.mkdir(parents=True, exist_ok=True)
        soundfile.write(path, 0.05 * rng.standard_normal(16000), 16000, format=path.suffix[1:].upper())
    (place / "notes.txt").write_text("no recording")
    (place / ".hidden.wav").write_bytes(b"")
    (place / "round").symlink_to(place, target_is_directory=True)
    return place


def test_a_folder_is_walked_in_order(recordings: Path) -> None:
    found = [os.path.relpath(file, recordings) for file in expand([str(recordings)])]
    assert found == ["a.flac", "b.wav", "below/c.WAV", "below/deeper/d.ogg"]
    one = str(recordings / "b.wav")
    assert expand([one, str(recordings), one])[0] == one
    assert len(expand([one, str(recordings), one])) == 4


def test_an_empty_folder_is_refused(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    assert main(["check", str(tmp_path)]) == 2
    errors = capsys.readouterr().err
    assert "no recording in it" in errors
    assert errors.count("\n") == 1


def test_an_empty_folder_does_not_stop_the_others(
    capsys: pytest.CaptureFixture[str], recordings: Path, tmp_path: Path
) -> None:
    empty = tmp_path / "empty"
    empty.mkdir()
    assert main(["check", "--json", str(recordings / "b.wav"), str(empty)]) == 2
    out, errors = capsys.readouterr()
    first, second = json.loads(out)["files"]
    assert first["error"] is None
    assert first["sample_rate_hz"] == 16000
    assert second["file"] == str(empty)
    assert "no recording in it" in second["error"]
    assert errors.count("\n") == 1
    assert main(["check", str(recordings / "b.wav"), str(empty)]) == 2
    assert "1 of 2 recordings measured" in " ".join(capsys.readouterr().out.split())


@pytest.mark.parametrize("closed", ["below", "below/deeper"])
def test_a_folder_that_may_not_be_read_is_an_entry_of_its_own(
    recordings: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch, closed: str
) -> None:
    real_list, real_scan, place = os.listdir, os.scandir, str(recordings / closed)

    def refused(real):  # type: ignore[no-untyped-def]
        # Not by chmod: whoever may do everything may read that folder as well.
        def reads(name="."):  # type: ignore[no-untyped-def]
            if os.fspath(name) == place:
                raise PermissionError(13, "Permission denied", place)
            return real(name)

        return reads

    monkeypatch.setattr(os, "listdir", refused(real_list))
    monkeypatch.setattr(os, "scandir", refused(real_scan))
    assert main(["check", "--json", str(recordings)]) == 2
    out, errors = capsys.readouterr()
    files = json.loads(out)["files"]
    failed = [file for file in files if file["error"] is not None]
    assert [file["file"] for file in failed] == [place]
    assert "Permission denied" in failed[0]["error"]
    assert [os.path.basename(file["file"]) for file in files[:2]] == ["a.flac", "b.wav"]
    assert errors.count("\n") == 1


def test_a_second_run_measures_only_what_has_changed(
    capsys: pytest.CaptureFixture[str], recordings: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    measured: list[str] = []
    real = folder.check_file

    def counted(file, *rest):  # type: ignore[no-untyped-def]
        measured.append(os.path.basename(file))
        return real(file, *rest)

    monkeypatch.setattr(folder, "check_file", counted)
    assert main(["check", str(recordings), "--json"]) == 0
    first = json.loads(capsys.readouterr().out)
    assert len(measured) == 4
    assert main(["check", str(recordings), "--json"]) == 0
    assert json.loads(capsys.readouterr().out) == first
    assert len(measured) == 4
    # Another limit set is another measurement, and so is a changed file.
    assert main(["check", str(recordings), "--limits", "pmr446"]) == 0
    assert len(measured) == 8
    soundfile.write(recordings / "b.wav", np.zeros(9000), 16000)
    assert main(["check", str(recordings)]) == 0
    assert measured[8:] == ["b.wav"]
    text = capsys.readouterr().out
    assert "4 of 4 recordings measured, 3 of them in an earlier run" in " ".join(text.split())
    assert main(["check", str(recordings), "--fresh"]) == 0
    assert len(measured) == 13


def test_other_contents_of_the_same_size_and_time_are_measured(
    recordings: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    file = recordings / "b.wav"
    assert main(["check", str(recordings), "--json"]) == 0
    capsys.readouterr()
    before, length = os.stat(file), file.stat().st_size
    soundfile.write(file, np.zeros(16000), 16000)
    os.utime(file, ns=(before.st_atime_ns, before.st_mtime_ns))
    assert os.stat(file).st_size == length
    assert os.stat(file).st_mtime_ns == before.st_mtime_ns
    assert main(["check", str(recordings), "--json"]) == 0
    files = {os.path.basename(entry["file"]): entry for entry in json.loads(capsys.readouterr().out)["files"]}
    assert files["b.wav"]["input"]["verdict"] == "silent"


def test_a_bad_recording_is_named_tried_again_and_does_not_stop_the_others(
    capsys: pytest.CaptureFixture[str], recordings: Path
) -> None:
    (recordings / "b.wav").write_bytes(b"rubbish")
    for _ in range(2):
        assert main(["check", str(recordings), "--json"]) == 2
        out, errors = capsys.readouterr()
        document = json.loads(out)
        assert [file["error"] is None for file in document["files"]] == [True, False, True, True]
        assert "b.wav" in errors
    assert main(["check", str(recordings)]) == 2
    out = capsys.readouterr().out
    assert "not measured" in out
    assert "3 of 4 recordings measured" in out
    assert all(len(line) <= 80 and line == line.rstrip() for line in out.splitlines())


def test_ctrl_c_keeps_what_was_measured(
    capsys: pytest.CaptureFixture[str], recordings: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    real = folder.check_file

    def interrupted(file, *rest):  # type: ignore[no-untyped-def]
        if file.endswith("c.WAV"):
            raise KeyboardInterrupt
        return real(file, *rest)

    monkeypatch.setattr(folder, "check_file", interrupted)
    assert main(["check", str(recordings)]) == 130
    out, errors = capsys.readouterr()
    assert out == ""
    assert "stopped after 2 of 4" in errors
    monkeypatch.setattr(folder, "check_file", real)
    assert main(["check", str(recordings)]) == 0
    assert "2 of them in an earlier run" in " ".join(capsys.readouterr().out.split())


def test_a_torn_or_foreign_line_is_as_if_never_written(tmp_path: Path, recordings: Path) -> None:
    path = tmp_path / "memory.jsonl"
    file = str(recordings / "b.wav")
    Memory(path).keep(file, {"file": file, "error": None})
    whole = path.read_bytes()
    path.write_bytes(b'[1]\nnonsense\n{"print": 3}\n' + whole + whole[: len(whole) // 2])
    memory = Memory(path)
    assert memory.recall(file) == {"file": file, "error": None}
    memory.keep(file, {"file": file, "error": None, "new": True})
    assert Memory(path).recall(file) == {"file": file, "error": None, "new": True}
    assert memory.recall(str(recordings / "nowhere.wav")) is None


def test_a_cache_that_cannot_be_written_only_costs_time(
    recordings: Path, cache: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    cache.write_text("a file in the way")
    assert main(["check", str(recordings), "--json"]) == 0
    assert len(json.loads(capsys.readouterr().out)["files"]) == 4


def test_killed_it_goes_on_from_there(recordings: Path, tmp_path: Path) -> None:
    long = np.random.default_rng(2).standard_normal(16000 * 2) * 0.05
    for number in range(60):
        soundfile.write(recordings / f"z{number:02}.wav", long, 16000)
    environment = {**os.environ, "XDG_CACHE_HOME": str(tmp_path / "home"), "PYTHONPATH": str(REPOSITORY)}
    command = [sys.executable, "-m", "audiotest", "check", str(recordings)]
    with subprocess.Popen(command, env=environment, stdout=subprocess.PIPE) as child:
        for _ in range(600):
            memories = (tmp_path / "home").rglob("*.jsonl")
            if sum(path.read_text().count("\n") for path in memories) >= 5:
                break
            time.sleep(0.05)
        os.kill(child.pid, signal.SIGKILL)
    assert child.returncode == -signal.SIGKILL
    done = subprocess.run(command, env=environment, capture_output=True, text=True, check=True)
    before = int(" ".join(done.stdout.split()).split("measured, ")[1].split(" ")[0])
    assert 5 <= before < 64


def test_the_feed_belongs_to_what_is_remembered(
    recordings: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    from audiotest.feeds.scale import save_feed

    feed = tmp_path / "bench.toml"
    save_feed(FEED, feed)
    assert main(["check", str(recordings)]) == 0
    assert main(["check", str(recordings), "--feed", str(feed)]) == 0
    # So does every figure of a learnt path, the ceiling with it.
    path = flat_path()
    other = (3.0, *path.gain_db[1:])
    for learnt in (path, replace(path, gain_db=other), replace(path, ceiling_fs=0.3)):
        save_feed(replace(FEED, path=learnt), feed)
        assert main(["check", str(recordings), "--feed", str(feed)]) == 0
    assert "earlier run" not in capsys.readouterr().out
    assert main(["check", str(recordings), "--feed", str(feed)]) == 0
    assert "earlier run" in capsys.readouterr().out
