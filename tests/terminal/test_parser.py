"""Arguments: help without anything heavy, and refusals in one line."""

import argparse
import subprocess
import sys

import pytest

from audiotest.__main__ import main
from audiotest.terminal.parser import build_parser

HEAVY = ("numpy", "scipy", "soundfile", "sounddevice", "PySide6", "pyqtgraph", "rich")


def test_help_loads_nothing_that_measures():
    code = (
        "import sys\nfrom audiotest.__main__ import main\n"
        "try:\n    main(['--help'])\nexcept SystemExit as end:\n    assert end.code == 0\n"
        f"print([name for name in {HEAVY!r} if name in sys.modules], file=sys.stderr)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stderr.strip() == "[]"
    assert "check" in done.stdout


def commands(parser, words=()):
    """Every command and way, as typed."""
    yield words
    for action in parser._actions:
        if isinstance(action, argparse._SubParsersAction):
            for name, below in action.choices.items():
                yield from commands(below, (*words, name))


@pytest.mark.parametrize("words", list(commands(build_parser())), ids=lambda words: " ".join(words) or "all")
@pytest.mark.parametrize("width", [80, 60, 38])
def test_every_command_has_help_that_fits_the_terminal(words, width, capsys, monkeypatch):
    monkeypatch.setenv("COLUMNS", str(width))
    with pytest.raises(SystemExit) as end:
        main([*words, "--help"])
    assert end.value.code == 0
    out = capsys.readouterr().out
    assert " ".join(words) in " ".join(out.split())
    # The usage keeps a name and its value together.
    lines = out[out.index("\n\n") :].splitlines()
    assert max(len(line) for line in lines) < width
    assert not [line for line in lines if line.endswith("-")], "a word was cut at its hyphen"


@pytest.mark.parametrize(
    ("arguments", "named"),
    [
        ([], "COMMAND"),
        (["tune"], "tune"),
        (["check"], "FILE"),
        (["check", "a.wav", "--channel", "0"], "--channel"),
        (["check", "a.wav", "--channel", "x"], "--channel"),
        (["check", "a.wav", "--loud"], "--loud"),
        (["demo", "--seconds", "-3"], "--seconds"),
        (["demo", "--seconds", "nan"], "--seconds"),
        (["feed"], "WAY"),
        (["feed", "learn", "a.wav", "-o", "f.toml"], "--tone-hz"),
        (["feed", "learn", "a.wav", "--tone-hz", "1000", "--deviation-khz", "0", "-o", "f"], "deviation"),
        (["feed", "hiss", "a.wav", "--if-bandwidth-khz", "inf", "-o", "f"], "--if-bandwidth-khz"),
    ],
)  # fmt: skip
def test_a_wrong_argument_is_refused_in_one_line(arguments, named, capsys):
    assert main(arguments) == 2
    captured = capsys.readouterr()
    assert captured.out == ""
    assert captured.err.count("\n") == 1
    assert captured.err.startswith("audiotest: ")
    assert named in captured.err


@pytest.mark.parametrize("command", [["check"], ["sheet", "measure", "1", "found"]])
def test_a_file_that_looks_like_an_option_is_told_how_to_be_named(command, capsys, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "-over.wav").touch()
    assert main([*command, "-over.wav"]) == 2
    said = "audiotest: -over.wav: is taken for an option: write ./-over.wav for the file\n"
    assert capsys.readouterr().err == said


def test_the_default_limits_are_the_27_mhz_ones():
    assert build_parser().parse_args(["check", "a.wav"]).limits == "uk-27fm"
