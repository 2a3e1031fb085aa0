"""Two overs made equally loud to listen to, and which of them plays as A and as B; knows nothing of Qt."""

import random
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from audiotest.errors import RequestError
from audiotest.keep.compare import Listened, compare
from audiotest.units import db_amplitude

LETTERS = ("A", "B")


@dataclass(frozen=True, slots=True, kw_only=True)
class Matched:
    """Two sounds of one loudness (ITU-R BS.1770), shapes (n,), with their rates and what differed before."""

    sounds: tuple[NDArray[np.float32], NDArray[np.float32]]
    rates_hz: tuple[int, int]
    gains_db: tuple[float, float]
    changes: tuple[str, ...]


def match(first: Listened, second: Listened) -> Matched:
    """Turn the louder of two overs down until both are equally loud; no peak comes above -1 dBFS.

    Raises
    ------
    RequestError
        One of them is too short or too quiet to have a loudness.
    """
    compared = compare(first, second)
    if compared.gains_db is None:
        silent = first if compared.first_lufs is None else second
        raise RequestError(
            f"{silent.name} is too short or too quiet to match in loudness", "take a longer over"
        )
    one, other = (
        (clip.samples * db_amplitude(gain_db)).astype(np.float32)
        for clip, gain_db in zip((first, second), compared.gains_db, strict=True)
    )
    return Matched(
        sounds=(one, other), rates_hz=(first.rate_hz, second.rate_hz), gains_db=compared.gains_db,
        changes=compared.changes,
    )  # fmt: skip


class HiddenOrder:
    """Which of two plays as A and which as B: in order and told, or drawn by lot and told when asked.

    Parameters
    ----------
    names : tuple
        What the first and the second are called.
    draw : Random or None
        Draws the lot; None takes the system's.
    """

    def __init__(self, names: tuple[str, str], draw: random.Random | None = None) -> None:
        self.names = names
        self.blind = False
        self.told = True
        self._draw = draw or random.SystemRandom()
        self._order = (0, 1)

    def hide(self, blind: bool) -> None:
        """Draw a new order and keep it secret, or go back to the plain one."""
        self.blind, self.told = blind, not blind
        self._order = (0, 1)
        if blind and self._draw.random() < 0.5:
            self._order = (1, 0)

    def source(self, place: int) -> int:
        """Which of the two, 0 or 1, plays as A (place 0) or as B (place 1)."""
        return self._order[place]

    def label(self, place: int) -> str:
        """What is said about A or B."""
        return f"{LETTERS[place]}: {self.names[self._order[place]] if self.told else '?'}"

    def tell(self) -> str:
        """Give the order away."""
        self.told = True
        return "; ".join(f"{letter} is {self.names[self._order[k]]}" for k, letter in enumerate(LETTERS))
