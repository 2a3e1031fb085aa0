"""``audiotest record`` and ``live --record``: the whole stream and each over on disk; a full disk is said."""

import argparse
import json
import shutil
from pathlib import Path

import pytest
import soundfile

from audiotest.errors import FileError
from audiotest.feeds.simulated import SimulatedSource
from audiotest.keep.parts import find_parts, read_stretch
from audiotest.radio.scenario import demo_simulation, demo_steps
from audiotest.terminal import live, record


@pytest.fixture
def source(monkeypatch: pytest.MonkeyPatch) -> SimulatedSource:
    heard = demo_simulation(demo_steps()[0])
    made = SimulatedSource(heard.audio, heard.sample_rate_hz, name="invented input")
    monkeypatch.setattr(live, "open_input", lambda *_: made)
    return made


def arguments(folder: Path) -> argparse.Namespace:
    return argparse.Namespace(
        limits="uk-27fm", feed=None, device=None, channel=None, folder=str(folder), record=str(folder),
        text=True,
    )  # fmt: skip


@pytest.fixture
def full_after_one_look(monkeypatch: pytest.MonkeyPatch) -> None:
    looks = iter([2**40])

    class Usage:
        def __init__(self, _: Path) -> None:
            self.free = next(looks, 0)

    monkeypatch.setattr("audiotest.keep.recorder.shutil.disk_usage", Usage)


def test_the_stream_and_its_overs_are_kept(
    capsys: pytest.CaptureFixture[str], tmp_path: Path, source: SimulatedSource
) -> None:
    assert record.run(arguments(tmp_path / "tapes")) == 0
    (folder,) = (tmp_path / "tapes").iterdir()
    length_n = len(read_stretch(find_parts(folder), 0, 2**62))
    out = " ".join(capsys.readouterr().out.split())
    assert "Listening to invented input" in out
    assert "Recording to" in out
    assert "1 over cut out" in out
    beside = json.loads((folder / "over 0001.json").read_text())
    assert beside["advice"]["mic_gain"] == "lower"
    assert beside["limits"] == "uk-27fm"
    over = soundfile.info(folder / "over 0001.flac")
    assert 0 < over.frames < length_n


def test_what_the_input_lost_stands_in_the_journal(
    capsys: pytest.CaptureFixture[str], tmp_path: Path, source: SimulatedSource
) -> None:
    # Read once a block: 700 samples go missing between the second block and the third, 80 before the fifth.
    counts = iter([0, 0, 700, 700, 780])

    class Losing(SimulatedSource):
        @property
        def lost_n(self) -> int:
            return next(counts, 780)

    source.__class__ = Losing
    assert record.run(arguments(tmp_path)) == 0
    (folder,) = tmp_path.iterdir()
    journal = [json.loads(line) for line in (folder / "recording.jsonl").read_text().splitlines()]
    lost = [(line["at_n"] > 0, line["lost_n"]) for line in journal if line["event"] == "input lost"]
    assert lost == [(True, 700), (True, 80)]
    assert "780 or more lost by the input" in " ".join(capsys.readouterr().out.split())


@pytest.mark.usefixtures("full_after_one_look")
def test_a_disk_that_fills_ends_it_and_is_said(tmp_path: Path, source: SimulatedSource) -> None:
    with pytest.raises(FileError, match=r"the disk is full: what was recorded is kept"):
        record.run(arguments(tmp_path))


@pytest.mark.usefixtures("full_after_one_look")
def test_live_says_that_the_disk_is_full_and_goes_on_listening(
    capsys: pytest.CaptureFixture[str], tmp_path: Path, source: SimulatedSource
) -> None:
    assert live.run(arguments(tmp_path)) == 0
    out = " ".join(capsys.readouterr().out.split())
    assert out.count("the disk is full: what was recorded is kept. Listening goes on.") == 1
    assert "over 1 " in out, "the over that came after is measured"
    assert out.index("the disk is full") < out.index("over 1 ")


@pytest.fixture
def gone_after_one_look(monkeypatch: pytest.MonkeyPatch) -> None:
    looks = iter([shutil.disk_usage])

    def usage(folder: Path) -> tuple[int, int, int]:
        look = next(looks, None)
        if look is None:
            shutil.rmtree(folder, ignore_errors=True)
            raise FileNotFoundError(2, "No such file or directory")
        return look(folder)

    monkeypatch.setattr("audiotest.keep.recorder.shutil.disk_usage", usage)


@pytest.mark.usefixtures("gone_after_one_look")
def test_what_went_with_the_folder_is_not_called_kept(
    capsys: pytest.CaptureFixture[str], tmp_path: Path, source: SimulatedSource
) -> None:
    assert live.run(arguments(tmp_path)) == 0
    out = " ".join(capsys.readouterr().out.split())
    gone = "the folder is gone, and what it held with it, unless it was moved or its disk unplugged"
    assert out.count(f"{gone}. Listening goes on.") == 1
    assert "0:00.0 recorded, 0 overs cut out, until the folder went: " in out
    assert not list(tmp_path.iterdir())


@pytest.mark.usefixtures("gone_after_one_look")
def test_a_folder_that_goes_ends_a_recording_without_asking_for_room(
    tmp_path: Path, source: SimulatedSource
) -> None:
    with pytest.raises(FileError, match=r"the folder is gone, .* unplugged: name another folder$"):
        record.run(arguments(tmp_path))


def test_a_folder_that_cannot_be_made_is_named(tmp_path: Path, source: SimulatedSource) -> None:
    (tmp_path / "file").write_text("")
    with pytest.raises(FileError, match="nothing can be recorded there"):
        record.run(arguments(tmp_path / "file"))
    with pytest.raises(FileError, match="nothing can be recorded there"):
        live.run(arguments(tmp_path / "file"))
