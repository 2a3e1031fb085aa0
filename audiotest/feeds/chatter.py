"""Quiet about what a decoder or a sound library prints on the process's standard error by itself."""

import os
import sys
import threading
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from typing import TextIO

_lock = threading.Lock()
_STANDARD_ERROR = 2
_own: TextIO | None = None
"""The program's own way to the standard error, made when first needed and kept: others may hold it."""
_kept: int | None = None
"""A copy of what descriptor 2 was, while it leads nowhere."""
_holders = 0


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


def quieten_libraries() -> None:
    """From here on only ``sys.stderr`` reaches the standard error, until `hear_libraries` is called as often.

    PortAudio's threads print what ALSA tells them on descriptor 2 when a device goes, at any time and up to
    as fast as they can; nobody at a bench can use it. Nothing is done when ``sys.stderr`` is not the
    process's own, and with AUDIOTEST_TRACEBACK set, when somebody looks for a fault.
    """
    global _own, _kept, _holders
    with _lock:
        _holders += 1
        if _kept is not None or os.environ.get("AUDIOTEST_TRACEBACK"):
            return
        stream = sys.__stderr__
        if stream is None or sys.stderr is not stream:
            return
        with suppress(OSError, ValueError):
            _own = _own or _another(stream)
            _kept = _silence()
        if _own is not None and _kept is not None:
            sys.stderr = _own


def _another(stream: TextIO) -> TextIO:
    """A second stream to where the first one leads, with a descriptor of its own."""
    number = os.dup(stream.fileno())
    return os.fdopen(number, "w", buffering=1, encoding=stream.encoding, errors=stream.errors)


def hear_libraries() -> None:
    """End one `quieten_libraries`; the last one puts the standard error back."""
    global _kept, _holders
    with _lock:
        _holders -= 1
        if _holders > 0 or _kept is None:
            return
        if sys.stderr is _own:
            sys.stderr = sys.__stderr__
        os.dup2(_kept, _STANDARD_ERROR)
        os.close(_kept)
        _kept = None


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
