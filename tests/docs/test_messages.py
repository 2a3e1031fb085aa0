"""What the program can say to its user: every error has its remedy, every condition and note its entry."""

import ast
import re
from collections.abc import Iterator
from pathlib import Path

import pytest

import audiotest
from audiotest.measure.conditions import CONDITIONS

PACKAGE = Path(audiotest.__file__).parent
PAGE = " ".join(
    (Path(__file__).parents[2] / "docs" / "troubleshooting.md").read_text(encoding="utf-8").split()
)
ERRORS = {"AudiotestError", "FileError", "DeviceError", "RequestError", "MeasureError"}
WRITE_NOTES = (
    "measure/over.py", "feeds/file.py", "feeds/channels.py", "feeds/soundcard.py", "session/engine.py",
    "terminal/check.py",
)  # fmt: skip
"""Where the notes on an over and on a recording are written."""
NEXT_TO_CARDS = "lost"
"""Notes with this word have a section of their own, "Samples lost"."""


def _tree(path: Path) -> ast.Module:
    return ast.parse(path.read_text(encoding="utf-8"))


def _errors_without_remedy(tree: ast.Module) -> list[int]:
    """Lines where an error for a user is made of a text of the program's own, and nothing says what to do."""
    lines = []
    for node in ast.walk(tree):
        if not (isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id in ERRORS):
            continue
        own_words = bool(node.args) and isinstance(node.args[0], ast.Constant | ast.JoinedStr)
        remedy = node.args[1] if len(node.args) > 1 else None
        empty = remedy is None or (isinstance(remedy, ast.Constant) and not remedy.value)
        if own_words and empty:
            lines.append(node.lineno)
    return lines


@pytest.mark.parametrize(
    "path", sorted(PACKAGE.rglob("*.py")), ids=lambda path: path.relative_to(PACKAGE).as_posix()
)
def test_every_error_says_what_to_do(path: Path):
    assert _errors_without_remedy(_tree(path)) == []


def test_an_error_without_remedy_is_caught():
    assert _errors_without_remedy(ast.parse('raise FileError("clip.wav: is empty")')) == [1]
    assert _errors_without_remedy(ast.parse('raise FileError("clip.wav: is empty", "record again")')) == []


def _texts(value: ast.expr, constants: dict[str, ast.expr]) -> Iterator[str]:
    """The texts in an expression, constants of the module looked up, ``*`` for what is filled in."""
    if isinstance(value, ast.JoinedStr):
        yield "".join(str(part.value) if isinstance(part, ast.Constant) else "*" for part in value.values)
    elif isinstance(value, ast.Constant) and isinstance(value.value, str):
        yield value.value
    elif isinstance(value, ast.Name) and value.id in constants:
        yield from _texts(constants[value.id], constants)
    elif isinstance(value, ast.Tuple | ast.List):
        for each in value.elts:
            yield from _texts(each, constants)
    elif isinstance(value, ast.IfExp):
        yield from _texts(value.body, constants)
        yield from _texts(value.orelse, constants)


def _notes(tree: ast.Module) -> set[str]:
    constants: dict[str, ast.expr] = {}
    for node in tree.body:
        if isinstance(node, ast.Assign) and isinstance(node.targets[0], ast.Name):
            constants[node.targets[0].id] = node.value
    found: set[str] = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.Call) and ast.unparse(node.func).endswith("notes.append"):
            found.update(_texts(node.args[0], constants))
        elif isinstance(node, ast.Assign | ast.AugAssign):
            target = node.targets[0] if isinstance(node, ast.Assign) else node.target
            if ast.unparse(target).endswith("notes"):
                found.update(_texts(node.value, constants))
    return found


def _is_on_the_page(note: str) -> bool:
    pattern = r".{1,60}?".join(re.escape(part) for part in note.split("*"))
    return re.search(pattern, PAGE) is not None


def test_every_note_has_an_entry():
    notes = {note for name in WRITE_NOTES for note in _notes(_tree(PACKAGE / name))}
    assert len(notes) >= 18
    missing = [note for note in sorted(notes) if NEXT_TO_CARDS not in note and not _is_on_the_page(note)]
    assert missing == []


def test_the_notes_that_are_put_together_elsewhere_have_an_entry():
    for words in (
        "de-emphasis of the feed judged from its noise: * µs",
        "de-emphasis of the feed not known: 750 µs assumed",
        "a steady offset (DC) of * % of full scale takes up room that the audio needs",
        "lopsided",
    ):
        assert _is_on_the_page(words)
        fragment = max(words.split("*"), key=len)
        sources = [PACKAGE / name for name in ("measure/over.py", "measure/emphasis.py", "advise/wording.py")]
        assert any(fragment in path.read_text(encoding="utf-8") for path in sources), fragment


def test_every_condition_has_an_entry():
    for condition in CONDITIONS.values():
        assert _is_on_the_page(condition.meaning)
        assert condition.remedy
