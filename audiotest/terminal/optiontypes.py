"""Numbers on the command line: what `argparse` calls to read one, and to refuse it in words."""

import argparse
import math
from collections.abc import Callable


def positive(text: str) -> float:
    """A finite number above zero."""
    value = float(text)
    if not (math.isfinite(value) and value > 0):
        raise argparse.ArgumentTypeError(f"{text!r} is not a number above zero")
    return value


positive.__name__ = "number"


def not_negative(text: str) -> float:
    """A finite number, zero or above."""
    value = float(text)
    if not (math.isfinite(value) and value >= 0):
        raise argparse.ArgumentTypeError(f"{text!r} is not zero or a number above it")
    return value


not_negative.__name__ = "number"


def from_one(text: str) -> int:
    """A whole number, as channels, sheets and their lines are counted: from 1."""
    value = int(text)
    if value < 1:
        raise argparse.ArgumentTypeError(f"{text!r}: numbers start from 1")
    return value


from_one.__name__ = "number"


def finite(text: str) -> float:
    """A finite number."""
    value = float(text)
    if not math.isfinite(value):
        raise argparse.ArgumentTypeError(f"{text!r} is not a number")
    return value


finite.__name__ = "number"


def within(low: float, high: float, unit: str) -> Callable[[str], float]:
    """A number from ``low`` to ``high``: what lies outside is a slip of the finger, and is refused as one."""

    def number(text: str) -> float:
        value = float(text)
        # Written so that NaN is refused as well.
        if not low <= value <= high:
            raise argparse.ArgumentTypeError(f"{text!r} is not from {low:g} to {high:g} {unit}")
        return value

    return number
