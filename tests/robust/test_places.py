"""What is named as a file and is none: a pipe, a device without an end, a folder, a link to itself."""

import os
import signal
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from audiotest.__main__ import main
from audiotest.errors import FileError
from audiotest.keep.attachments import keep_file, read_kept
from audiotest.keep.sheetrecords import Attachment
from audiotest.ordinary import open_ordinary
from tests.robust.material import FEED_TOML, recordings

pytestmark = pytest.mark.skipif(os.name == "nt", reason="pipes, devices and alarms of POSIX")

KINDS = ("pipe", "device", "folder", "circle", "link to a pipe")
READERS = {
    "check": ["check", "PLACE"],
    "check as a document": ["check", "--json", "PLACE"],
    "a feed": ["check", "--feed", "PLACE", "CLIP"],
    "heard": ["heard", "PLACE"],
    "compare": ["compare", "CLIP", "PLACE"],
    "I/Q": ["iq", "PLACE"],
    "learn": ["feed", "learn", "PLACE", "--tone-hz", "1000", "--deviation-khz", "1.5", "-o", "new.toml"],
    "learn into": ["feed", "learn", "CLIP", "--tone-hz", "1000", "--deviation-khz", "1.5", "-o", "PLACE"],
    "an output": [
        "send",
        "tone",
        "1000",
        "--millivolt",
        "50",
        "--wav",
        "new.wav",
        "--confirmed",
        "--output",
        "PLACE",
    ],
    "import": ["sheet", "import", "PLACE"],
    "attach": ["sheet", "attach", "1", "found", "PLACE"],
    "measure": ["sheet", "measure", "1", "found", "PLACE"],
    "report over it": ["report", "1", "-o", "PLACE.html"],
}
LONGEST_S = 60


class StuckError(BaseException):
    """A command did not come back; no handler of the program takes it for its own."""


@pytest.fixture(autouse=True)
def guard() -> Iterator[None]:
    """End a command that waits for ever."""

    def stuck(*_: object) -> None:
        raise StuckError

    before = signal.signal(signal.SIGALRM, stuck)
    signal.alarm(LONGEST_S)
    yield
    signal.alarm(0)
    signal.signal(signal.SIGALRM, before)


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Path:
    """A working folder with a clip, a feed and a sheet."""
    (tmp_path / "clip.wav").write_bytes(recordings()[0])
    (tmp_path / "feed.toml").write_bytes(FEED_TOML)
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("AUDIOTEST_SHEETS", str(tmp_path / "sheets.sqlite"))
    assert main(["sheet", "new", "Maker", "Model", "--service", "pmr446"]) == 0
    assert main(["sheet", "open", "1"]) == 0
    capsys.readouterr()
    return tmp_path


def made(kind: str, path: Path) -> None:
    """Put something that is no file at `path`."""
    if kind == "pipe":
        os.mkfifo(path)
    elif kind == "device":
        path.symlink_to("/dev/zero")
    elif kind == "folder":
        path.mkdir()
    elif kind == "circle":
        path.symlink_to(path)
    else:
        os.mkfifo(path.with_name("pipe"))
        path.symlink_to(path.with_name("pipe"))


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("reader", READERS)
def test_what_is_no_file_is_refused_in_one_line(
    folder: Path, capsys: pytest.CaptureFixture[str], reader: str, kind: str
) -> None:
    place = folder / ("place.html" if "PLACE.html" in READERS[reader] else "place")
    made(kind, place)
    names = {"PLACE": str(place), "PLACE.html": str(place), "CLIP": str(folder / "clip.wav")}
    before = sorted(os.listdir(folder))
    assert main([names.get(word, word) for word in READERS[reader]]) == 2
    errors = capsys.readouterr().err
    assert errors.count("\n") == 1, errors
    assert "place" in errors
    assert "fault of the program" not in errors
    assert sorted(os.listdir(folder)) == before


@pytest.mark.parametrize("kind", KINDS)
def test_a_place_in_the_folder_of_a_sheet_is_no_attachment(tmp_path: Path, kind: str) -> None:
    """Somebody who shares the folder may put anything under an attachment's name."""
    made(kind, tmp_path / "clip.flac")
    attachment = Attachment(
        id=1, visit_id=1, stage="left", kind="clip", title="clip", file="clip.flac", sha256="0" * 64,
        added="", measured=None,
    )  # fmt: skip
    with pytest.raises(FileError, match="the file is gone"):
        read_kept(tmp_path, attachment)


def test_more_than_may_be_kept_is_not_read_to_its_end(tmp_path: Path) -> None:
    long = tmp_path / "long.flac"
    with long.open("wb") as file:
        file.truncate(2**40)
    with pytest.raises(FileError, match="64 MiB"):
        keep_file(tmp_path / "files", long)


def test_a_file_behind_links_is_opened(tmp_path: Path) -> None:
    (tmp_path / "file").write_bytes(b"here\r\n")
    (tmp_path / "first").symlink_to("file")
    (tmp_path / "second").symlink_to(tmp_path / "first")
    with open_ordinary(tmp_path / "second") as opened:
        assert opened.read() == b"here\r\n"


@pytest.mark.skipif(sys.platform != "linux", reason="open files are listed in /proc")
def test_a_refused_place_is_closed_again(tmp_path: Path) -> None:
    made("pipe", tmp_path / "pipe")
    before = len(os.listdir("/proc/self/fd"))
    for _ in range(5):
        with pytest.raises(OSError, match="not an ordinary file"):
            open_ordinary(tmp_path / "pipe")
    assert len(os.listdir("/proc/self/fd")) == before
