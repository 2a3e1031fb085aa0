"""The file a learned feed is kept in: TOML, checked field by field when it is read.

A ``[path]`` table holds the learnt path of `audiotest.measure.path`, if there is one. Other tables are left
alone: a later version may have put them there.
"""

import itertools
import math
import os
import tomllib
from dataclasses import asdict, fields, replace
from pathlib import Path
from typing import Any, cast, get_args, get_type_hints

import tomli_w

from audiotest.errors import FileError
from audiotest.ordinary import open_ordinary
from audiotest.records import Feed, PathResponse
from audiotest.replacing import LONGEST_BYTES, OwnKind, refuse_to_replace, write_own

SCHEMA = "audiotest-feed-1"
FEED_FILE = OwnKind(name="feed", schema_family="audiotest-feed-")
LARGEST_WHOLE = 10**15
LEARN_AGAIN = "learn the feed again with 'audiotest feed'"
LEARN_PATH_AGAIN = "learn the path again with 'audiotest feed learn-path'"

_METHODS: tuple[str, ...] = get_args(get_type_hints(Feed)["method"])
_RANGES = {
    "scale_khz_per_fs": (1e-3, 1e5),
    "scale_uncertainty_db": (0.0, 20.0),
    "deemphasis_us": (0.0, 5000.0),
    "tone_hz": (1.0, 50_000.0),
    "deviation_khz": (1e-3, 1000.0),
    "if_bandwidth_khz": (0.1, 1000.0),
    "hiss_dbfs": (-200.0, 20.0),
}
_OPTIONAL = {"deemphasis_us", "tone_hz", "deviation_khz", "if_bandwidth_khz", "hiss_dbfs"}
_NEEDED = {
    "tone": ("tone_hz", "deviation_khz"),
    "carrier-null": ("tone_hz",),
    "hiss": ("if_bandwidth_khz",),
}


PATH_TABLE = "path"
PATH_POINTS = (8, 1024)
_PATH_RANGES = {
    "hz": (1.0, 1e5),
    "gain_db": (-200.0, 200.0),
    "phase_rad": (-1e3, 1e3),
    "gain_error_db": (0.0, 200.0),
    "phase_error_rad": (0.0, 1e3),
    "drive_db": (-20.0, 200.0),
    "softness_db": (-20.0, 20.0),
    "even_db": (-200.0, 20.0),
    "tones_hz": (1.0, 1e5),
    "ceiling_fs": (1e-9, 1e9),
}
_PATH_POINTWISE = ("hz", "gain_db", "phase_rad", "gain_error_db", "phase_error_rad")
_PATH_LISTS = (*_PATH_POINTWISE, "tones_hz")
_PATH_OPTIONAL = {"even_db", "ceiling_fs"}


def save_feed(feed: Feed, path: str | os.PathLike[str]) -> Path | None:
    """Write a feed to `path`, whole or not at all.

    Parameters
    ----------
    feed : Feed
        The scale, and the path if one was learnt over it: it goes into a ``[path]`` table.
    path : str or path
        The file.

    Returns
    -------
    Path or None
        Where the feed is kept that was in its place; see `audiotest.replacing.write_own`.

    Raises
    ------
    FileError
        When `path` cannot be written or is something else than a feed file, or the feed holds a value that
        `load_feed` would refuse.
    """
    refuse_output(path)
    document = {"schema": SCHEMA} | _stated(asdict(replace(feed, path=None)))
    if feed.path is not None:
        document[PATH_TABLE] = _stated(asdict(feed.path))
    _check(os.fspath(path), document)
    return write_own(path, tomli_w.dumps(document).encode("utf-8", errors="replace"), FEED_FILE)


def refuse_output(path: str | os.PathLike[str], reference: str | os.PathLike[str] | None = None) -> None:
    """Refuse a name that a feed must not be written to: see `audiotest.replacing.refuse_to_replace`."""
    refuse_to_replace(path, FEED_FILE, reference)


def load_feed(path: str | os.PathLike[str]) -> Feed:
    """Read a feed; `FileError` says which key is missing, unknown, of the wrong type or out of range."""
    document = _read(path)
    values = {field.name: document.get(field.name) for field in fields(Feed)}
    for key in _RANGES:
        values[key] = None if values[key] is None else float(cast(float, values[key]))
    values[PATH_TABLE] = _path(document.get(PATH_TABLE))
    return Feed(**cast(dict[str, Any], values))


def _path(table: dict[str, Any] | None) -> PathResponse | None:
    """The path of a table that was checked."""
    if table is None:
        return None
    values: dict[str, Any] = {}
    for key in _PATH_RANGES:
        if key in _PATH_LISTS:
            values[key] = tuple(float(value) for value in table[key])
        else:
            values[key] = None if table.get(key) is None else float(table[key])
    return PathResponse(**values)


def _stated(values: dict[str, Any]) -> dict[str, Any]:
    """What is not None; TOML knows no nothing."""
    return {
        key: list(value) if isinstance(value, tuple) else value
        for key, value in values.items()
        if value is not None
    }


def _read(path: str | os.PathLike[str]) -> dict[str, Any]:
    """Read and check the file's document."""
    name = os.fspath(path)
    if not name:
        raise FileError("the name of the feed file is empty", "name a feed file; 'audiotest feed' makes one")
    try:
        if not Path(name).is_file():
            reason = "is not an ordinary file" if Path(name).exists() else "no such file"
            raise FileError(f"{name}: {reason}", "name a feed file; 'audiotest feed' makes one")
        with open_ordinary(name) as file:
            text = file.read(LONGEST_BYTES + 1)
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise FileError(
            f"{name}: cannot be read ({reason})", "check its name and your right to read it"
        ) from error
    if len(text) > LONGEST_BYTES:
        raise FileError(f"{name}: too long for a feed file", "name a feed file; 'audiotest feed' makes one")
    try:
        # Editors on Windows put a byte order mark before it.
        document = tomllib.loads(text.decode("utf-8-sig"))
    except UnicodeDecodeError as error:
        raise FileError(f"{name}: not a feed file, it is no text", LEARN_AGAIN) from error
    except (ValueError, RecursionError) as error:
        reason = " ".join(str(error).split())
        raise FileError(f"{name}: not a feed file, it is no TOML ({reason})", LEARN_AGAIN) from error
    _check(name, document)
    return document


def _check(name: str, document: dict[str, Any]) -> None:
    if document.get("schema") != SCHEMA:
        raise FileError(f"{name}: its schema is {document.get('schema')!r}, not {SCHEMA!r}", LEARN_AGAIN)
    known = {field.name for field in fields(Feed)} - {PATH_TABLE}
    unknown = sorted(
        key
        for key, value in document.items()
        if key not in known | {"schema", PATH_TABLE} and not isinstance(value, dict)
    )
    if unknown:
        raise FileError(f"{name}: unknown key {unknown[0]!r}", f"take it out, or {LEARN_AGAIN}")
    needed = (known - _OPTIONAL) | set(_NEEDED.get(str(document.get("method")), ()))
    missing = sorted(needed - document.keys())
    if missing:
        raise FileError(f"{name}: key {missing[0]!r} is missing", LEARN_AGAIN)
    for key in ("name", "method", "learned"):
        if not isinstance(document[key], str):
            raise FileError(f"{name}: {key!r} is not a text", LEARN_AGAIN)
    if document["method"] not in _METHODS:
        raise FileError(
            f"{name}: method {document['method']!r} is not one of {', '.join(_METHODS)}", LEARN_AGAIN
        )
    for key, limits in _RANGES.items():
        value = document.get(key)
        if value is None and key in _OPTIONAL:
            continue
        _check_number(name, key, value, limits, LEARN_AGAIN)
    if PATH_TABLE in document:
        _check_path(name, document[PATH_TABLE])


def _check_number(name: str, key: str, value: object, limits: tuple[float, float], remedy: str) -> None:
    low, high = limits
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise FileError(f"{name}: {key!r} is not a number", remedy)
    if isinstance(value, int) and abs(value) > LARGEST_WHOLE:  # no float can hold some of these
        raise FileError(f"{name}: {key!r} is a huge number, outside {low:g} to {high:g}", remedy)
    if not (math.isfinite(value) and low <= value <= high):
        raise FileError(f"{name}: {key!r} is {value:g}, outside {low:g} to {high:g}", remedy)


def _check_path(name: str, table: object) -> None:
    if not isinstance(table, dict):
        raise FileError(f"{name}: {PATH_TABLE!r} is not a table", LEARN_PATH_AGAIN)
    unknown = sorted(table.keys() - _PATH_RANGES.keys())
    missing = sorted(_PATH_RANGES.keys() - _PATH_OPTIONAL - table.keys())
    if unknown or missing:
        key, fault = (unknown[0], "unknown") if unknown else (missing[0], "missing")
        raise FileError(f"{name}: key {f'{PATH_TABLE}.{key}'!r} is {fault}", LEARN_PATH_AGAIN)
    for key, limits in _PATH_RANGES.items():
        value = table.get(key)
        whole = f"{PATH_TABLE}.{key}"
        if key in _PATH_LISTS:
            if not isinstance(value, list):
                raise FileError(f"{name}: {whole!r} is not a list", LEARN_PATH_AGAIN)
            for item in value:
                _check_number(name, whole, item, limits, LEARN_PATH_AGAIN)
        elif value is not None or key not in _PATH_OPTIONAL:
            _check_number(name, whole, value, limits, LEARN_PATH_AGAIN)
    count = len(table["hz"])
    if not PATH_POINTS[0] <= count <= PATH_POINTS[1]:
        raise FileError(f"{name}: '{PATH_TABLE}.hz' has {count} points", LEARN_PATH_AGAIN)
    uneven = [key for key in _PATH_POINTWISE if len(table[key]) != count]
    if uneven:
        raise FileError(f"{name}: '{PATH_TABLE}.{uneven[0]}' has not one value per point", LEARN_PATH_AGAIN)
    if any(high <= low for low, high in itertools.pairwise(table["hz"])):
        raise FileError(f"{name}: '{PATH_TABLE}.hz' does not rise", LEARN_PATH_AGAIN)
