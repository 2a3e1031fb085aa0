"""Starting and ending the window."""

import os
import socket
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

import audiotest
from audiotest.errors import DeviceError, RequestError
from audiotest.window import app
from audiotest.window.playback import CUE_MIDDLE_HZ, Player, cue_tones
from audiotest.window.settings import Settings, load_settings, save_settings

pytestmark = pytest.mark.window


def test_live_without_an_input_opens_the_window_all_the_same(
    qapp: Any, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    seen: list[str] = []

    def refuse(*_: Any) -> Any:
        seen.append("asked")
        raise DeviceError("there is no sound-card input", "plug one in")

    monkeypatch.setattr("audiotest.window.mainwindow.open_input", refuse)
    monkeypatch.setattr("audiotest.window.setupdialog.list_inputs", lambda: ())
    assert app.run(device="gone", seconds=0.8, settings_file=tmp_path / "window.toml") == 0
    assert seen == ["asked"]
    assert load_settings(tmp_path / "window.toml").geometry


def test_the_first_start_practises_and_offers_the_set_up(
    qapp: Any, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    done: list[str] = []
    monkeypatch.setattr("audiotest.window.mainwindow.MainWindow.practise", lambda _: done.append("practise"))
    monkeypatch.setattr("audiotest.window.mainwindow.MainWindow.set_up", lambda _: done.append("set up"))
    assert app.run(seconds=0.1, settings_file=tmp_path / "window.toml") == 0
    assert done == ["practise", "set up"]


def test_a_remembered_feed_that_is_gone_and_unknown_limits_do_no_harm(
    qapp: Any, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    file = tmp_path / "window.toml"
    save_settings(Settings(feed_file=str(tmp_path / "gone.toml"), limits="nowhere", set_up=True), file)

    def refuse(*_: Any) -> Any:
        raise DeviceError("no input", "plug one in")

    monkeypatch.setattr("audiotest.window.mainwindow.open_input", refuse)
    assert app.run(seconds=0.3, settings_file=file) == 0


def test_the_first_picture_does_not_wait_for_what_it_does_not_need() -> None:
    later = (
        "scipy.signal", "scipy.stats", "scipy.optimize", "scipy.interpolate", "sqlite3", "jinja2", "fpdf",
        "pyloudnorm", "sounddevice", "audiotest.keep.recorder",
    )  # fmt: skip
    code = f"import sys, audiotest.window.app; print(*sorted(sys.modules.keys() & {set(later)}))"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.split() == []


def test_no_display_is_refused_in_words(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(app.sys, "platform", "linux")
    for name in ("QT_QPA_PLATFORM", "DISPLAY", "WAYLAND_DISPLAY"):
        monkeypatch.delenv(name, raising=False)
    with pytest.raises(RequestError, match="there is no display"):
        app.require_display()
    monkeypatch.setenv("DISPLAY", ":4321")
    with pytest.raises(RequestError, match="does not answer"):
        app.require_display()
    monkeypatch.setenv("DISPLAY", "elsewhere:0")
    app.require_display()
    monkeypatch.setenv("QT_QPA_PLATFORM", "offscreen")
    app.require_display()


def test_a_missing_system_library_of_the_display_is_named(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    plugins = tmp_path / "platforms"
    plugins.mkdir()
    (plugins / "libqxcb.so").touch()

    def refuse(name: str) -> Any:
        raise OSError("libxcb-cursor.so.0: cannot open shared object file: No such file or directory")

    monkeypatch.setattr(app.QLibraryInfo, "path", lambda _: str(tmp_path))
    monkeypatch.setattr(app.ctypes, "CDLL", refuse)
    with pytest.raises(RequestError, match=r"libxcb-cursor\.so\.0 is missing: .*apt install .*--text"):
        app._require_x_libraries()
    monkeypatch.setattr(app.QLibraryInfo, "path", lambda _: str(tmp_path / "elsewhere"))
    app._require_x_libraries()


def test_without_a_display_the_command_ends_with_one_line(tmp_path: Path) -> None:
    hidden = ("DISPLAY", "WAYLAND_DISPLAY", "QT_QPA_PLATFORM")
    environment = {key: value for key, value in os.environ.items() if key not in hidden}
    environment |= {"PYTHONPATH": str(Path(audiotest.__file__).parents[1]), "HOME": str(tmp_path)}
    done = subprocess.run(
        [sys.executable, "-m", "audiotest", "demo"],
        env=environment, capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert done.returncode == 2
    assert done.stdout == ""
    assert done.stderr.count("\n") == 1
    assert "there is no display: add --text" in done.stderr


def test_a_display_that_listens_is_taken(monkeypatch: pytest.MonkeyPatch) -> None:
    with socket.socket(socket.AF_UNIX, socket.SOCK_STREAM) as server:
        server.bind("\0/tmp/.X11-unix/X4322")
        server.listen()
        assert app._answers(":4322")
        assert app._answers("unix:4322.0")
    assert not app._answers(":4322")


def test_cue_rises_with_too_much_and_falls_with_too_little() -> None:
    def last_hz(error_db: float) -> float:
        import numpy as np

        tone = cue_tones(error_db, 48000)[-round(0.15 * 48000) : -round(0.02 * 48000)]
        return float(np.argmax(np.abs(np.fft.rfft(tone, 48000))))

    assert last_hz(0.0) == pytest.approx(CUE_MIDDLE_HZ, abs=1.0)
    assert last_hz(12.0) == pytest.approx(2 * CUE_MIDDLE_HZ, abs=1.0)
    assert last_hz(-12.0) == pytest.approx(CUE_MIDDLE_HZ / 2, abs=1.0)
    assert last_hz(60.0) == last_hz(12.0)
    assert len(cue_tones(None, 48000)) < len(cue_tones(0.0, 48000))


def test_replay_without_an_output_says_so(monkeypatch: pytest.MonkeyPatch) -> None:
    class NoOutput:
        def play(self, samples: Any, rate_hz: int, device: int | None) -> None:
            raise ValueError("No output device matching None")

    monkeypatch.setattr("audiotest.window.playback._sounddevice", lambda: NoOutput())
    player = Player()
    player.play(cue_tones(0.0, 48000), 48000).join(5.0)
    assert player.trouble is not None
    assert "nothing to replay through: No output device" in str(player.trouble)
    player.stop()
