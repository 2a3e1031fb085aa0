"""``live`` and ``inputs`` without a device, without PortAudio, without Qt."""

import os
import subprocess
import sys
from pathlib import Path

import pytest


@pytest.fixture
def without(tmp_path: Path):
    """Make a directory for PYTHONPATH in which the named modules fail to import."""

    def build(**failures: str) -> str:
        place = tmp_path / "missing"
        place.mkdir()
        for name, failure in failures.items():
            (place / f"{name}.py").write_text(f"raise {failure}\n", encoding="utf-8")
        return f"{place}{os.pathsep}{Path(__file__).parents[2]}"

    return build


NO_PORTAUDIO = "OSError('PortAudio library not found')"
NO_MODULE = "ModuleNotFoundError(f'No module named {__name__!r}', name=__name__)"


def refused(done, *named: str) -> None:
    assert done.returncode == 2
    assert done.stdout == ""
    assert done.stderr.startswith("audiotest: ")
    assert done.stderr.count("\n") == 1
    for word in named:
        assert word in done.stderr


@pytest.mark.parametrize("failure", [NO_PORTAUDIO, NO_MODULE])
@pytest.mark.parametrize("arguments", [("live", "--text"), ("inputs",)])
def test_without_portaudio_one_line_says_what_to_install(audiotest, without, failure, arguments):
    refused(audiotest(*arguments, PYTHONPATH=without(sounddevice=failure)), "install")


@pytest.mark.skipif(sys.platform == "win32", reason="there are no pseudo-terminals")
def test_live_says_at_once_what_it_is_doing(without):
    import pty

    reader, writer = pty.openpty()
    # Nothing that takes long to load has been loaded by then: without numpy it comes all the same.
    environment = {**os.environ, "PYTHONPATH": without(numpy=NO_MODULE), "TERM": "dumb"}
    command = [sys.executable, "-m", "audiotest", "live", "--text"]
    done = subprocess.run(command, stdout=writer, stderr=subprocess.PIPE, env=environment, check=False)
    os.close(writer)
    shown = os.read(reader, 4096).decode()
    os.close(reader)
    assert done.returncode == 2
    assert shown.splitlines() == ["Opening the input ..."]


@pytest.mark.parametrize("command", ["live", "demo"])
def test_without_qt_one_line_names_both_ways_on(audiotest, without, command):
    environment = without(PySide6=NO_MODULE, pyqtgraph=NO_MODULE)
    refused(audiotest(command, PYTHONPATH=environment), "--text", "window")


@pytest.mark.window
@pytest.mark.skipif(sys.platform != "linux", reason="elsewhere there is always a display")
@pytest.mark.parametrize("command", ["live", "demo"])
def test_with_qt_but_no_display_one_line_names_the_terminal(audiotest, command):
    pytest.importorskip("PySide6")
    nothing = {"DISPLAY": "", "WAYLAND_DISPLAY": "", "QT_QPA_PLATFORM": ""}
    refused(audiotest(command, **nothing), "no display", "--text")


@pytest.mark.window
def test_demo_opens_the_window_and_closes_it_by_itself(audiotest):
    pytest.importorskip("PySide6")
    pytest.importorskip("pyqtgraph")
    done = audiotest("demo", "--seconds", "0.5", QT_QPA_PLATFORM="offscreen")
    assert (done.returncode, done.stdout) == (0, "")


def test_an_unknown_device_is_named(audiotest):
    refused(audiotest("live", "--text", "--device", "no such thing"), "there is no")


def test_check_needs_no_portaudio_and_no_qt(audiotest, without):
    environment = without(sounddevice=NO_PORTAUDIO, PySide6=NO_MODULE, pyqtgraph=NO_MODULE)
    done = audiotest("limits", PYTHONPATH=environment)
    assert (done.returncode, done.stderr) == (0, "")
    assert "uk-27fm" in done.stdout
    assert "\x1b" not in done.stdout
