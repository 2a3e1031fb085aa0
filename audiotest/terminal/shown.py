"""What a terminal may show: names with nothing in them that it acts on, and complaints in one line."""

import sys
import unicodedata

_SURROGATES = range(0xDC80, 0xDD00)
"""How Python keeps the bytes of a name that are no UTF-8 (PEP 383)."""


def shown(text: str) -> str:
    r"""Return `text` with everything escaped that a terminal acts on or that turns the direction of writing.

    Control and format characters, line separators, unassigned characters and the bytes of a name that are no
    UTF-8 come out as Python writes them in a string; spaces, letters and signs of all scripts stay.

    >>> print(shown("no\x1b[31mred.wav"), shown("two\nlines\u202e.wav"))
    no\x1b[31mred.wav two\nlines\u202e.wav
    >>> print(shown("lat\udce9in.wav"), shown("Grüße 27 MHz.wav"))
    lat\xe9in.wav Grüße 27 MHz.wav
    """
    if text.isprintable():
        return text
    return "".join(map(_escaped, text))


def _escaped(character: str) -> str:
    if character.isprintable() or unicodedata.category(character) == "Zs":
        return character
    if ord(character) in _SURROGATES:
        return f"\\x{ord(character) - 0xDC00:02x}"
    return character.encode("unicode_escape").decode("ascii")


def complain(message: str) -> None:
    """Say on standard error, in one line, what could not be done; `OSError` when that cannot be written."""
    print(f"audiotest: {shown(message)}", file=sys.stderr)
