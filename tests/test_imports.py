"""The house rule on imports: one direction, and the heavy libraries only where they belong."""

import ast
import subprocess
import sys
from pathlib import Path

import pytest

import audiotest

PACKAGE = Path(audiotest.__file__).parent
RANKS = {
    "errors": 0, "units": 0, "records": 0, "extras": 0, "ordinary": 0, "replacing": 0, "standards": 1,
    "measure": 2, "radio": 3, "feeds": 4, "session": 5, "advise": 5, "tones": 6, "keep": 7, "terminal": 8,
    "window": 9, "__main__": 10,
}  # fmt: skip
ROOTS = {0: {"errors", "units", "records"}}
"""Within a rank rooms do not see each other, but for the small modules at the bottom."""
ONLY_IN = {
    "sounddevice": {"feeds/soundcard.py", "tones/output.py", "tones/iqinput.py"},
    "soundfile": {"feeds/file.py", "radio/voices.py"},
    "PySide6": {"window"},
    "pyqtgraph": {"window"},
    "rich": {"terminal"},
    "jinja2": {"keep/reportpage.py"},
    "markupsafe": {"keep/reportpage.py"},
    "fpdf": {"keep/reportpdf.py"},
    "pyloudnorm": {"keep/loudness.py"},
}
"""Libraries that only these files, or the files of these rooms, may import. The recorder of clips writes
its own files, so `keep` may use soundfile as well."""
FREE_ROOMS = {"soundfile": {"keep"}}
OPENS_THE_WINDOW = {
    ("terminal/live.py", "audiotest.window.app"),
    ("terminal/demo.py", "audiotest.window.app"),
}
"""The command line hands over to the window where a command asks for it, and loads it only then."""
FILES = sorted(PACKAGE.rglob("*.py"))


def imported(path: Path) -> list[str]:
    """Every absolute module name the file imports anywhere; relative imports are resolved."""
    names: list[str] = []
    parts = ("audiotest", *path.relative_to(PACKAGE).with_suffix("").parts)
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            names += [alias.name for alias in node.names]
        elif isinstance(node, ast.ImportFrom):
            base = node.module or ""
            if node.level:
                base = ".".join([*parts[: -node.level], base]).rstrip(".")
            names += [f"{base}.{alias.name}" for alias in node.names] if base == "audiotest" else [base]
    return names


def room(path: Path) -> str:
    return path.relative_to(PACKAGE).with_suffix("").parts[0]


@pytest.mark.parametrize("path", FILES, ids=lambda path: str(path.relative_to(PACKAGE)))
def test_imports_point_one_way(path: Path) -> None:
    here = room(path)
    if here == "__init__":
        assert not [name for name in imported(path) if name.startswith("audiotest")]
        return
    assert here in RANKS, f"{here} has no place in the order of imports"
    for name in imported(path):
        if not name.startswith("audiotest.") or name == "audiotest.__version__":
            continue
        if (path.relative_to(PACKAGE).as_posix(), name) in OPENS_THE_WINDOW:
            continue
        there = name.split(".")[1]
        assert there in RANKS, f"{name} is no room"
        allowed = there == here or RANKS[there] < RANKS[here] or there in ROOTS.get(RANKS[here], set())
        assert allowed, f"{path.relative_to(PACKAGE)} imports {name}"


@pytest.mark.parametrize("path", FILES, ids=lambda path: str(path.relative_to(PACKAGE)))
def test_heavy_libraries_stay_in_their_place(path: Path) -> None:
    relative = path.relative_to(PACKAGE).as_posix()
    for name in imported(path):
        library = name.split(".")[0]
        places = ONLY_IN.get(library, {relative}) | FREE_ROOMS.get(library, set())
        assert places & {relative, room(path)}, f"{relative} imports {name}"


def test_the_rule_sees_a_breach(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    module = tmp_path / "measure" / "bad.py"
    module.parent.mkdir()
    module.write_text("def late():\n    from ..session import engine\n    import sounddevice\n")
    monkeypatch.setattr(sys.modules[__name__], "PACKAGE", tmp_path)
    assert imported(module) == ["audiotest.session", "sounddevice"]
    with pytest.raises(AssertionError, match=r"imports audiotest\.session"):
        test_imports_point_one_way(module)
    with pytest.raises(AssertionError, match="imports sounddevice"):
        test_heavy_libraries_stay_in_their_place(module)


@pytest.mark.parametrize("module", ["measure", "session", "advise", "feeds", "radio", "tones", "terminal"])
def test_measuring_loads_neither_qt_nor_portaudio(module: str) -> None:
    code = (
        f"import sys, importlib, pkgutil, audiotest.{module} as m\n"
        "for part in pkgutil.iter_modules(m.__path__):\n"
        "    importlib.import_module(f'{m.__name__}.{part.name}')\n"
        "heavy = ('PySide6', 'pyqtgraph', 'sounddevice', '_sounddevice')\n"
        "print([name for name in heavy if name in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert done.stdout.strip() == "[]", done.stderr
