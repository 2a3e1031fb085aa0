"""Every state of the window as a PNG, to be looked at: ``python tests/window/shots.py OUT [NAME ...]``.

The sound is the simulated radio's, pushed through the real engine; the overs of the single cases of advice
are invented records, so that every case is there whatever the estimator makes of a voice.
"""

import os
import sys
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

if __name__ == "__main__":
    os.environ.setdefault("QT_QPA_PLATFORM", "offscreen")

import numpy as np
from numpy.typing import NDArray
from PySide6.QtWidgets import QApplication, QWidget

from audiotest.radio.link import Simulation
from audiotest.records import (
    Deviation,
    Feed,
    Level,
    Limiter,
    LiveReading,
    Noise,
    Over,
)
from audiotest.session.engine import Engine
from audiotest.session.guard import judge_hiss
from audiotest.standards.limits import get_limits
from audiotest.window.ballistics import VolumeIndicator
from audiotest.window.envelope import outline
from audiotest.window.listening import MeterLevels
from audiotest.window.mainwindow import MainWindow
from audiotest.window.practice import AS_FOUND, PRACTICE_FEED, render_over
from audiotest.window.recording import RecordingLine
from audiotest.window.settings import Settings
from audiotest.window.sitting import OUTLINE_COLUMNS, Fresh, Sitting
from audiotest.window.tape import AudioTape

RATE_HZ = 48000
BLOCK_N = 960
LIMITS = get_limits("uk-27fm")


class Heard:
    """What the window reads from a running input, moved by hand: no thread, no clock."""

    def __init__(self, feed: Feed | None) -> None:
        self.rate_hz = RATE_HZ
        self.feed = self.feed_now = feed
        self.source = type("Source", (), {"name": "simulated radio"})
        self.tape = AudioTape(RATE_HZ)
        self.engine = Engine(RATE_HZ, feed=feed, limits=LIMITS)
        self.needle = VolumeIndicator(RATE_HZ)
        self.levels: MeterLevels | None = None
        self.reading: LiveReading | None = None
        self.events = type("Queue", (), {"empty": lambda self: True})()
        self.running = True

    def push(self, samples: NDArray[np.float32]) -> list[Over]:
        """Hear one block."""
        overs = self.engine.push(samples)
        self.tape.append(samples)
        self.needle.push(samples)
        peak = float(np.max(np.abs(samples)))
        self.levels = MeterLevels(
            time_s=self.tape.end_n / RATE_HZ, level_dbfs=self.needle.level_dbfs,
            peak_dbfs=20 * float(np.log10(max(peak, 1e-6))),
        )  # fmt: skip
        self.reading = self.engine.reading()
        return overs

    hiss_drift = judge_hiss((), None)

    def stop(self) -> None:
        """Nothing runs."""


def invented(
    drive_db: float | None, peak_khz: float | None, *, spread_db: float = 3.0, start_s: float = 1.0,
    conditions: tuple[str, ...] = (), high_db: float | None = None, clipped: float = 0.2,
) -> Over:  # fmt: skip
    """One over as the measurement would hand it on."""
    low = None if drive_db is None else drive_db - spread_db
    high = high_db if drive_db is None else drive_db + spread_db
    return Over(
        start_s=start_s, end_s=start_s + 6.0, kind="voice", speech_start_s=start_s + 0.4,
        speech_end_s=start_s + 5.8,
        level=Level(active_speech_dbfs=-22.0, activity=0.8, crest_db=12.0),
        deviation=Deviation(
            peak_khz=peak_khz, p999_khz=None if peak_khz is None else 0.97 * peak_khz,
            rms_khz=None if peak_khz is None else 0.4 * peak_khz,
            positive_khz=peak_khz, negative_khz=peak_khz, limit_khz=2.5,
        ),
        limiter=Limiter(
            drive_db=drive_db, drive_low_db=low, drive_high_db=high,
            clipped_fraction=None if drive_db is None else clipped,
            reached=None if drive_db is None else drive_db > 0,
        ),
        noise=Noise(quieting_db=25.0, snr_db=35.0, hum_hz=None, hum_db=None),
        tone=None, subaudible=None, end_beep=None, overload_runs=0, conditions=conditions, notes=(),
    )  # fmt: skip


CASES: dict[str, Over] = {
    "mic-lower": invented(17.0, 2.2),
    "mic-raise": invented(-9.0, 1.1, spread_db=4.0, clipped=0.0),
    "deviation-lower": invented(5.0, 3.1, clipped=0.03),
    "deviation-raise": invented(4.0, 1.3, clipped=0.02),
    "both": invented(16.0, 3.6),
    "both-raise": invented(14.0, 1.2, spread_db=6.0),
    "keep": invented(4.0, 2.2, clipped=0.02),
    "overload": replace(invented(9.0, 2.4, conditions=("overload",)), overload_runs=12),
    "unsure": invented(8.5, 2.2, spread_db=9.0),
    "bound": invented(None, 1.0, high_db=-6.0),
    "no-scale": invented(17.0, None),
}


class Stage:
    """A window with nothing behind it but what a shot puts there."""

    def __init__(self, folder: Path, sound: Simulation) -> None:
        self.folder, self.sound = folder, sound
        app = QApplication.instance() or QApplication(sys.argv[:1])
        assert isinstance(app, QApplication)
        self.app = app

    def open(
        self, *, size: tuple[int, int] = (1280, 720), feed: Feed | None = PRACTICE_FEED, **settings: Any
    ) -> MainWindow:
        """A fresh window."""
        remembered = Settings(**({"appearance": "light", "set_up": True} | settings))
        window = MainWindow(Sitting(limits=LIMITS, feed=feed, settings=remembered), None)
        window.resize(*size)
        window.show()
        self.settle()
        window.resize(*size)
        self.settle()
        return window

    def settle(self) -> None:
        """Let Qt lay out and paint."""
        for _ in range(6):
            self.app.processEvents()

    def hear(self, window: MainWindow, from_s: float, to_s: float) -> None:
        """Push a stretch of the simulated sound through the engine and draw as the timer would."""
        heard = Heard(window.sitting.feed)
        window.sitting.listening = heard  # type: ignore[assignment]
        audio = self.sound.audio[: round(to_s * RATE_HZ)]
        for k, start_n in enumerate(range(0, len(audio) - BLOCK_N + 1, BLOCK_N)):
            overs = heard.push(audio[start_n : start_n + BLOCK_N])
            if start_n / RATE_HZ < from_s:
                continue
            for over in overs:
                self.put(window, over)
            window.bench.draw(heard, heard.reading)  # type: ignore[arg-type]
            if k % 10 == 0:
                window._slow_tick()
        window._slow_tick()
        self.settle()

    def put(self, window: MainWindow, over: Over, at: int = 0) -> None:
        """Let an over come in."""
        number = len(window.sitting.log.heard)
        heard = window.sitting.log.take(over, f"14:0{5 + number // 2}:{(17 * number + 9) % 60:02}")
        shape = outline(self.sound.audio[round(0.3 * RATE_HZ) : round(6.6 * RATE_HZ)], OUTLINE_COLUMNS)
        window._take(Fresh(heard=heard, outline=np.roll(shape, 7 * number)))
        window._slow_tick()
        self.settle()

    def save(self, widget: QWidget, name: str) -> None:
        """Write the picture."""
        self.settle()
        widget.grab().save(str(self.folder / f"{name}.png"))

    def close(self, window: MainWindow) -> None:
        """Put the window away."""
        window.sitting.listening = None
        window.close()
        window.deleteLater()
        self.settle()


FAR = RecordingLine(text="● recording 1:02:07", tip="1:02:07 recorded")
RECORDING = {
    "runs": RecordingLine(text="● recording 12:07", tip="12:07.3 recorded, 4 overs cut out"),
    "gaps": RecordingLine(text="⚠ recording 12:07, has gaps", tip="lost", trouble=True),
    "waits": RecordingLine(text="○ recording waits"),
    "stopped": RecordingLine(text="⚠ recording stopped", tip="the disk is full", trouble=True),
    "far": FAR,
}

TRAIL = (
    invented(19.0, 2.3, spread_db=5.0, clipped=0.31),
    invented(11.0, 2.3, clipped=0.14),
    invented(6.0, 1.9, clipped=0.04),
    invented(5.0, 1.35, clipped=0.03),
)


def shoot(stage: Stage, wanted: Callable[[str], bool]) -> None:
    """Take every picture whose name is wanted."""
    for name, over in CASES.items():
        for far in (False, True):
            full = f"far-{name}" if far else f"advice-{name}"
            if not wanted(full):
                continue
            window = stage.open(feed=None if name == "no-scale" else PRACTICE_FEED)
            stage.hear(window, 5.5, 7.2)
            stage.put(window, over)
            if far:
                window.view_deeds.far()
                window.resize(1280, 720)
            stage.save(window, full)
            stage.close(window)
    for name, from_s, to_s in (("idle", 0.0, 0.0), ("hiss", 0.0, 0.25), ("speech", 0.0, 4.0)):
        if wanted(name):
            window = stage.open()
            stage.hear(window, from_s, to_s)
            stage.save(window, name)
            stage.close(window)
    for appearance in ("light", "dark"):
        for size in ((1280, 720), (1920, 1080)):
            for name, line in RECORDING.items():
                full = f"recording-{name}-{appearance}-{size[0]}"
                if wanted(full):
                    window = stage.open(size=size, appearance=appearance)
                    bench(stage, window)
                    stage.save(_recording(window, line, size), full)
                    stage.close(window)
            for percent in (100, 150, 200):
                full = f"bench-{appearance}-{size[0]}-{percent}"
                if wanted(full):
                    window = stage.open(size=size, appearance=appearance, size_percent=percent)
                    bench(stage, window)
                    stage.save(window, full)
                    stage.close(window)
    for name, act in OTHERS.items():
        if wanted(name):
            window = stage.open(appearance="dark" if "dark" in name else "light")
            bench(stage, window)
            stage.save(act(window) or window, name)
            stage.close(window)


def bench(stage: Stage, window: MainWindow) -> None:
    """A sitting well under way: four overs, the next one running."""
    for over in TRAIL:
        stage.put(window, over)
    stage.hear(window, 0.0, 4.0)


def _recording(window: MainWindow, line: RecordingLine, size: tuple[int, int]) -> QWidget:
    window.sitting.recording.line = lambda: line  # type: ignore[method-assign]
    if line is FAR:
        window.view_deeds.far()
        window.resize(*size)
    window._slow_tick()
    return window


def _far_dark(window: MainWindow) -> QWidget:
    window.view_deeds.far()
    window.resize(1920, 1080)
    return window


def _compare(window: MainWindow) -> QWidget:
    window.over_deeds.compare()
    return window


def _compared(window: MainWindow) -> QWidget:
    window.over_deeds.compare()
    return window.box


def _keys(window: MainWindow) -> QWidget:
    window.keys()
    return window.box


def _cautions(window: MainWindow) -> QWidget:
    window.cautions()
    return window.box


def _set_up(window: MainWindow) -> QWidget:
    window.set_up()
    assert window.dialog is not None
    return window.dialog


def _practice(window: MainWindow) -> QWidget:
    window.practice.setVisible(True)
    window.practice.truth.setText("That over really had drive +19.4 dB, peak 2.03 kHz.")
    return window


def _frozen(window: MainWindow) -> QWidget:
    window.view_deeds.freeze()
    window.view_deeds.persistence()
    return window


OTHERS: dict[str, Callable[[MainWindow], QWidget | None]] = {
    "far-dark": _far_dark, "compare": _compare, "compare-box": _compared, "keys": _keys,
    "cautions": _cautions, "set-up": _set_up, "set-up-dark": _set_up, "practice": _practice,
    "practice-dark": _practice, "frozen": _frozen,
}  # fmt: skip


def main(arguments: list[str]) -> None:
    """Write the pictures into a folder; further arguments are parts of names that are wanted."""
    folder = Path(arguments[0])
    folder.mkdir(parents=True, exist_ok=True)
    parts = arguments[1:]
    with TemporaryDirectory() as home:
        os.environ["XDG_CONFIG_HOME"] = home
        stage = Stage(folder, render_over(AS_FOUND, 0))
        shoot(stage, lambda name: not parts or any(part in name for part in parts))


if __name__ == "__main__":
    main(sys.argv[1:])
