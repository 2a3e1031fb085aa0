"""Windows and readers in processes of their own, on a display of the test's own."""

import json
import os
import select
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest

HERE = Path(__file__).parent


def environment(**more: str) -> dict[str, str]:
    """Ours, without what would let the processes find another display, bus or Python."""
    left_out = ("DISPLAY", "WAYLAND_DISPLAY", "DBUS_SESSION_BUS_ADDRESS", "PYTHONPATH", "QT_QPA_PLATFORM")
    return {key: value for key, value in os.environ.items() if key not in left_out} | more


@contextmanager
def x_display(screen: str) -> Iterator[str]:
    """An X server of the test's own; the name of its display, which nothing else had."""
    read, write = os.pipe()
    # It stays as it is when its last window goes.
    server = subprocess.Popen(
        ["Xvfb", "-displayfd", str(write), "-screen", "0", screen, "-nolisten", "tcp", "-noreset"],
        pass_fds=[write], stdin=subprocess.DEVNULL, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
    )  # fmt: skip
    os.close(write)
    try:
        ready, _, _ = select.select([read], [], [], 60.0)
        number = os.read(read, 16).decode().strip() if ready else ""
        assert number, "Xvfb does not start"
        yield f":{number}"
    finally:
        os.close(read)
        server.terminate()
        server.wait(20.0)


class Told:
    """A process that tells JSON lines and takes orders."""

    def __init__(self, command: list[str], variables: dict[str, str], log: Path) -> None:
        self._log = log.open("wb")
        self.heard: list[dict[str, Any]] = []
        self.process = subprocess.Popen(
            command, env=variables, stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=self._log,
            text=True, bufsize=1, cwd=HERE.parents[1],
        )  # fmt: skip

    def order(self, text: str) -> None:
        assert self.process.stdin is not None
        self.process.stdin.write(text + "\n")
        self.process.stdin.flush()

    def wait_for(self, wanted: Callable[[dict[str, Any]], bool], longest_s: float = 90.0) -> dict[str, Any]:
        """The next line that is wanted; those before it stay in `heard`."""
        assert self.process.stdout is not None
        end_s = time.monotonic() + longest_s
        while time.monotonic() < end_s:
            ready, _, _ = select.select([self.process.stdout], [], [], 1.0)
            if not ready:
                continue
            line = self.process.stdout.readline()
            assert line, "the process is gone"
            told: dict[str, Any] = json.loads(line)
            self.heard.append(told)
            if wanted(told):
                return told
        pytest.fail(f"nothing of the kind among {self.heard[-20:]}")

    def end(self) -> None:
        if self.process.poll() is None:
            self.process.kill()
        self.process.wait(20.0)
        for pipe in (self.process.stdin, self.process.stdout):
            if pipe is not None:
                pipe.close()
        self._log.close()


def window_process(folder: Path, variables: dict[str, str]) -> Told:
    """The window of `spokenwindow` on show, its files in a folder of its own."""
    command = [sys.executable, "-m", "tests.window.spokenwindow", str(folder)]
    made = Told(command, variables | {"HOME": str(folder)}, folder / "log")
    try:
        made.wait_for(lambda told: told.get("done") == "open")
    except BaseException:
        made.end()
        raise
    return made
