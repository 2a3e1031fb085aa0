"""The command that a missing package is answered with is one that works."""

import os
import shlex
import sys
import tomllib
from pathlib import Path

import pytest
from packaging.requirements import Requirement

from audiotest.extras import EXTRAS, how_to_install

PROJECT = Path(__file__).parents[1] / "pyproject.toml"


@pytest.mark.parametrize("extra", EXTRAS)
def test_the_extras_are_those_of_the_project(extra: str) -> None:
    stated = tomllib.loads(PROJECT.read_text(encoding="utf-8"))["project"]["optional-dependencies"]
    assert set(EXTRAS[extra]) == set(stated[extra])


@pytest.mark.parametrize("extra", EXTRAS)
def test_a_shell_reads_the_command_as_it_is_meant(extra: str) -> None:
    python, *words = shlex.split(how_to_install(extra).removeprefix("install it with: "))
    assert os.path.samefile(python, sys.executable)
    assert words[:3] == ["-m", "pip", "install"]
    for package in words[3:]:
        Requirement(package)


def test_the_python_of_the_directory_is_named_briefly(monkeypatch, tmp_path: Path) -> None:
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr(sys, "executable", str(tmp_path / ".venv" / "bin" / "python"))
    assert how_to_install("live").startswith(
        f"install it with: {os.path.join('.venv', 'bin', 'python')} -m pip install "
    )
    monkeypatch.setattr(sys, "executable", str(tmp_path.parent / "my tools" / "python"))
    assert f'"{tmp_path.parent / "my tools" / "python"}" -m pip' in how_to_install("live")
