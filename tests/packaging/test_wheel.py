"""What is handed on: sdist and wheel hold what they should, and the installed wheel does its work alone."""

import email
import os
import re
import shutil
import subprocess
import sys
import tarfile
import venv
import zipfile
from dataclasses import dataclass
from pathlib import Path, PurePosixPath

import pytest

import audiotest

pytest.importorskip("build")
pytest.importorskip("hatchling")

ROOT = Path(__file__).resolve().parents[2]
TOP = ("README.md", "DEVELOPERS.md", "LICENSE", "CITATION.cff", "pyproject.toml", ".gitignore")
FOLDERS = ("audiotest", "fixtures", "docs", "tests")
LITTER = (
    ".hypothesis/tmp.txt", ".benchmarks/0001.json", ".venv/pyvenv.cfg", "dist/old.whl", "over.wav",
    "bench.toml", "audiotest/__pycache__/errors.cpython-311.pyc",
    "tests/__pycache__/conftest.cpython-311.pyc", "audiotest/.mypy_cache/x.json",
)  # fmt: skip
"""What a checkout gathers in use; it is laid into the copy that is built."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Built:
    """The two files that a release consists of, and the tree they were made of."""

    tree: Path
    sdist: Path
    wheel: Path


@dataclass(frozen=True, slots=True, kw_only=True)
class Installed:
    """A virtual environment that has the wheel, and a directory far from the sources to work in."""

    scripts: Path
    site: Path
    elsewhere: Path

    def run(self, program: str, *arguments: str) -> str:
        """Standard output of a program of the environment, which has to end with 0."""
        names = ("PYTHONPATH", "PYTHONHOME", "AUDIOTEST_SHEETS")
        environment = {name: value for name, value in os.environ.items() if name not in names}
        home = {name: str(self.elsewhere / name.lower()) for name in ("HOME", "LOCALAPPDATA", "APPDATA")}
        done = subprocess.run(
            [str(self.scripts / program), *arguments],
            cwd=self.elsewhere,
            env=environment | home | {"PYTHONUTF8": "1"},
            stdin=subprocess.DEVNULL,
            capture_output=True,
            encoding="utf-8",
            timeout=120,
        )
        assert done.returncode == 0, done.stderr
        assert done.stderr == ""
        return done.stdout


@pytest.fixture(scope="module")
def built(tmp_path_factory: pytest.TempPathFactory) -> Built:
    """Sdist and, made from the sdist alone, the wheel."""
    tree = tmp_path_factory.mktemp("sources") / "checkout"
    tree.mkdir()
    for name in TOP:
        shutil.copy2(ROOT / name, tree / name)
    for name in FOLDERS:
        shutil.copytree(ROOT / name, tree / name, ignore=shutil.ignore_patterns("__pycache__", ".*"))
    for name in LITTER:
        (tree / name).parent.mkdir(parents=True, exist_ok=True)
        (tree / name).write_bytes(b"litter")
    out = tmp_path_factory.mktemp("dist")
    command = [sys.executable, "-m", "build", "--no-isolation", "--outdir", str(out), str(tree)]
    done = subprocess.run(command, stdin=subprocess.DEVNULL, capture_output=True, text=True, timeout=120)
    assert done.returncode == 0, done.stdout + done.stderr
    (sdist,) = out.glob("*.tar.gz")
    (wheel,) = out.glob("*.whl")
    return Built(tree=tree, sdist=sdist, wheel=wheel)


@pytest.fixture(scope="module")
def installed(built: Built, tmp_path_factory: pytest.TempPathFactory) -> Installed:
    """The wheel in an environment of its own; what it depends on is lent by the environment of the tests."""
    place = tmp_path_factory.mktemp("installed")
    venv.create(place / "venv", with_pip=False)
    scripts = place / "venv" / ("Scripts" if os.name == "nt" else "bin")
    python = str(scripts / "python")
    install = [sys.executable, "-m", "pip", "--python", python, "install", "--no-deps", "--no-index"]
    subprocess.run(
        [*install, "--quiet", "--disable-pip-version-check", str(built.wheel)],
        stdin=subprocess.DEVNULL,
        check=True,
        timeout=120,
    )
    where = subprocess.check_output(
        [python, "-c", "import sysconfig; print(sysconfig.get_path('purelib'))"], text=True
    )
    site = Path(where.strip())
    # A directory that a .pth names has its own .pth files left alone: no editable audiotest comes along.
    lent = [path for path in sys.path if path.endswith("-packages")]
    (site / "lent.pth").write_text("\n".join(lent), encoding="utf-8")
    elsewhere = place / "elsewhere"
    elsewhere.mkdir()
    return Installed(scripts=scripts, site=site, elsewhere=elsewhere)


def _files_in(tree: Path, *folders: str) -> set[str]:
    """The files of the tree as they stand in version control: without the litter."""
    found = (path for folder in folders for path in (tree / folder).rglob("*") if path.is_file())
    return {path.relative_to(tree).as_posix() for path in found} - set(LITTER)


def _in_sdist(built: Built) -> set[str]:
    with tarfile.open(built.sdist) as archive:
        return {name.partition("/")[2] for name in archive.getnames()}


def _in_wheel(built: Built) -> set[str]:
    with zipfile.ZipFile(built.wheel) as archive:
        return set(archive.namelist())


def _metadata(built: Built) -> email.message.Message:
    with zipfile.ZipFile(built.wheel) as archive:
        (name,) = (name for name in archive.namelist() if name.endswith(".dist-info/METADATA"))
        return email.message_from_bytes(archive.read(name))


def test_sdist_holds_the_sources_and_nothing_else(built: Built) -> None:
    expected = _files_in(built.tree, *FOLDERS) | set(TOP) | {"PKG-INFO"}
    assert _in_sdist(built) == expected
    # The test can fail only if the sets are what they look like.
    assert {"audiotest/errors.py", "fixtures/speech/make_fixtures.py", "docs/scale.md"} <= expected
    assert "tests/packaging/test_wheel.py" in expected


def test_wheel_holds_the_package_and_the_voices(built: Built) -> None:
    voices = {
        f"audiotest/radio/voices/{PurePosixPath(name).name}"
        for name in _files_in(built.tree, "fixtures/speech")
        if name.endswith((".flac", "SOURCES.md", "LICENCES.txt"))
    }
    assert len(voices) >= 7
    package = {name for name in _in_wheel(built) if name.startswith("audiotest/")}
    assert package == _files_in(built.tree, "audiotest") | voices
    models = {f"audiotest/measure/{name}.npz" for name in ("drive_model", "drive_model_told")}
    assert {*models, "audiotest/keep/pages/report.html"} <= package
    assert "audiotest/keep/pages/report.css" in package


def test_wheel_holds_nothing_of_the_workshop(built: Built) -> None:
    outside = {name.split("/")[0] for name in _in_wheel(built)} - {"audiotest"}
    assert all(re.fullmatch(r"audiotest-[0-9.]+\.(dist-info|data)", name) for name in outside), outside
    assert not [name for name in _in_wheel(built) if name.endswith((".pyc", "make_fixtures.py"))]


def test_wheel_carries_the_licences(built: Built) -> None:
    """The expression names every licence that the credits of the voices name, and the code's own."""
    metadata = _metadata(built)
    expression = metadata["License-Expression"]
    credits_ = (built.tree / "fixtures" / "speech" / "SOURCES.md").read_text(encoding="utf-8")
    rows = [line.split("|") for line in credits_.splitlines() if line.startswith("| `")]
    named = {spdx for row in rows for spdx in re.findall(r"CC-BY-[\d.]+|BSD-\d-Clause|MIT", row[4])}
    assert len(rows) == len(list((built.tree / "fixtures" / "speech").glob("*.flac")))
    assert set(expression.split(" AND ")) == named | {"MIT"} == {"MIT", "CC-BY-3.0", "BSD-2-Clause"}
    texts = ["LICENSE", "fixtures/speech/LICENCES.txt", "fixtures/speech/SOURCES.md"]
    assert metadata.get_all("License-File") == texts
    licences = (built.tree / "fixtures" / "speech" / "LICENCES.txt").read_text(encoding="utf-8")
    assert all(row[1].strip(" `") in licences for row in rows)
    with zipfile.ZipFile(built.wheel) as archive:
        for name in texts:
            (inside,) = (
                entry for entry in archive.namelist() if entry.endswith(f"dist-info/licenses/{name}")
            )
            assert archive.read(inside) == (built.tree / name).read_bytes()


def test_wheel_brings_the_desktop_entry_its_icon_and_its_description(installed: Installed) -> None:
    share = installed.scripts.parent / "share"
    desktop = installed.site / "audiotest" / "window" / "desktop"
    places = ("applications/audiotest.desktop", "icons/hicolor/scalable/apps/audiotest.svg")
    for place in (*places, "metainfo/invalid.audiotest.audiotest.metainfo.xml"):
        assert (share / place).read_bytes() == (desktop / PurePosixPath(place).name).read_bytes()


@pytest.mark.skipif(os.name == "nt", reason="the menu entry of a Linux desktop")
def test_the_page_makes_the_menu_entry(installed: Installed, tmp_path: Path) -> None:
    page = (ROOT / "docs" / "install.md").read_text(encoding="utf-8").partition("## The menu entry")[2]
    block = re.search(r"```sh\n(.*?)```", page, re.DOTALL)
    assert block is not None
    (tmp_path / "bench").mkdir()
    (tmp_path / "bench" / ".venv").symlink_to(installed.scripts.parent)
    subprocess.run(
        ["sh", "-euc", block[1]],
        cwd=tmp_path / "bench",
        env=os.environ | {"HOME": str(tmp_path), "PWD": str(tmp_path / "bench")},
        check=True,
        timeout=30,
    )
    share = tmp_path / ".local" / "share"
    entry = (share / "applications" / "audiotest.desktop").read_text(encoding="utf-8")
    commands = re.findall(r"^Exec=(\S+)", entry, re.MULTILINE)
    assert len(commands) == 2
    assert all(Path(command).is_file() for command in commands)
    assert f"TryExec={commands[0]}" in entry
    assert (share / "icons" / "hicolor" / "scalable" / "apps" / "audiotest.svg").is_file()


def test_metadata_says_what_it_is(built: Built) -> None:
    metadata = _metadata(built)
    assert metadata["Name"] == "audiotest"
    assert metadata["Requires-Python"] == ">=3.11"
    assert metadata["Summary"]
    assert metadata["Keywords"]
    assert metadata.get_payload().startswith("# audiotest\n")
    assert metadata["Project-URL"] is None  # none is known to lead anywhere


def test_one_version_everywhere(built: Built, installed: Installed) -> None:
    version = _metadata(built)["Version"]
    assert version == audiotest.__version__
    assert built.wheel.name.split("-")[1] == version
    assert installed.run("audiotest", "--version") == f"audiotest {version}\n"
    asked = "import importlib.metadata as m; print(m.version('audiotest'))"
    assert installed.run("python", "-c", asked) == f"{version}\n"


def test_installed_wheel_is_what_runs(installed: Installed) -> None:
    place = Path(installed.run("python", "-c", "import audiotest; print(audiotest.__file__)").strip())
    assert place.is_relative_to(installed.site)


def test_installed_demo_measures_and_advises(installed: Installed) -> None:
    text = installed.run("audiotest", "demo", "--text", "--seconds", "25")
    assert "over 1" in text
    assert re.search(r"mic gain +\S (raise|keep|lower)", text)
    assert "because limiter drive" in text


def test_installed_limits_are_listed(installed: Installed) -> None:
    text = installed.run("audiotest", "limits")
    assert "uk-27fm" in text
    assert text.count("source:") >= 8
