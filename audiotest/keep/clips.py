"""One over as a file: lossless, never over an older one."""

import os
from datetime import datetime
from pathlib import Path

import numpy as np
import soundfile as sf
from numpy.typing import NDArray

from audiotest.errors import FileError
from audiotest.keep.durable import make_folder, place, sync_file, sync_folder
from audiotest.measure.beat import quantum_n

AROUND_S = 0.5
"""A clip holds its over and this much before and after, less where the recording begins or ends."""


def clip_start_n(start_s: float, rate_hz: int) -> int:
    """Where in its stream the clip of an over begins that starts at ``start_s``.

    At the engine's decision half a second before or just earlier, so that the clip measured by itself is
    framed as the over was. In a clip cut otherwise the times are off by 80 ms at most.

    >>> clip_start_n(3.0, 48000) / 48000, clip_start_n(0.3, 48000)
    (2.48, 0)
    """
    beat_n = quantum_n(rate_hz)
    return max(round((start_s - AROUND_S) * rate_hz), 0) // beat_n * beat_n


def over_in_clip(
    samples: NDArray[np.float32], rate_hz: int, start_s: float, from_s: float, to_s: float
) -> NDArray[np.float32]:
    """Cut ``from_s`` to ``to_s`` out of the clip, shape (n,), of an over that starts at ``start_s``.

    The times are those of the stream the clip was cut from. Hiss around an over is louder than any speech:
    what is said about the over's sound must not hear it.

    >>> over_in_clip(np.arange(400, dtype=np.float32), 100, 3.0, 3.2, 3.23).tolist()
    [72.0, 73.0, 74.0]
    """
    return between(samples, rate_hz, clip_start_n(start_s, rate_hz), from_s, to_s)


def between(
    samples: NDArray[np.float32], rate_hz: int, first_n: int, from_s: float, to_s: float
) -> NDArray[np.float32]:
    """``from_s`` to ``to_s`` of a stream of which `samples`, shape (n,), begin at the sample ``first_n``."""
    return samples[max(round(from_s * rate_hz) - first_n, 0) : max(round(to_s * rate_hz) - first_n, 0)]


def clip_name(when: datetime, number: int) -> str:
    """File name of a kept over without its ending.

    >>> clip_name(datetime(2026, 3, 1, 14, 5, 9), 3)
    '2026-03-01 14-05-09 over 3'
    """
    return f"{when:%Y-%m-%d %H-%M-%S} over {number}"


def save_clip(
    folder: Path,
    name: str,
    codes: NDArray[np.int16] | NDArray[np.int32],
    rate_hz: int,
    *,
    comment: str = "",
) -> Path:
    """Write one channel, shape (n,), as FLAC and return the file's path.

    ``int16`` is kept as 16 bits, ``int32`` as its upper 24 bits. A file that is there already is left alone:
    the name gets a number. The clip appears whole or not at all, also after a power cut.

    Raises
    ------
    FileError
        When the folder cannot be made or written, or there is no audio.
    """
    if len(codes) == 0:
        raise FileError(f"{name}: there is no audio left to keep", "only the last ten minutes are at hand")
    subtype = "PCM_16" if codes.dtype == np.int16 else "PCM_24"
    try:
        make_folder(folder)
        part = folder / f".{name}.{os.getpid()}.part"
        try:
            with sf.SoundFile(
                part, "x", samplerate=rate_hz, channels=1, format="FLAC", subtype=subtype
            ) as file:
                file.title = name
                if comment:
                    file.comment = comment
                file.write(codes)
            sync_file(part)
            path = place(part, folder, name, ".flac")
        finally:
            part.unlink(missing_ok=True)
        sync_folder(folder)
    except (OSError, sf.SoundFileError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise FileError(f"{folder}: the clip cannot be written: {reason}", "choose another folder") from error
    return path
