"""Start the window: for `audiotest demo` on the simulated set, for `audiotest live` on an input."""

import ctypes
import os
import signal
import socket
import sys
from dataclasses import replace
from pathlib import Path

from PySide6.QtCore import QLibraryInfo, QTimer
from PySide6.QtGui import QIcon
from PySide6.QtWidgets import QApplication

from audiotest.errors import AudiotestError, RequestError
from audiotest.feeds.scale import load_feed
from audiotest.records import Feed, LimitSet
from audiotest.standards.limits import get_limits
from audiotest.window.mainwindow import MainWindow
from audiotest.window.settings import Settings, load_settings, settings_path
from audiotest.window.sitting import Sitting

DONE = 0
INTERRUPTED = 130
ICON = Path(__file__).with_name("desktop") / "audiotest.svg"
X_PACKAGES = "libxcb-cursor0 libxcb-icccm4 libxcb-keysyms1 libxkbcommon-x11-0"
NEEDS_NO_DISPLAY = ("offscreen", "minimal", "vnc", "linuxfb", "eglfs")


def run(
    *,
    demo: bool = False,
    seconds: float | None = None,
    device: str | None = None,
    channel: int | None = None,
    feed: Feed | None = None,
    limits: LimitSet | None = None,
    record_in: Path | None = None,
    settings_file: Path | None = None,
) -> int:
    """Open the window and return the exit status when it is closed.

    Parameters
    ----------
    demo : bool
        Listen to the simulated set; otherwise to an input.
    seconds : float or None
        Close by itself after this long.
    device, channel
        The input, as `audiotest.feeds.soundcard.open_input` takes them; None takes the remembered one, or
        the simulated set when none was ever chosen.
    feed, limits
        None takes the remembered ones.
    record_in : Path or None
        Record what is heard from the beginning, in a folder of its own in this one; the folder that was
        chosen in the set-up stays the remembered one.
    settings_file : Path or None
        Where things are remembered; None is the user's own file.

    Returns
    -------
    int
        0, or 130 when it was interrupted.

    Raises
    ------
    RequestError
        When there is no screen to open a window on.
    """
    require_display()
    file = settings_path() if settings_file is None else settings_file
    settings = load_settings(file)
    if device is not None or channel is not None:
        settings = replace(settings, device=device or settings.device, channel=channel or 0)
    chosen_folder = settings.recordings_folder
    if record_in is not None:
        settings = replace(settings, recordings_folder=str(record_in.absolute()))
    app = QApplication.instance() or QApplication(sys.argv[:1])
    assert isinstance(app, QApplication)
    app.setApplicationName("audiotest")
    app.setDesktopFileName("audiotest")
    app.setWindowIcon(QIcon(str(ICON)))
    sitting = Sitting(
        limits=limits if limits is not None else _remembered_limits(settings), feed=feed, settings=settings
    )
    if feed is None and settings.feed_file and not demo:
        _take_remembered_feed(sitting, settings.feed_file)
    window = MainWindow(sitting, file)
    if record_in is not None:
        window.remembered_instead["recordings_folder"] = chosen_folder
        sitting.recording.start()
    status = {"value": DONE}
    # A request to end finishes the running over, and a recording, as closing the window does.
    before = {
        number: signal.signal(number, lambda *_: _interrupt(window, status))
        for number in (signal.SIGINT, signal.SIGTERM)
    }
    try:
        window.show()
        # The first picture comes before the first sound: opening waits until the window stands.
        QTimer.singleShot(0, lambda: _begin(window, demo=demo))
        if seconds is not None:
            QTimer.singleShot(round(1000 * seconds), window.close)
        app.exec()
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)
        sitting.close()
    return status["value"]


def require_display() -> None:
    """Refuse, in words, what Qt would answer by ending the process: no screen to draw on."""
    if os.environ.get("QT_QPA_PLATFORM", "").split(":")[0] in NEEDS_NO_DISPLAY:
        return
    if sys.platform != "linux":
        return
    if os.environ.get("WAYLAND_DISPLAY"):
        return
    display = os.environ.get("DISPLAY", "")
    if not display or not _answers(display):
        reason = f"the display {display} does not answer" if display else "there is no display"
        raise RequestError(f"the window cannot open: {reason}", "add --text to stay in the terminal")
    _require_x_libraries()


def _require_x_libraries() -> None:
    """Load Qt's X part as Qt will: where a system library is missing Qt would end the process."""
    plugin = Path(QLibraryInfo.path(QLibraryInfo.LibraryPath.PluginsPath)) / "platforms" / "libqxcb.so"
    if not plugin.exists():
        # A Qt that comes from the system keeps its house in order itself.
        return
    try:
        ctypes.CDLL(str(plugin))
    except OSError as error:
        raise RequestError(
            f"the window cannot open: {str(error).split(':')[0]} is missing",
            f"on Debian and its kin: apt install {X_PACKAGES}; or add --text to stay in the terminal",
        ) from error


def _answers(display: str) -> bool:
    """Whether something listens at a local X display; a display elsewhere is believed."""
    host, _, number = display.rpartition(":")
    number = number.split(".")[0]
    if host not in ("", "unix") or not number.isdecimal():
        return True
    path = f"/tmp/.X11-unix/X{number}"
    for address in (path, f"\0{path}"):
        with socket.socket(socket.AF_UNIX, socket.SOCK_STREAM) as probe:
            probe.settimeout(2.0)
            try:
                probe.connect(address)
            except OSError:
                continue
            return True
    return False


def _remembered_limits(settings: Settings) -> LimitSet:
    try:
        return get_limits(settings.limits)
    except RequestError:
        return get_limits(Settings().limits)


def _take_remembered_feed(sitting: Sitting, name: str) -> None:
    try:
        sitting.input_feed = load_feed(name)
    except AudiotestError as error:
        sitting.message = str(error)


def _begin(window: MainWindow, *, demo: bool) -> None:
    window.timer.start()
    if demo:
        window.sitting.open_practice()
        return
    if not (window.settings.set_up or window.settings.device):
        # The first time nobody knows the window yet, and no input has been chosen.
        window.practise()
        window.set_up()
        window.sitting.message = "first start: the simulated set talks; choose your input in the set-up"
        return
    window.listen()
    if not window.settings.set_up:
        window.set_up()


def _interrupt(window: MainWindow, status: dict[str, int]) -> None:
    status["value"] = INTERRUPTED
    window.close()
