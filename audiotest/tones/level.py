"""From a signal to what leaves the sound card: millivolts learned once, a hard ceiling, a soft start."""

import os
import tomllib
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import tomli_w
from numpy.typing import NDArray

from audiotest.errors import FileError, RequestError
from audiotest.ordinary import open_ordinary
from audiotest.replacing import LONGEST_BYTES, OwnKind, write_own
from audiotest.tones.signals import Signal

SCHEMA = "audiotest-output-1"
OUTPUT_FILE = OwnKind(name="output", schema_family="audiotest-output-")
RAMP_S = 0.05
"""Soft start and stop: no click in a headphone, no jump in a transmitter."""
USUAL_CEILING_MV = 100.0
"""Peak at the socket unless the user sets another: ten times what a dynamic microphone gives (common
practice, no source)."""
LEARN_DBFS = -20.0
FULL_SCALE_RANGE_MV = (0.1, 20000.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class OutputScale:
    """What the output gives: millivolts RMS at the socket for a sine of full scale, attenuator included.

    ``ceiling_mv`` is the peak that nothing may exceed.
    """

    name: str
    full_scale_mv: float
    ceiling_mv: float = USUAL_CEILING_MV
    device: str = ""


def learn_output(
    metered_mv: float,
    *,
    sent_dbfs: float = LEARN_DBFS,
    name: str = "output",
    ceiling_mv: float = USUAL_CEILING_MV,
    device: str = "",
) -> OutputScale:
    """Scale from one reading of an AC voltmeter while a sine of ``sent_dbfs`` re a full-scale sine plays.

    Read it at the socket with the set connected: its input loads the attenuator. A reading that is not above
    zero, or a ceiling over what the output can give, raises `RequestError`.

    >>> learn_output(7.75).full_scale_mv
    77.5
    """
    if not (metered_mv > 0.0 and sent_dbfs <= 0.0):
        raise RequestError(f"{metered_mv:g} mV is no reading", "type the meter's millivolts RMS, above zero")
    full_scale_mv = metered_mv / 10.0 ** (sent_dbfs / 20.0)
    low, high = FULL_SCALE_RANGE_MV
    if not low <= full_scale_mv <= high:
        raise RequestError(
            f"{metered_mv:g} mV would make full scale {full_scale_mv:g} mV", "check the meter's range"
        )
    return OutputScale(name=name, full_scale_mv=full_scale_mv, ceiling_mv=ceiling_mv, device=device)


def prepare(signal: Signal, level_mv: float, scale: OutputScale) -> NDArray[np.float32]:
    """Samples for the output, full scale 1.0, with a soft start and stop.

    Parameters
    ----------
    signal : Signal
        What to send.
    level_mv : float
        RMS at the socket while it sounds.
    scale : OutputScale
        Of the output that will play it.

    Returns
    -------
    ndarray of float32, shape (n,)
        As long as the signal, the ramps inside it.

    Raises
    ------
    RequestError
        The peak would pass the ceiling, or full scale. Nothing is turned down silently.
    """
    if not level_mv > 0.0:
        raise RequestError(f"{level_mv:g} mV is no level", "ask for a level above zero")
    peak_mv = level_mv * signal.crest
    if peak_mv > scale.ceiling_mv * (1.0 + 1e-9):
        raise RequestError(
            f"{signal.name} at {level_mv:g} mV peaks at {peak_mv:.3g} mV, over the ceiling of "
            f"{scale.ceiling_mv:g} mV",
            f"ask for {scale.ceiling_mv / signal.crest:.3g} mV or less, or set another ceiling",
        )
    size = level_mv / scale.full_scale_mv / np.sqrt(2.0)
    if size * signal.crest > 1.0:
        raise RequestError(
            f"{signal.name} at {level_mv:g} mV is more than the output gives",
            f"{scale.full_scale_mv * np.sqrt(2.0) / signal.crest:.3g} mV is the most; "
            "less attenuation and learn the output again",
        )
    # The ceiling is checked on what was asked for, and cut off at here for whatever was not foreseen.
    top = min(1.0, scale.ceiling_mv / scale.full_scale_mv / np.sqrt(2.0))
    samples = np.clip(size * signal.samples, -top, top) * soft_edges(len(signal.samples), signal.rate_hz)
    return np.asarray(samples, dtype=np.float32)


def soft_edges(count: int, rate_hz: int, ramp_s: float = RAMP_S) -> NDArray[np.float64]:
    """Gain over `count` samples, shape (count,), that rises from and falls to nothing as a raised cosine."""
    ramp_n = min(round(ramp_s * rate_hz), count // 2)
    gain = np.ones(count)
    if ramp_n > 0:
        rise = 0.5 - 0.5 * np.cos(np.pi * (np.arange(ramp_n) + 0.5) / ramp_n)
        gain[:ramp_n], gain[count - ramp_n :] = rise, rise[::-1]
    return gain


def save_output(scale: OutputScale, path: str | os.PathLike[str]) -> Path | None:
    """Write a learned output, and return where the one is kept that was in its place, if there was one.

    `FileError` where it cannot be written or something else would be lost.
    """
    text = tomli_w.dumps(
        {
            "schema": SCHEMA, "name": scale.name, "full_scale_mv": scale.full_scale_mv,
            "ceiling_mv": scale.ceiling_mv, "device": scale.device,
        }
    )  # fmt: skip
    return write_own(path, text.encode(), OUTPUT_FILE, make_folder=True)


def shortened(text: str, most: int = 40) -> str:
    """A text that is not too long for an error's line.

    >>> shortened("1" * 400)
    '1111111111111111111111111111111111111...'
    """
    return text if len(text) <= most else f"{text[: most - 3]}..."


def load_output(path: str | os.PathLike[str]) -> OutputScale:
    """Read a learned output; `FileError` says what is wrong with the file."""
    again = "learn the output again with 'audiotest send learn'"
    if not os.fspath(path):
        raise FileError(
            "the name of the output file is empty", "name an output file; 'audiotest send learn' makes one"
        )
    try:
        with open_ordinary(path) as file:
            document = tomllib.loads(file.read(LONGEST_BYTES).decode("utf-8-sig"))
    except OSError as error:
        raise FileError(f"{path}: cannot be read ({error.strerror or error})", again) from error
    except UnicodeDecodeError as error:
        raise FileError(f"{path}: no output file, it is no text", again) from error
    except (ValueError, RecursionError) as error:
        reason = " ".join(str(error).split())
        raise FileError(f"{path}: no output file, it is no TOML ({reason})", again) from error
    if document.get("schema") != SCHEMA:
        said = shortened(repr(document.get("schema")))
        raise FileError(f"{path}: its schema is {said}, not {SCHEMA!r}", again)
    values = {}
    for key, (low, high) in {"full_scale_mv": FULL_SCALE_RANGE_MV, "ceiling_mv": (0.01, 20000.0)}.items():
        value = document.get(key)
        if isinstance(value, bool) or not isinstance(value, int | float) or not low <= value <= high:
            said = shortened(repr(value))
            raise FileError(f"{path}: {key!r} is {said}, not within {low:g} to {high:g}", again)
        values[key] = float(value)
    return OutputScale(
        name=str(document.get("name", "output")), device=str(document.get("device", "")), **values
    )
