"""``audiotest record``: the whole stream and each over on disk; a full disk is said."""

import argparse
import json
from pathlib import Path

import pytest
import soundfile

from audiotest.errors import FileError
from audiotest.feeds.simulated import SimulatedSource
from audiotest.keep.parts import find_parts, read_stretch
from audiotest.radio.scenario import demo_simulation, demo_steps
from audiotest.terminal import record


@pytest.fixture
def source(monkeypatch: pytest.MonkeyPatch) -> SimulatedSource:
    heard = demo_simulation(demo_steps()[0])
    made = SimulatedSource(heard.audio, heard.sample_rate_hz, name="invented input")
    monkeypatch.setattr(record, "open_input", lambda *_: made)
    return made


def arguments(folder: Path) -> argparse.Namespace:
    return argparse.Namespace(limits="uk-27fm", feed=None, device=None, channel=None, folder=str(folder))


def test_the_stream_and_its_overs_are_kept(
    capsys: pytest.CaptureFixture[str], tmp_path: Path, source: SimulatedSource
) -> None:
    assert record.run(arguments(tmp_path / "tapes")) == 0
    (folder,) = (tmp_path / "tapes").iterdir()
    length_n = len(read_stretch(find_parts(folder), 0, 2**62))
    out = " ".join(capsys.readouterr().out.split())
    assert "Recording invented input" in out
    assert "1 overs cut out" in out
    beside = json.loads((folder / "over 0001.json").read_text())
    assert beside["advice"]["mic_gain"] == "lower"
    assert beside["limits"] == "uk-27fm"
    over = soundfile.info(folder / "over 0001.flac")
    assert 0 < over.frames < length_n


def test_a_disk_that_fills_ends_it_and_is_said(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path, source: SimulatedSource
) -> None:
    # All but the first look at the disk finds it full.
    looks = iter([2**40])

    class Usage:
        def __init__(self, _: Path) -> None:
            self.free = next(looks, 0)

    monkeypatch.setattr("audiotest.keep.recorder.shutil.disk_usage", Usage)
    with pytest.raises(FileError, match=r"the disk is full: what was recorded is kept"):
        record.run(arguments(tmp_path))


def test_a_folder_that_cannot_be_made_is_named(tmp_path: Path, source: SimulatedSource) -> None:
    (tmp_path / "file").write_text("")
    with pytest.raises(FileError, match="nothing can be recorded there"):
        record.run(arguments(tmp_path / "file"))
