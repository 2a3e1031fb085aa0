"""JSON documents that somebody hands in."""

import json
from typing import Any


def read_json(content: bytes) -> dict[str, Any]:
    """The document in a file's content; raises `ValueError` in words for a user when there is none.

    NaN and Infinity are no numbers (RFC 8259, section 6).

    >>> read_json(b'{"a": 1}')
    {'a': 1}
    """
    try:
        document = json.loads(content, parse_constant=_no_number)
    except (UnicodeDecodeError, json.JSONDecodeError) as error:
        raise ValueError("it is no JSON document") from error
    except RecursionError as error:
        raise ValueError("it is nested too deeply") from error
    if not isinstance(document, dict):
        raise ValueError("it is no JSON document with names in it")
    return document


def _no_number(name: str) -> float:
    raise ValueError(f"{name} is no number")
