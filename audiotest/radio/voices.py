"""The voices that the simulated radio speaks with: short cuts of real, freely licensed speech."""

from functools import cache
from pathlib import Path

import numpy as np
import soundfile as sf
from numpy.typing import NDArray

from audiotest.errors import RequestError


def _folder() -> Path:
    """The voices inside an installed package, else the fixtures of a source tree."""
    inside = Path(__file__).parent / "voices"
    return inside if inside.is_dir() else Path(__file__).parents[2] / "fixtures" / "speech"


def voice_names() -> tuple[str, ...]:
    """Names of the voices at hand, sorted."""
    return tuple(sorted(path.stem for path in _folder().glob("*.flac")))


@cache
def load_voice(name: str) -> tuple[NDArray[np.float32], int]:
    """One voice: samples of shape (n,), full scale 1.0, and the sample rate in Hz.

    Raises
    ------
    RequestError
        There is no voice of this name.
    """
    path = _folder() / f"{name}.flac"
    if not path.is_file():
        raise RequestError(f"no voice named {name!r}", f"choose one of {', '.join(voice_names())}")
    samples, rate_hz = sf.read(path, dtype="float32")
    samples.flags.writeable = False
    return samples, int(rate_hz)
