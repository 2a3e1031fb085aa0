"""Several recordings at once: the same results in the same order, and one core for little work."""

import os
from functools import partial
from pathlib import Path

import pytest

from audiotest.terminal import cores


def sized(file: str, *, bad: str = "") -> tuple[str, int, int]:
    if file == bad:
        raise KeyboardInterrupt
    return file, os.path.getsize(file), os.getpid()


@pytest.fixture
def files(tmp_path: Path, monkeypatch) -> list[str]:
    monkeypatch.setattr(cores, "WORTH_BYTES", 4000)
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
