"""Slow work in a thread of its own, its results taken in by whoever polls; knows nothing of Qt."""

from collections import deque
from collections.abc import Callable
from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import suppress
from typing import Any

from audiotest.errors import AudiotestError


class Chores:
    """One thread that does one thing after the other."""

    def __init__(self, name: str) -> None:
        self._thread = ThreadPoolExecutor(1, thread_name_prefix=name)
        self._pending: deque[tuple[Future[Any], Callable[[Any], None]]] = deque()
        self._closed = False

    def later(self, work: Callable[[], Any], done: Callable[[Any], None]) -> Future[Any] | None:
        """Do `work` in the thread and hand its result to `done` from `poll`; None once closed."""
        if self._closed:
            return None
        future = self._thread.submit(work)
        self._pending.append((future, done))
        return future

    def poll(self, say: Callable[[str], None]) -> None:
        """Take in what is finished, in the order it was asked for; what went wrong is said in words."""
        while self._pending and self._pending[0][0].done():
            future, done = self._pending.popleft()
            try:
                done(future.result())
            except AudiotestError as error:
                say(str(error))
            except OSError as error:
                say(f"{error.strerror or error}: check who may use the input or the folder")
            except Exception as error:
                say(in_words(error))

    def close(self) -> None:
        """Finish what is being done; what was opened for nobody any more is closed. Safe to call twice."""
        self._closed = True
        self._thread.shutdown(wait=True)
        while self._pending:
            future, _ = self._pending.popleft()
            result = None if future.exception() is not None else future.result()
            close = getattr(result, "close", None)
            if close is not None:
                with suppress(AudiotestError):
                    close()


def in_words(error: Exception) -> str:
    """What ended a run or a chore; an error that nobody foresaw is called one."""
    if isinstance(error, AudiotestError):
        return str(error)
    return f"unexpected {type(error).__name__}: {error}: a fault of the program"
