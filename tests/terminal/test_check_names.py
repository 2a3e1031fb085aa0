"""Names of recordings on the terminal: nothing in them is acted on."""

import subprocess
import sys

import numpy as np
import soundfile as sf


def checked(path: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "audiotest", "check", path], capture_output=True, text=True, timeout=120
    )


def test_a_missing_file_is_named_without_its_escapes(tmp_path):
    done = checked(str(tmp_path / "no\x1b[31mred\u202e.wav"))
    assert done.returncode == 2
    assert "\x1b" not in done.stderr
    assert "\u202e" not in done.stderr
    assert r"no\x1b[31mred\u202e.wav" in done.stderr


def test_a_card_is_headed_by_the_name_without_its_escapes(tmp_path):
    path = tmp_path / "over\x1b]0;title\x07.wav"
    sf.write(path, np.zeros(8000), 8000)
    done = checked(str(path))
    assert done.returncode == 0
    assert "\x1b" not in done.stdout
    assert "\x07" not in done.stdout
    assert r"over\x1b]0;title\x07.wav" in done.stdout.replace("\n", "")
