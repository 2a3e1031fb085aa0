"""The window under a Wayland compositor without a screen: it opens, follows its size, closes cleanly."""

import os
import shutil
import subprocess
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from PySide6.QtCore import QLibraryInfo
from PySide6.QtGui import QImage

from tests.window.processes import Told, environment, window_process

pytestmark = pytest.mark.window
SIZE = (1280, 720)


@pytest.fixture
def compositor(tmp_path: Path) -> Iterator[dict[str, str]]:
    """A compositor without a screen; the variables that lead to it."""
    plugins = Path(QLibraryInfo.path(QLibraryInfo.LibraryPath.PluginsPath))
    if not list(plugins.glob("platforms/libqwayland*.so")):
        pytest.skip("this Qt has no Wayland plugin")
    if shutil.which("weston") is None:
        if os.environ.get("CI"):
            pytest.fail("weston not found: Wayland must be tried here")
        pytest.skip("weston not found: no Wayland compositor to try")
    folder = tmp_path / "run"
    folder.mkdir(mode=0o700)
    variables = environment(XDG_RUNTIME_DIR=str(folder))
    width, height = SIZE
    command = [
        "weston", "--backend=headless-backend.so", f"--width={width}", f"--height={height}",
        "--socket=bench", "--no-config", "--idle-time=0", f"--log={tmp_path / 'weston.log'}",
    ]  # fmt: skip
    quiet: dict[str, Any] = dict.fromkeys(("stdin", "stdout", "stderr"), subprocess.DEVNULL)
    server = subprocess.Popen(command, env=variables, **quiet)
    try:
        end_s = time.monotonic() + 60.0
        while not (folder / "bench").exists():
            assert server.poll() is None, (tmp_path / "weston.log").read_text()
            assert time.monotonic() < end_s, "weston does not start"
            time.sleep(0.1)
        yield variables | {"WAYLAND_DISPLAY": "bench", "QT_QPA_PLATFORM": "wayland"}
    finally:
        server.terminate()
        server.wait(20.0)


def told(window: Told, order: str) -> dict[str, Any]:
    """Carry out an order; how the window stands afterwards."""
    window.order(order)
    return window.wait_for(lambda line: line.get("done") == order)


def until(window: Told, **wanted: Any) -> None:
    """The compositor's answer comes when it comes."""
    end_s = time.monotonic() + 30.0
    while time.monotonic() < end_s:
        now = told(window, "look")
        if all(now[key] == value for key, value in wanted.items()):
            return
        time.sleep(0.2)
    pytest.fail(f"wanted {wanted}, found {now}")


def test_it_opens_resizes_fills_the_screen_and_closes(compositor: dict[str, str], tmp_path: Path) -> None:
    folder = tmp_path / "window"
    folder.mkdir()
    window = window_process(folder, compositor)
    try:
        assert told(window, "over 19 2.3")["platform"] == "wayland"
        told(window, "resize 1100 650")
        until(window, size=[1100, 650], full=False)
        first = told(window, "do set_up")["frames"]
        told(window, "shut")
        told(window, "do far")
        until(window, size=list(SIZE), full=True)
        told(window, f"grab {tmp_path / 'far.png'}")
        told(window, "do far")
        # Once the compositor has had its say, too.
        time.sleep(2.0)
        until(window, size=[1100, 650], full=False)
        assert told(window, f"grab {tmp_path / 'bench.png'}")["frames"] > first
        for name, size in (("far", SIZE), ("bench", (1100, 650))):
            image = QImage(str(tmp_path / f"{name}.png"))
            assert (image.width(), image.height()) == size
            colours = {
                image.pixel(x, y) for x in range(0, size[0], 4) for y in range(0, size[1], 4)
            }  # fmt: skip
            assert len(colours) > 20, f"{name} shows something"
        window.order("close")
        assert window.process.wait(60.0) == 0
        complaints = (folder / "log").read_text()
        assert "rror" not in complaints, complaints
    finally:
        window.end()
