"""Quiet about what a decoder prints on the process's standard error by itself."""

import os
import sys
import threading
from collections.abc import Iterator
from contextlib import contextmanager, suppress

_lock = threading.Lock()
_STANDARD_ERROR = 2


def is_mpeg(path: str | os.PathLike[str]) -> bool:
    """Whether a file begins like MPEG audio: a frame's sync word (ISO/IEC 11172-3) or an ID3v2 tag."""
    try:
        with open(path, "rb") as file:
            start = file.read(3)
    except OSError:
        return False
    return start == b"ID3" or (len(start) > 1 and start[0] == 0xFF and start[1] & 0xE0 == 0xE0)


@contextmanager
def decoder_silenced(chatters: bool) -> Iterator[None]:
    """Send descriptor 2 nowhere while a decoder runs that chatters; always put back.

    libmpg123, through which libsndfile reads MP3, prints its warnings there and offers libsndfile's callers
    no switch. What another thread prints in the same few milliseconds is lost too: hold it over one call of
    the decoder only, and never while blocks are being measured.
    """
    if not chatters:
        yield
        return
    with _lock:
        kept = _silence()
        try:
            yield
        finally:
            if kept is not None:
                os.dup2(kept, _STANDARD_ERROR)
                os.close(kept)


def _silence() -> int | None:
    """Send descriptor 2 nowhere and return a copy of what it was; None when it is closed."""
    if sys.stderr is not None:
        with suppress(OSError, ValueError):
            sys.stderr.flush()
    try:
        kept = os.dup(_STANDARD_ERROR)
    except OSError:
        return None
    try:
        nowhere = os.open(os.devnull, os.O_WRONLY)
    except OSError:
        os.close(kept)
        return None
    os.dup2(nowhere, _STANDARD_ERROR)
    os.close(nowhere)
    return kept
