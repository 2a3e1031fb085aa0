"""What is promised to whoever works with files of others: no network, and no path taken out of a file."""

import hashlib
import json
import os
import subprocess
import sys
from pathlib import Path

import pytest
import soundfile

from audiotest.errors import FileError
from audiotest.keep.attachments import keep_file, read_kept
from audiotest.keep.sheetrecords import Attachment
from audiotest.keep.sheets import Sheets
from tests.robust.material import RATE_HZ, SHEET, imported_or_refused, over, recordings

REPOSITORY = Path(__file__).parents[2]
ALONE = """
import os, socket, sys

def forbid(event, arguments):
    if event.startswith("socket.") or event in ("subprocess.Popen", "os.system", "os.exec", "os.posix_spawn"):
        os.write(2, f"FORBIDDEN {event} {arguments}\\n".encode())
        os._exit(77)

sys.addaudithook(forbid)
if sys.argv[1] == "prove":
    socket.create_connection(("127.0.0.1", 9))
if sys.argv[1] == "run":
    exec(open(sys.argv[2]).read())
    sys.exit(0)
from audiotest.__main__ import main
sys.exit(main(sys.argv[1:]))
"""


def alone(home: Path, *arguments: str) -> subprocess.CompletedProcess[str]:
    """Run ``audiotest`` where the first socket, name look-up or other program ends the process with 77."""
    return subprocess.run(
        [sys.executable, "-c", ALONE, *arguments], capture_output=True, text=True, cwd=home, check=False,
        env=os.environ | {"PYTHONPATH": str(REPOSITORY), "HOME": str(home), "XDG_DATA_HOME": str(home),
                          "XDG_CACHE_HOME": str(home)},
    )  # fmt: skip


def test_the_guard_sees_a_socket(tmp_path: Path) -> None:
    assert alone(tmp_path, "prove").returncode == 77


@pytest.mark.parametrize(
    "arguments",
    [("check", "--json", "clip.wav"), ("check", "clip.wav"), ("check", "tape"),
     ("demo", "--text", "--seconds", "3"), ("limits",)],
    ids=["json", "cards", "folder", "demo", "limits"],
)  # fmt: skip
def test_nothing_goes_out_to_any_network(tmp_path: Path, arguments: tuple[str, ...]) -> None:
    (tmp_path / "clip.wav").write_bytes(recordings()[0])
    (tmp_path / "tape").mkdir()
    (tmp_path / "tape" / "clip.flac").write_bytes(recordings()[3])
    done = alone(tmp_path, *arguments)
    assert done.returncode == 0, done.stderr


SHEET_WORK = (
    ("sheet", "new", "Maker", "Model", "--service", "pmr446"),
    ("sheet", "open", "1", "--channel", "3"),
    ("sheet", "read", "1", "left", "power=0.5 W"),
    ("sheet", "measure", "1", "found", "clip.wav"),
    ("sheet", "attach", "1", "left", "clip.flac"),
    ("sheet", "show", "1"),
    ("report", "1", "-o", "report.html"),
    ("report", "1", "-o", "report.pdf"),
    ("report", "1", "-o", "report.json"),
    ("sheet", "import", "report.json"),
    ("compare", "clip.wav", "clip.flac", "--blind", "blind"),
    ("heard", "clip.wav"),
)


def test_a_sheet_and_its_report_go_out_to_no_network(tmp_path: Path) -> None:
    """From the first reading to the report, in one process under the same guard."""
    (tmp_path / "clip.wav").write_bytes(recordings()[0])
    (tmp_path / "clip.flac").write_bytes(recordings()[3])
    (tmp_path / "work.py").write_text(f"""
from audiotest.__main__ import main
for words in {SHEET_WORK!r}:
    assert main(list(words)) == 0, words
""")
    done = alone(tmp_path, "run", "work.py")
    assert done.returncode == 0, done.stderr
    page = (tmp_path / "report.html").read_text(encoding="utf-8")
    assert "Content-Security-Policy" in page
    assert (tmp_path / "report.pdf").read_bytes().startswith(b"%PDF")


def test_words_inside_a_recording_name_no_file(tmp_path: Path) -> None:
    """Title, artist and comment of a recording are looked at by nobody."""
    place = tmp_path / "here"
    place.mkdir()
    target = tmp_path / "target"
    with soundfile.SoundFile(place / "clip.flac", "w", RATE_HZ, 1) as file:
        for tag in ("title", "artist", "comment"):
            setattr(file, tag, f"../target;$(touch {target})\x1b[31m")
        file.write(over())
    done = alone(place, "check", "--json", "clip.flac")
    assert done.returncode == 0, done.stderr
    assert "target" not in done.stdout + done.stderr
    assert sorted(os.listdir(tmp_path)) == ["here"]
    assert os.listdir(place) == ["clip.flac"]


@pytest.mark.parametrize("name", ["../secret.txt", "/secret.txt", "..", ".", "deeper/../../secret.txt", ""])
def test_an_attachment_is_read_from_its_folder_whatever_its_name_says(tmp_path: Path, name: str) -> None:
    folder = tmp_path / "files"
    folder.mkdir()
    secret = tmp_path / "secret.txt"
    secret.write_bytes(b"not to be shown")
    named = str(tmp_path) + name if name.startswith("/") else name
    digest = hashlib.sha256(secret.read_bytes()).hexdigest()
    attachment = Attachment(
        id=1, visit_id=1, stage="left", kind="note", title="clip", file=named, sha256=digest, added="",
        measured=None,
    )  # fmt: skip
    with pytest.raises(FileError, match="the file is gone"):
        read_kept(folder, attachment)


def test_a_kept_file_is_named_by_what_is_in_it(tmp_path: Path) -> None:
    file = tmp_path / "..;rm -rf x\u202e.WAV"
    file.write_bytes(b"content")
    name, digest = keep_file(tmp_path / "files", file)
    assert name == f"{digest[:24]}.wav"


def test_an_imported_sheet_brings_no_file_and_no_path(tmp_path: Path) -> None:
    wanted = {"file": "../secret.txt", "title": "clip", "kind": "clip", "sha256": "0" * 64, "stage": "left"}
    with Sheets(tmp_path / "sheets.sqlite") as sheets:
        assert imported_or_refused(sheets, json.dumps(SHEET | {"attachments": [wanted]}).encode()) is None
        (visit,) = sheets.visits()
        assert sheets.sheet(visit.id).attachments == ()
