"""Files that others name are opened only when they are files."""

import errno
import os
import stat
from typing import BinaryIO


def open_ordinary(path: str | os.PathLike[str]) -> BinaryIO:
    """Open a file for reading, its bytes as they are; links are followed.

    Raises
    ------
    OSError
        It cannot be opened, or it is a folder, a device or a pipe: those may have no end, or wait for ever.
        Asked of what is open, not of its name, which may lead elsewhere a moment later.
    """
    # Without waiting: opening a pipe for reading would wait until somebody writes into it.
    number = os.open(path, os.O_RDONLY | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_BINARY", 0))
    try:
        if not stat.S_ISREG(os.fstat(number).st_mode):
            raise OSError(errno.EINVAL, "it is not an ordinary file", os.fspath(path))
        return open(number, "rb")
    except BaseException:
        os.close(number)
        raise
