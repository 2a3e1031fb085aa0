"""Negative numbers in the window carry a minus sign, not a hyphen."""

import re

NEGATIVE = re.compile(r"(?<![\w./\\-])-(?=\d)")
"""A hyphen before a digit that joins nothing and stands in no file name."""


def with_minus(text: str) -> str:
    """`text` with a minus sign before every negative number.

    >>> with_minus("two-tone: -12.5 dB, 300-3000 Hz")
    'two-tone: −12.5 dB, 300-3000 Hz'
    >>> with_minus("clips/-3.wav of 2026-11-25")
    'clips/-3.wav of 2026-11-25'
    """
    return NEGATIVE.sub("−", text)
