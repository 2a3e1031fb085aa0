"""The process around a command: outputs that cannot be written, Ctrl-C while it loads, names with escapes."""

import json
import os
import signal
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
import soundfile

from audiotest.__main__ import main
from audiotest.terminal.shown import shown

REPOSITORY = Path(__file__).parents[2]
ENVIRONMENT = {**os.environ, "PYTHONPATH": str(REPOSITORY)}
posix = pytest.mark.skipif(os.name == "nt", reason="signals and /dev/full")


def in_shell(line: str, tmp_path: Path, **more: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        ["sh", "-c", f'"$PYTHON" -m audiotest {line}'], capture_output=True, text=True, cwd=tmp_path,
        env={**ENVIRONMENT, "PYTHON": sys.executable, **more}, timeout=120.0, check=False,
    )  # fmt: skip


@posix
@pytest.mark.parametrize("unbuffered", ["", "1"])
@pytest.mark.parametrize("line", ["limits >/dev/full", "limits >&-", "--help >/dev/full"])
def test_an_output_that_cannot_be_written_is_no_fault_of_the_program(
    tmp_path: Path, line: str, unbuffered: str
) -> None:
    if "/dev/full" in line and not os.path.exists("/dev/full"):
        pytest.skip("no /dev/full here")
    done = in_shell(line, tmp_path, PYTHONUNBUFFERED=unbuffered)
    assert done.returncode == 2
    assert done.stderr.count("\n") == 1
    assert "fault of the program" not in done.stderr
    assert "output" in done.stderr


@posix
@pytest.mark.parametrize("line", ["check gone.wav 2>/dev/full", "tune 2>&-", "tune >&- 2>&-"])
def test_a_complaint_that_cannot_be_written_still_gives_the_status(tmp_path: Path, line: str) -> None:
    if "/dev/full" in line and not os.path.exists("/dev/full"):
        pytest.skip("no /dev/full here")
    assert in_shell(line, tmp_path).returncode == 2


def test_what_the_system_refuses_is_no_fault_of_the_program(capsys, monkeypatch) -> None:
    def run(arguments: object) -> int:
        raise OSError(36, "File name too long", "n" * 300)

    monkeypatch.setattr("audiotest.terminal.limits.run", run)
    assert main(["limits"]) == 2
    errors = capsys.readouterr().err
    assert "File name too long" in errors
    assert "fault of the program" not in errors


def test_a_fault_of_the_program_is_called_one(capsys, monkeypatch) -> None:
    monkeypatch.setattr("audiotest.terminal.limits.run", lambda arguments: 1 // 0)
    assert main(["limits"]) == 2
    assert "ZeroDivisionError" in capsys.readouterr().err


@posix
def test_ctrl_c_while_loading_ends_without_a_word() -> None:
    # The signal comes when the first module of a command is looked for.
    code = (
        "import os, signal, sys\n"
        "class Interrupted:\n"
        "    def find_spec(self, name, path=None, target=None):\n"
        "        if name.startswith('audiotest.terminal.limits'):\n"
        "            try:\n"
        "                os.kill(os.getpid(), signal.SIGINT)\n"
        "            except BaseException:\n"
        "                pass\n"
        "signal.signal(signal.SIGINT, signal.default_int_handler)\n"
        "from audiotest.__main__ import main\n"
        "sys.meta_path.insert(0, Interrupted())\n"
        "sys.exit(main(['limits']))\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", code],
        capture_output=True,
        text=True,
        env=ENVIRONMENT,
        timeout=60.0,
        check=False,
    )
    assert (done.returncode, done.stdout, done.stderr) == (130, "", "")


def test_ctrl_c_while_an_error_is_told_is_an_interruption(monkeypatch) -> None:
    def interrupted(message: str) -> None:
        raise KeyboardInterrupt

    # By both of its names: it depends on the tests before whether the command has been imported already.
    for place in ("audiotest.terminal.shown", "audiotest.terminal.check"):
        monkeypatch.setattr(f"{place}.complain", interrupted)
    assert main(["check", "gone.wav"]) == 130
    assert main(["check", "--feed", "gone.toml", "gone.wav"]) == 130


def test_ctrl_c_is_as_before_when_the_command_runs(monkeypatch) -> None:
    seen = []
    before = signal.getsignal(signal.SIGINT)
    monkeypatch.setattr(
        "audiotest.terminal.limits.run", lambda arguments: seen.append(signal.getsignal(signal.SIGINT)) or 0
    )
    assert main(["limits"]) == 0
    assert seen == [before]


@pytest.mark.parametrize(
    ("arguments", "program"),
    [
        (["check", "f.wav", "--jsn"], "audiotest check --help"),
        (
            ["feed", "hiss", "f.wav", "--if-bandwidth-khz", "8", "-o", "f", "--x"],
            "audiotest feed hiss --help",
        ),
        (["--jsn", "limits"], "audiotest --help"),
    ],
)
def test_a_mistyped_option_is_sent_to_the_right_help(capsys, arguments: list[str], program: str) -> None:
    assert main(arguments) == 2
    assert f"'{program}'" in capsys.readouterr().err


@pytest.mark.parametrize(
    "character", ["\x1b", "\n", "\r", "\a", "\x9b", "\u202e", "\u200f", "\u2028", "\udce9"]
)
def test_nothing_that_a_terminal_acts_on_comes_through(character: str) -> None:
    name = shown(f"be{character}fore.wav")
    assert name.isprintable()
    assert name.startswith("be\\")
    assert name.endswith("fore.wav")


def test_names_in_any_script_stay() -> None:
    for name in ("Prüfling 27,6 MHz ☎.wav", "試験\u3000一.wav", "قياس.wav", "C:\\new\\tone.wav"):
        assert shown(name) == name


def test_an_error_about_a_feed_shows_its_name_escaped(capsys, tmp_path: Path) -> None:
    assert (
        main(["feed", "hiss", str(tmp_path / "no\x1b[31m\nred.wav"), "--if-bandwidth-khz", "8", "-o", "f"])
        == 2
    )
    errors = capsys.readouterr().err
    assert "no\\x1b[31m\\nred.wav" in errors
    assert errors.count("\n") == 1


ASCII = {"LC_ALL": "C", "PYTHONUTF8": "0", "PYTHONCOERCECLOCALE": "0"}


@posix
def test_a_terminal_of_ascii_gets_plain_signs(tmp_path: Path) -> None:
    done = in_shell("limits", tmp_path, **ASCII)
    assert done.returncode == 0
    assert "uk-27fm       +-2.5 kHz" in done.stdout
    assert "\\" not in done.stdout
    assert done.stdout.isascii()


@posix
def test_a_document_is_sound_on_a_terminal_of_ascii(tmp_path: Path) -> None:
    soundfile.write(tmp_path / "µ Ж.wav", np.zeros(16000), 16000)
    done = in_shell('heard --json "µ Ж.wav"', tmp_path, **ASCII)
    assert done.returncode == 0
    assert json.loads(done.stdout)["file"].encode("utf-8", "surrogateescape").decode() == "µ Ж.wav"
