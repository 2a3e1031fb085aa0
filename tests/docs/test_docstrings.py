"""Public functions say what their caller has to know: shapes, errors, parameters, source."""

import ast
import importlib
import inspect
import pkgutil
import re
from collections.abc import Iterator
from pathlib import Path

import pytest

import audiotest
import audiotest.measure as handbook
from audiotest import errors

PACKAGE = Path(audiotest.__file__).parent
ROOMS = ("measure", "standards", "radio", "feeds", "session", "advise", "tones", "keep")
FILES = [path for room in ROOMS for path in sorted((PACKAGE / room).glob("*.py"))]
FOR_USERS = {
    name
    for name, thing in vars(errors).items()
    if inspect.isclass(thing) and issubclass(thing, errors.AudiotestError)
}
SOURCE = re.compile(
    r"[Tt]extbook|[Nn]o source|from memory|second hand|Bessel|theorem|by integration|\b(18|19|20)\d\d\b"
    r"|ITU-|IEEE|TIA-|Tikhonov|Oppenheim|Federal Standard|[Ss]ee `"
)
PARAMETERS = re.compile(r"^Parameters\n-+\n(.*?)(?=\n\n[A-Z][a-z]+\n-+\n|\Z)", re.MULTILINE | re.DOTALL)
FIELD = re.compile(r"^(\w[\w, ]*?)(?: : (.*))?$", re.MULTILINE)


def public_functions(tree: ast.Module) -> Iterator[tuple[str, ast.FunctionDef]]:
    """Functions and methods with a public name, but for the members of a protocol: its docstring speaks."""
    for node in tree.body:
        if isinstance(node, ast.FunctionDef):
            yield node.name, node
        elif isinstance(node, ast.ClassDef) and not any(
            "Protocol" in ast.unparse(base) for base in node.bases
        ):
            yield from ((f"{node.name}.{at.name}", at) for at in node.body if isinstance(at, ast.FunctionDef))


def is_array(annotation: ast.expr | None) -> bool:
    return annotation is not None and "NDArray" in ast.unparse(annotation)


def raised(function: ast.FunctionDef) -> set[str]:
    """Names of the errors for users that stand after ``raise`` in the function itself."""
    calls = (node.exc for node in ast.walk(function) if isinstance(node, ast.Raise) and node.exc is not None)
    named = (exc.func if isinstance(exc, ast.Call) else exc for exc in calls)
    return {exc.id for exc in named if isinstance(exc, ast.Name)} & FOR_USERS


def parameters(function: ast.FunctionDef) -> list[ast.arg]:
    given = function.args
    every = [*given.posonlyargs, *given.args, *given.kwonlyargs]
    return [argument for argument in every if argument.arg not in ("self", "cls")]


def field_faults(docstring: str, function: ast.FunctionDef) -> Iterator[str]:
    """What is wrong with a section of parameters, if there is one."""
    section = PARAMETERS.search(docstring)
    if section is None:
        return
    described: set[str] = set()
    for names, kind in FIELD.findall(section[1]):
        described |= set(names.split(", "))
        if not kind:
            yield f"{names}: no type"
        if not re.search(rf"^{re.escape(names)} : .*\n +\S", section[1], re.MULTILINE):
            yield f"{names}: no words"
    if described != {argument.arg for argument in parameters(function)}:
        yield f"its parameters are not {sorted(described)}"


def faults(tree: ast.Module, *, methods_have_sources: bool) -> list[str]:
    """What the docstrings of a module leave out."""
    found = []
    about = ast.get_docstring(tree) or ""
    for name, function in public_functions(tree):
        if any(part.startswith("_") for part in name.split(".")):
            continue
        docstring = ast.get_docstring(function) or ""
        arrays = is_array(function.returns) or any(is_array(each.annotation) for each in parameters(function))
        if arrays and not re.search(r"\b[Ss]hapes?\b", docstring):
            found.append(f"{name}: no shape")
        found += [
            f"{name}: raises {error} without a word" for error in raised(function) if error not in docstring
        ]
        found += [f"{name}: {fault}" for fault in field_faults(docstring, function)]
        if methods_have_sources and PARAMETERS.search(docstring) and not SOURCE.search(docstring + about):
            found.append(f"{name}: no source")
    return found


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.relative_to(PACKAGE).as_posix())
def test_docstrings_are_whole(path: Path):
    tree = ast.parse(path.read_text(encoding="utf-8"))
    assert faults(tree, methods_have_sources=path.parent.name == "measure") == []


def test_a_docstring_with_holes_is_caught():
    lacking = '''
def smooth(samples: NDArray[np.float64], width_n: int) -> float:
    """Mean of the samples.

    Parameters
    ----------
    samples
        Audio.
    """
    raise MeasureError("x", "y")
'''
    assert faults(ast.parse(lacking), methods_have_sources=True) == [
        "smooth: no shape",
        "smooth: raises MeasureError without a word",
        "smooth: samples: no type",
        "smooth: samples: no words",
        "smooth: its parameters are not ['samples']",
        "smooth: no source",
    ]


CHAPTER = re.compile(r"^(\w+)\.(\w+) {2,}\S", re.MULTILINE)


def test_the_handbook_has_every_chapter():
    """``python -m pydoc audiotest.measure`` names every module and a function that is in it."""
    named = CHAPTER.findall(handbook.__doc__ or "")
    chapters = [module for module, _ in named]
    assert sorted(chapters) == sorted({module.name for module in pkgutil.iter_modules(handbook.__path__)})
    for module, function in named:
        assert callable(getattr(importlib.import_module(f"audiotest.measure.{module}"), function))
