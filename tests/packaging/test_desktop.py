"""The icon is seen, at every size, and the desktop entry starts what there is."""

import configparser
import shlex
import shutil
import subprocess
import tomllib
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import pytest

from audiotest.terminal.parser import build_parser

ROOT = Path(__file__).resolve().parents[2]
ENTRY = ROOT / "audiotest" / "window" / "desktop" / "audiotest.desktop"
METAINFO = ENTRY.with_name("invalid.audiotest.audiotest.metainfo.xml")
KNOB = (238, 240, 238)
FLAT_TOP = (230, 159, 0)


def _entry() -> configparser.ConfigParser:
    entry = configparser.ConfigParser(interpolation=None)
    entry.optionxform = str  # type: ignore[assignment, method-assign]  # the names are told apart by case
    entry.read(ENTRY, encoding="utf-8")
    return entry


@pytest.mark.window
@pytest.mark.parametrize("size_px", [16, 48, 256])
def test_the_icon_shows_wave_and_knobs(qapp: Any, size_px: int) -> None:
    from PySide6.QtGui import QIcon

    from audiotest.window.app import ICON

    image = QIcon(str(ICON)).pixmap(size_px, size_px).toImage()
    assert (image.width(), image.height()) == (size_px, size_px)

    def at(x: float, y: float) -> tuple[int, int, int]:
        """The colour at a place of the drawing, whose side is 64."""
        colour = image.pixelColor(int(x * size_px / 64), int(y * size_px / 64))
        return (colour.red(), colour.green(), colour.blue())

    for place, colour in (((21, 10), FLAT_TOP), ((43, 26), FLAT_TOP), ((22, 42), KNOB), ((42, 42), KNOB)):
        assert at(*place) == pytest.approx(colour, abs=24), place
    assert image.pixelColor(0, 0).alpha() < 64


@pytest.mark.window
def test_the_window_wears_the_icon(qapp: Any, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    from audiotest.window import app

    monkeypatch.setattr("audiotest.window.mainwindow.MainWindow.practise", lambda _: None)
    monkeypatch.setattr("audiotest.window.mainwindow.MainWindow.set_up", lambda _: None)
    assert app.run(seconds=0.1, settings_file=tmp_path / "window.toml") == 0
    assert not qapp.windowIcon().pixmap(48, 48).isNull()
    # A Wayland desktop takes the icon from the entry of this name.
    assert qapp.desktopFileName() == ENTRY.stem


def test_the_entry_starts_commands_that_there_are() -> None:
    entry = _entry()
    main = entry["Desktop Entry"]
    actions = [f"Desktop Action {name}" for name in main["Actions"].rstrip(";").split(";")]
    assert sorted(entry.sections()) == sorted(["Desktop Entry", *actions])
    commands = [shlex.split(entry[section]["Exec"]) for section in entry.sections()]
    assert [words[1] for words in commands] == ["live", "demo"]
    for program, *arguments in commands:
        assert program == main["TryExec"] == "audiotest"
        build_parser().parse_args(arguments)
    assert main["Icon"] == ENTRY.stem
    assert ENTRY.with_name(f"{main['Icon']}.svg").is_file()


@pytest.mark.skipif(shutil.which("desktop-file-validate") is None, reason="needs desktop-file-utils")
def test_the_entry_is_valid() -> None:
    done = subprocess.run(["desktop-file-validate", str(ENTRY)], capture_output=True, text=True)
    assert (done.returncode, done.stdout) == (0, "")


def test_the_description_is_that_of_the_entry_and_the_package() -> None:
    component = ElementTree.parse(METAINFO).getroot()
    package = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    main = _entry()["Desktop Entry"]
    assert METAINFO.name == f"{component.findtext('id')}.metainfo.xml"
    assert component.findtext("launchable") == ENTRY.name
    assert component.findtext("provides/binary") == main["TryExec"]
    assert component.findtext("summary") == main["Comment"]
    categories = [category.text for category in component.iterfind("categories/category")]
    assert categories == main["Categories"].rstrip(";").split(";")
    assert component.findtext("project_license") == package["license"]


@pytest.mark.skipif(shutil.which("appstreamcli") is None, reason="needs appstream")
def test_the_description_is_valid() -> None:
    command = ["appstreamcli", "validate", "--no-net", str(METAINFO)]
    done = subprocess.run(command, capture_output=True, text=True)
    assert done.returncode == 0, done.stdout
    assert "successful" in done.stdout
