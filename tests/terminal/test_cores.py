"""Several recordings at once: the same results in the same order, and one core for little work."""

import concurrent.futures
import json
import os
from functools import partial
from pathlib import Path

import numpy as np
import pytest
import soundfile

from audiotest.__main__ import main
from audiotest.errors import AudiotestError
from audiotest.terminal import cores, folder


def sized(file: str, *, bad: str = "") -> tuple[str, int, int]:
    if file == bad:
        raise KeyboardInterrupt
    return file, os.path.getsize(file), os.getpid()


@pytest.fixture
def files(tmp_path: Path, monkeypatch) -> list[str]:
    monkeypatch.setattr(cores, "WORTH_BYTES", 4000)
    monkeypatch.setattr(cores, "SAVED_BYTES", 1000)
    monkeypatch.setattr(cores, "_cores", lambda: 2)
    for k in range(5):
        (tmp_path / f"{k}.wav").write_bytes(bytes(1000 + k))
    return [str(tmp_path / f"{k}.wav") for k in (3, 1, 4, 0, 2)]


def test_large_recordings_go_to_other_processes_and_come_back_in_order(files):
    assert cores.cores_for(files) == 2
    found = list(cores.on_all_cores(sized, files))
    assert [name for name, _, _ in found] == files
    assert [size for _, size, _ in found] == [1003, 1001, 1004, 1000, 1002]
    assert os.getpid() not in {pid for _, _, pid in found}


def test_little_work_stays_in_this_process(files):
    assert cores.cores_for(files[:1]) == cores.cores_for([]) == cores.cores_for(["none.wav"] * 9) == 1
    assert [pid for _, _, pid in cores.on_all_cores(sized, files[:1])] == [os.getpid()]


def test_an_interrupt_ends_the_others(files):
    with pytest.raises(KeyboardInterrupt):
        list(cores.on_all_cores(partial(sized, bad=files[2]), files))


def dies(file: str) -> None:
    os._exit(9)


def test_a_process_that_is_killed_costs_one_line(files):
    with pytest.raises(AudiotestError, match="ended from outside: perhaps the memory ran out"):
        list(cores.on_all_cores(dies, files))


def test_without_other_processes_this_one_does_all(files, monkeypatch):
    def refuse(*_, **__):
        raise OSError(38, "Function not implemented")

    monkeypatch.setattr(concurrent.futures, "ProcessPoolExecutor", refuse)
    found = list(cores.on_all_cores(sized, files))
    assert [name for name, _, _ in found] == files
    assert {pid for _, _, pid in found} == {os.getpid()}


def test_many_small_recordings_are_shared_out_and_one_large_is_not(tmp_path, monkeypatch):
    monkeypatch.setattr(cores, "_cores", lambda: 2)
    small = [tmp_path / f"{k}.wav" for k in range(40)]
    for path in small:
        path.touch()
        os.truncate(path, 1_000_000)
    assert cores.cores_for([str(path) for path in small]) == 2
    large = tmp_path / "large.wav"
    large.touch()
    os.truncate(large, 500_000_000)
    assert cores.cores_for([str(large), str(small[0])]) == 1


def test_a_folder_on_two_cores_is_the_folder_on_one(tmp_path, monkeypatch, capsys):
    monkeypatch.setattr(folder, "user_cache_path", lambda *_, **__: tmp_path / "cache")
    rng = np.random.default_rng(4)
    place = tmp_path / "tape"
    place.mkdir()
    for k in range(3):
        soundfile.write(place / f"{k}.wav", 0.05 * rng.standard_normal(8000), 8000)
    (place / "1b.wav").write_bytes(b"rubbish" * 1000)
    documents = []
    for worth_bytes, count in ((cores.WORTH_BYTES, 1), (30_000, 2)):
        monkeypatch.setattr(cores, "_cores", lambda: 2)
        monkeypatch.setattr(cores, "WORTH_BYTES", worth_bytes)
        monkeypatch.setattr(cores, "SAVED_BYTES", 10_000)
        assert cores.cores_for([str(file) for file in place.iterdir()]) == count
        assert main(["check", str(place), "--json", "--fresh"]) == 2
        out, errors = capsys.readouterr()
        documents.append(json.loads(out))
        assert "1b.wav" in errors
    assert documents[0] == documents[1]
    assert main(["check", str(place), "--json"]) == 2
    assert json.loads(capsys.readouterr().out) == documents[0]
