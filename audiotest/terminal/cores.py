"""Several recordings measured at once, one to a core."""

import os
import signal
from collections.abc import Callable, Generator, Sequence
from contextlib import suppress
from typing import TypeVar

from audiotest.errors import AudiotestError

WORTH_BYTES = 30_000_000
"""Another process spends a second on starting: about what five minutes of a recording take."""
SAVED_BYTES = WORTH_BYTES // 4
"""What the other processes have to take over at the least, or one had as well do all."""

Found = TypeVar("Found")


def cores_for(files: Sequence[str]) -> int:
    """Processes to measure `files` with: one, unless they are much and can be shared out."""
    sizes = []
    for file in files:
        with suppress(OSError):
            sizes.append(os.path.getsize(file))
    count = min(_cores(), len(sizes))
    if count < 2 or sum(sizes) < WORTH_BYTES:
        return 1
    longest = max(max(sizes), sum(sizes) / count)
    return count if sum(sizes) - longest >= SAVED_BYTES else 1


def on_all_cores(measure: Callable[[str], Found], files: Sequence[str]) -> Generator[Found, None, None]:
    """What `measure` finds in each file, in their order.

    Parameters
    ----------
    measure : callable
        Takes a file's name; a function of a module or a partial of one, since it goes to other processes.
    files : sequence of str
        Names of recordings.

    Raises
    ------
    AudiotestError
        One of the other processes was ended from outside.
    """
    count = cores_for(files)
    if count == 1:
        yield from map(measure, files)
        return
    import multiprocessing
    from concurrent.futures import BrokenExecutor, ProcessPoolExecutor

    # Started afresh on every system: a copy of this process would copy the locks of its libraries' threads.
    spawn = multiprocessing.get_context("spawn")
    try:
        pool = ProcessPoolExecutor(count, mp_context=spawn, initializer=_quietly)
    except (OSError, ImportError, NotImplementedError):
        # A system that gives no other processes, as a container without /dev/shm.
        yield from map(measure, files)
        return
    try:
        yield from pool.map(measure, files)
    except BrokenExecutor as error:
        raise AudiotestError(
            "one of the processes that measured was ended from outside",
            "perhaps the memory ran out: close other programs, or measure fewer recordings at once",
        ) from error
    except BaseException:
        # Ctrl-C, or a reader who has gone: nobody waits for the files under way.
        for child in multiprocessing.active_children():
            child.terminate()
        raise
    finally:
        pool.shutdown(cancel_futures=True)


def _cores() -> int:
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


def _quietly() -> None:
    """Leave Ctrl-C to the process that was started by hand."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
