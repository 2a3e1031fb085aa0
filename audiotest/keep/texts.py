"""Free text as it is kept: whatever was typed, but nothing that could upset a screen or a file."""

import unicodedata

from audiotest.errors import RequestError

LONGEST_TEXT = 4000
TURNING = frozenset("\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069")


def clean(text: str) -> str:
    """Free text as it is kept: no control characters but line ends, valid Unicode, not endless.

    Signs that turn the direction of writing are left out as well: they can make a sheet say another thing
    than it holds (Unicode Technical Report 36, section 2.9, from memory). What is too long raises
    `RequestError`.
    """
    sound = text.encode("utf-8", "replace").decode("utf-8")
    kept = "".join(
        sign for sign in sound if sign == "\n" or (unicodedata.category(sign) != "Cc" and sign not in TURNING)
    )
    if len(kept) > LONGEST_TEXT:
        raise RequestError(f"{kept[:20]!r}... is longer than {LONGEST_TEXT} characters", "shorten it")
    return kept.strip()


def line(text: str) -> str:
    r"""Free text that has to stay in one line, such as a name: line ends become blanks.

    >>> line("Wren\n40")
    'Wren 40'
    """
    return " ".join(clean(text).split())


def needed(text: str, what: str) -> str:
    """Free text that may not be empty; `RequestError` names `what` is."""
    tidy = clean(text)
    if not tidy:
        raise RequestError(f"{what} is empty", "say in a few words what it is")
    return tidy
