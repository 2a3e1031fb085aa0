"""One over as a file: lossless, never over an older one."""

import os
from datetime import datetime
from pathlib import Path

import numpy as np
import soundfile as sf
from numpy.typing import NDArray

from audiotest.errors import FileError


def clip_name(when: datetime, number: int) -> str:
    """File name of a kept over without its ending.

    >>> clip_name(datetime(2026, 3, 1, 14, 5, 9), 3)
    '2026-03-01 14-05-09 over 3'
    """
    return f"{when:%Y-%m-%d %H-%M-%S} over {number}"


def save_clip(folder: Path, name: str, codes: NDArray[np.int16], rate_hz: int, *, comment: str = "") -> Path:
    """Write one channel of 16-bit samples, shape (n,), as FLAC; returns the file's path.

    A file that is there already is left alone: the name gets a number. The clip appears whole or not at all.

    Raises
    ------
    FileError
        When the folder cannot be made or written, or there is no audio.
    """
    if len(codes) == 0:
        raise FileError(f"{name}: there is no audio left to keep", "only the last ten minutes are at hand")
    try:
        folder.mkdir(parents=True, exist_ok=True)
        part = folder / f".{name}.{os.getpid()}.part"
        try:
            with sf.SoundFile(
                part, "x", samplerate=rate_hz, channels=1, format="FLAC", subtype="PCM_16"
            ) as file:
                file.title = name
                if comment:
                    file.comment = comment
                file.write(codes)
            return _place(part, folder, name)
        finally:
            part.unlink(missing_ok=True)
    except (OSError, sf.SoundFileError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise FileError(f"{folder}: the clip cannot be written: {reason}", "choose another folder") from error


def _place(part: Path, folder: Path, name: str) -> Path:
    """Give the finished file the first free name; a link fails where a name is taken, a rename would not."""
    count = 1
    while True:
        target = folder / (f"{name}.flac" if count == 1 else f"{name} ({count}).flac")
        try:
            os.link(part, target)
        except FileExistsError:
            count += 1
        except OSError:
            # A file system without links: leave the small chance that somebody takes the name meanwhile.
            if target.exists():
                count += 1
                continue
            part.replace(target)
            return target
        else:
            return target
