"""The process around a command: its streams, Ctrl-C while it loads, and what the system refused."""

import codecs
import errno
import io
import os
import signal
import sys
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from typing import TextIO

PLAIN = {
    "±": "+-", "−": "-", "–": "-", "—": "-", "×": "x", "·": " ", "…": "...", "→": "->", "µ": "u", "μ": "u",
    "Ω": "ohm", "°": "deg", "²": "2", "³": "3", "β": "beta", "✓": "ok", "✗": "!", "•": "*",
}  # fmt: skip
"""What stands for a sign on a terminal that lacks it."""
_PLAINLY = "audiotest-plainly"
_OUT_OF_ROOM = {errno.ENOSPC, errno.EFBIG, errno.EIO, getattr(errno, "EDQUOT", errno.ENOSPC)}


@contextmanager
def ends_at_once_on_interrupt(status: int) -> Iterator[None]:
    """End the process with `status` and without a word on Ctrl-C.

    While modules load nothing needs tidying, and an exception in the middle of it may be swallowed or come
    out as some other one.
    """
    before = signal.getsignal(signal.SIGINT)
    if before is not signal.default_int_handler:
        yield
        return
    try:
        signal.signal(signal.SIGINT, lambda *_: os._exit(status))
    except ValueError:  # not the main thread: Ctrl-C is somebody else's
        yield
        return
    try:
        yield
    finally:
        signal.signal(signal.SIGINT, before)


class _Nowhere(io.TextIOBase):
    """Stands for a standard output that is closed: writing fails, and is not forgotten."""

    def __init__(self) -> None:
        self._lost = False

    def writable(self) -> bool:
        return True

    def write(self, text: str) -> int:
        self._lost = self._lost or bool(text)
        self.flush()
        return len(text)

    def flush(self) -> None:
        if self._lost:
            raise OSError(errno.EBADF, "it is closed")

    def forget(self) -> None:
        """Let the end of the process pass without another complaint."""
        self._lost = False


def _plainly(error: UnicodeError) -> tuple[str, int]:
    r"""What is written for characters that an encoding lacks: a plain sign, or else an escape as in JSON.

    >>> _plainly(UnicodeEncodeError("ascii", "±2 kΩ Ж", 0, 1, ""))
    ('+-', 1)
    """
    if not isinstance(error, UnicodeEncodeError):
        raise error
    lacking = error.object[error.start : error.end]
    return "".join(PLAIN.get(sign) or _escaped(sign) for sign in lacking), error.end


def _escaped(sign: str) -> str:
    units = sign.encode("utf-16-be", "surrogatepass")
    return "".join(f"\\u{units[n : n + 2].hex()}" for n in range(0, len(units), 2))


def use_streams() -> None:
    """Make the standard streams fit to be written to, whatever the process was started with.

    Characters that a stream's encoding lacks come out as plain signs or escaped. A stream that is closed gets
    its number taken, or the next file to be opened would get it, and with it whatever a library prints there.
    """
    for number in (0, 1, 2):
        try:
            os.fstat(number)
        except OSError:
            os.open(os.devnull, os.O_RDWR)  # gets the lowest free number
    if sys.stdout is None:
        sys.stdout = _Nowhere()
    if sys.stderr is None:
        sys.stderr = open(os.devnull, "w", encoding="utf-8")  # noqa: SIM115 - open as long as the process
    codecs.register_error(_PLAINLY, _plainly)
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors=_PLAINLY)


def output_works() -> bool:
    """Whether all that was printed so far can be written."""
    try:
        sys.stdout.flush()
    except (OSError, ValueError):
        return False
    return True


def give_up(stream: TextIO) -> None:
    """Send the rest of a stream nowhere: Python flushes at the end and would complain once more."""
    if isinstance(stream, _Nowhere):
        stream.forget()
        return
    with suppress(OSError, ValueError):
        number = stream.fileno()
        nowhere = os.open(os.devnull, os.O_WRONLY)
        os.dup2(nowhere, number)
        os.close(nowhere)


def reason_outside(error: Exception) -> str | None:
    """Say in words what the system refused; None when the program itself is at fault."""
    if not isinstance(error, OSError) or not error.strerror:
        return None
    if error.filename is not None:
        name = os.fsdecode(error.filename) if isinstance(error.filename, str | bytes) else str(error.filename)
        return f"{name}: {error.strerror}: check the name, the drive it is on and your rights there"
    if error.errno in _OUT_OF_ROOM:
        return f"{error.strerror}: make room on the drive, or send the output elsewhere"
    return None
