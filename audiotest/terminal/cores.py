"""Several recordings measured at once, one to a core."""

import os
import signal
from collections.abc import Callable, Iterator, Sequence
from contextlib import suppress
from typing import TypeVar

WORTH_BYTES = 30_000_000
"""Another process spends a second on starting: about what five minutes of a recording take."""

Found = TypeVar("Found")


def cores_for(files: Sequence[str]) -> int:
    """Processes to measure `files` with: one, unless there are several large recordings."""
    sizes = []
    for file in files:
        with suppress(OSError):
            sizes.append(os.path.getsize(file))
    large = sum(size >= WORTH_BYTES / 4 for size in sizes)
    if large < 2 or sum(sizes) < WORTH_BYTES:
        return 1
    return min(_cores(), len(files))


def on_all_cores(measure: Callable[[str], Found], files: Sequence[str]) -> Iterator[Found]:
    """What `measure` finds in each file, in their order.

    Parameters
    ----------
    measure : callable
        Takes a file's name; a function of a module or a partial of one, since it goes to other processes.
    files : sequence of str
        Names of recordings.
    """
    count = cores_for(files)
    if count == 1:
        yield from map(measure, files)
        return
    import multiprocessing
    from concurrent.futures import ProcessPoolExecutor

    # Started afresh on every system: a copy of this process would copy the locks of its libraries' threads.
    pool = ProcessPoolExecutor(count, mp_context=multiprocessing.get_context("spawn"), initializer=_quietly)
    try:
        yield from pool.map(measure, files)
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
