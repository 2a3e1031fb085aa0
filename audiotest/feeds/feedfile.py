"""The file a learned feed is kept in: TOML, checked field by field when it is read."""

import math
import os
import tomllib
from dataclasses import asdict, fields
from pathlib import Path
from typing import Any, cast, get_args, get_type_hints

import tomli_w

from audiotest.errors import FileError
from audiotest.records import Feed

SCHEMA = "audiotest-feed-1"
LONGEST_BYTES = 65536
LEARN_AGAIN = "learn the feed again with 'audiotest feed'"

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


def save_feed(feed: Feed, path: str | os.PathLike[str]) -> None:
    """Write a feed to `path`, whole or not at all; a feed file that is already there is replaced.

    Raises
    ------
    FileError
        When `path` cannot be written or is something else than an ordinary file, or the feed holds a value
        that `load_feed` would refuse.
    """
    target = Path(os.path.realpath(path))
    document = {"schema": SCHEMA} | {key: value for key, value in asdict(feed).items() if value is not None}
    _check(os.fspath(path), document)
    if target.exists() and not target.is_file():
        raise FileError(f"{path}: is not an ordinary file", "name a file to write the feed to")
    part = target.with_name(f".{target.name}.{os.getpid()}.part")
    try:
        part.write_bytes(tomli_w.dumps(document).encode("utf-8", errors="replace"))
        part.replace(target)
    except OSError as error:
        part.unlink(missing_ok=True)
        raise FileError(
            f"{path}: cannot be written: {error.strerror or error}", "name a place you may write to"
        ) from error


def load_feed(path: str | os.PathLike[str]) -> Feed:
    """Read a feed; `FileError` says which key is missing, unknown, of the wrong type or out of range."""
    name = os.fspath(path)
    try:
        if not Path(name).is_file():
            reason = "is not an ordinary file" if Path(name).exists() else "no such file"
            raise FileError(f"{name}: {reason}", "name a feed file; 'audiotest feed' makes one")
        with open(name, "rb") as file:
            text = file.read(LONGEST_BYTES + 1)
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise FileError(
            f"{name}: cannot be read ({reason})", "check its name and your right to read it"
        ) from error
    if len(text) > LONGEST_BYTES:
        raise FileError(f"{name}: too long for a feed file", "name a feed file; 'audiotest feed' makes one")
    try:
        document = tomllib.loads(text.decode("utf-8"))
    except (tomllib.TOMLDecodeError, UnicodeDecodeError, RecursionError) as error:
        reason = " ".join(str(error).split())
        raise FileError(f"{name}: not a feed file, it is no TOML ({reason})", LEARN_AGAIN) from error
    _check(name, document)
    values = {field.name: document.get(field.name) for field in fields(Feed)}
    for key in _RANGES:
        values[key] = None if values[key] is None else float(cast(float, values[key]))
    return Feed(**cast(dict[str, Any], values))


def _check(name: str, document: dict[str, Any]) -> None:
    if document.get("schema") != SCHEMA:
        raise FileError(f"{name}: its schema is {document.get('schema')!r}, not {SCHEMA!r}", LEARN_AGAIN)
    known = {field.name for field in fields(Feed)}
    unknown = sorted(document.keys() - known - {"schema"})
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
    for key, (low, high) in _RANGES.items():
        value = document.get(key)
        if value is None and key in _OPTIONAL:
            continue
        if isinstance(value, bool) or not isinstance(value, int | float):
            raise FileError(f"{name}: {key!r} is not a number", LEARN_AGAIN)
        if not (math.isfinite(value) and low <= value <= high):
            raise FileError(f"{name}: {key!r} is {value:g}, outside {low:g} to {high:g}", LEARN_AGAIN)
