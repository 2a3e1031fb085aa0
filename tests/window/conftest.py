"""The window's tests run without a screen; every window gets a settings file of its own."""

import os

os.environ.setdefault("QT_QPA_PLATFORM", "offscreen")
# With more threads the matrix library waits for a core that is busy elsewhere; it is read when numpy loads.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray
from PySide6.QtCore import QCoreApplication, QEvent, Qt

from audiotest.feeds.inputs import InputDevice
from audiotest.radio.link import Simulation
from audiotest.records import Deviation, Level, Limiter, LimitSet, LiveReading, Noise, Over
from audiotest.standards.limits import get_limits
from audiotest.window.benchwindow import BenchWindow
from audiotest.window.mainwindow import MainWindow
from audiotest.window.practice import AS_FOUND, PRACTICE_FEED, render_over
from audiotest.window.sheetdesk import Question
from audiotest.window.sheetpage import SheetPage
from tests.window.benchhandling import Opened, Remembered
from tests.window.handling import main_window, wait

collect_ignore = ["screenreader.py"]
"""Run by the system's Python, whose bindings the tests' own environment has not."""


def made_over(
    drive_db: float | None = 19.0,
    peak_khz: float | None = 2.3,
    *,
    start_s: float = 1.0,
    spread_db: float = 3.0,
    conditions: tuple[str, ...] = (),
    high_db: float | None = None,
    kind: Any = "voice",
) -> Over:
    """An invented over."""
    low = None if drive_db is None else drive_db - spread_db
    high = high_db if drive_db is None else drive_db + spread_db
    return Over(
        start_s=start_s, end_s=start_s + 6.0, kind=kind, speech_start_s=start_s + 0.4,
        speech_end_s=start_s + 5.8,
        level=Level(active_speech_dbfs=-22.0, activity=0.8, crest_db=12.0),
        deviation=Deviation(
            peak_khz=peak_khz, p999_khz=peak_khz, rms_khz=None if peak_khz is None else 0.4 * peak_khz,
            positive_khz=peak_khz, negative_khz=peak_khz, limit_khz=2.5,
        ),
        limiter=Limiter(
            drive_db=drive_db, drive_low_db=low, drive_high_db=high,
            clipped_fraction=None if drive_db is None else 0.2,
            reached=None if drive_db is None else drive_db > 0,
        ),
        noise=Noise(quieting_db=25.0, snr_db=35.0, hum_hz=None, hum_db=None),
        tone=None, subaudible=None, end_beep=None, overload_runs=0, conditions=conditions, notes=(),
    )  # fmt: skip


def made_reading(**changes: Any) -> LiveReading:
    """An invented moment."""
    usual: dict[str, Any] = {
        "time_s": 3.0, "state": "speech", "level_dbfs": -20.0, "peak_dbfs": -8.0, "deviation_khz": 1.8,
        "quieting_db": 25.0, "sinad_db": None, "overloaded": False, "over_s": 2.0, "lost_n": 0,
    }  # fmt: skip
    return LiveReading(**(usual | changes))


@pytest.fixture(scope="session")
def as_found() -> Simulation:
    """One over of the practice set as it was found."""
    return render_over(AS_FOUND, 0)


@pytest.fixture(scope="session")
def audio(as_found: Simulation) -> NDArray[np.float32]:
    """That over between two seconds of hiss, at 48 kHz."""
    hiss = as_found.audio[: round(0.25 * 48000)]
    return np.concatenate([np.tile(hiss, 4), as_found.audio, np.tile(hiss, 4)])


@pytest.fixture
def over() -> Callable[..., Over]:
    return made_over


@pytest.fixture
def reading() -> Callable[..., LiveReading]:
    return made_reading


@pytest.fixture
def window(qtbot: Any, limits: LimitSet, file: Path, tmp_path: Path) -> Iterator[MainWindow]:
    """A window with the books of the test module's own fixture `file`."""
    with main_window(limits, tmp_path, sheets_file=str(file)) as made:
        made.timer.start()
        yield made


@pytest.fixture
def practising(qtbot: Any, limits: LimitSet, tmp_path: Path) -> Iterator[MainWindow]:
    """A window with the scale of the practice set, which listens to nothing yet."""
    with main_window(limits, tmp_path, feed=PRACTICE_FEED) as made:
        yield made


@pytest.fixture
def opened() -> Opened:
    return Opened()


@pytest.fixture
def bench_window(qtbot: Any, tmp_path: Path, opened: Opened) -> Iterator[BenchWindow]:
    """The bench window, which lists one invented card and opens no instrument but a simulated one."""
    remembered = Remembered()
    device = InputDevice(index=3, name="Bench card", channels=2, host_api="ALSA", default_rate_hz=48000)
    made = BenchWindow(remembered, remembered.change, tmp_path, open_live=opened, inputs=lambda: (device,))
    made.open_up()
    yield made
    made.shut()
    made.deleteLater()
    QCoreApplication.sendPostedEvents(None, QEvent.Type.DeferredDelete.value)


@pytest.fixture
def empty_page(window: MainWindow, qtbot: Any) -> SheetPage:
    """The page as a key opens it, on books that are empty."""
    window.activateWindow()
    qtbot.waitUntil(window.isActiveWindow)
    qtbot.keyClick(window, Qt.Key.Key_J)
    found = window.sheet_deeds.page
    assert found is not None
    qtbot.waitUntil(lambda: found.file.text() != "", timeout=20000)
    return found


@pytest.fixture
def page(window: MainWindow, qtbot: Any) -> SheetPage:
    """The page with the sheet of the first set of those books, which has readings."""
    window.sheet_deeds.job_sheets()
    found = window.sheet_deeds.page
    assert found is not None
    found._look(Question(set_id=1))
    wait(qtbot, lambda: found.readings.rowCount() > 0)
    return found


@pytest.fixture
def limits() -> LimitSet:
    return get_limits("uk-27fm")
