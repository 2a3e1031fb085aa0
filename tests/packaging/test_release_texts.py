"""What is written about a release is what the program says of itself."""

import re
import sys
from pathlib import Path

import pytest

import audiotest
from audiotest.keep.sheetfile import sheets_path
from audiotest.records import LimitSet
from audiotest.standards.limits import get_limits
from audiotest.terminal.folder import memory_path

ROOT = Path(__file__).resolve().parents[2]
INSTALL = (ROOT / "docs" / "install.md").read_text(encoding="utf-8")
CITATION = (ROOT / "CITATION.cff").read_text(encoding="utf-8")


def _limits() -> LimitSet:
    return get_limits("uk-27fm")


def _newest_in_the_changelog() -> tuple[str, str]:
    changes = (ROOT / "docs" / "changelog.md").read_text(encoding="utf-8")
    newest = re.search(r"^## (\S+) \((.*)\)$", changes, re.MULTILINE)
    assert newest is not None
    return newest[1], newest[2]


def test_the_quoted_versions_are_the_version():
    quoted = re.findall(r"audiotest-([0-9][^-]*)-py3", INSTALL)
    assert quoted
    assert set(quoted) == {audiotest.__version__}
    assert f"\nversion: {audiotest.__version__}\n" in CITATION
    version, when = _newest_in_the_changelog()
    assert version == audiotest.__version__
    # Before a release and after it.
    assert when == "not yet released" or re.fullmatch(r"\d{4}-\d\d-\d\d", when)


def test_a_release_is_dated_everywhere_or_nowhere():
    version, when = _newest_in_the_changelog()
    released = when != "not yet released"
    assert (f"\ndate-released: {when}\n" in CITATION) == released
    desktop = ROOT / "audiotest" / "window" / "desktop"
    (description,) = desktop.glob("*.metainfo.xml")
    stated = f'<release version="{version}" date="{when}"' in description.read_text(encoding="utf-8")
    assert stated == released


def test_the_citation_has_what_its_format_asks_for():
    """Citation File Format 1.2.0: cff-version, message, title and authors are required."""
    keys = re.findall(r"^([a-z-]+):", CITATION, re.MULTILINE)
    assert {"cff-version", "message", "title", "authors"} <= set(keys)
    assert len(keys) == len(set(keys))
    assert "license: MIT" in CITATION


@pytest.mark.skipif(sys.platform != "linux", reason="the page's first column")
def test_the_places_are_where_the_program_writes(monkeypatch: pytest.MonkeyPatch):
    for name in ("XDG_CONFIG_HOME", "XDG_DATA_HOME", "XDG_CACHE_HOME", "AUDIOTEST_SHEETS"):
        monkeypatch.delenv(name, raising=False)
    monkeypatch.setenv("HOME", "/nowhere/somebody")
    places = {"sheets.sqlite": sheets_path(), "check": memory_path(None, _limits(), None).parent}
    for name, path in places.items():
        folder = str(path.parent).replace("/nowhere/somebody", "~")
        assert path.name == name
        (row,) = (line for line in INSTALL.splitlines() if line.startswith(f"| `{name}`"))
        assert f"| `{folder}` |" in row


@pytest.mark.window
@pytest.mark.skipif(sys.platform != "linux", reason="the page's first column")
def test_the_settings_are_where_the_page_says(monkeypatch: pytest.MonkeyPatch):
    from audiotest.window.settings import Settings, clips_folder, settings_path

    monkeypatch.delenv("XDG_CONFIG_HOME", raising=False)
    monkeypatch.setenv("HOME", "/nowhere/somebody")
    path = settings_path()
    folder = str(path.parent).replace("/nowhere/somebody", "~")
    assert f"| `{path.name}`: the window's settings | `{folder}` |" in INSTALL
    assert f'| "{clips_folder(Settings()).name}": ' in INSTALL
