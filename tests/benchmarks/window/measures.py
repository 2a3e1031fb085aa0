"""Measurements of the window, each meant for a process of its own; see `run.py`.

Shares of a core are process CPU time (all threads) over wall time, so that other work on the machine does not
enter; times to a picture are wall time and do suffer from it. Nothing is asserted.
"""

import gc
import resource
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pyqtgraph as pg
from numpy.typing import NDArray
from PySide6.QtCore import QEvent, QEventLoop, QObject, QTimer
from PySide6.QtWidgets import QApplication

from audiotest.feeds.protocol import Block
from audiotest.radio.link import Simulation
from audiotest.standards.limits import get_limits
from audiotest.window.mainwindow import FRAME_MS, MainWindow
from audiotest.window.practice import AS_FOUND, PRACTICE_FEED, TIMING, render_hiss, render_over
from audiotest.window.settings import Settings
from audiotest.window.sitting import Sitting

RATE_HZ = 48000
BLOCK_N = 960
Result = dict[str, float]


class Paints(QObject):
    """Counts the paint events of a widget and notes when the last one came."""

    def __init__(self, widget: Any) -> None:
        super().__init__(widget)
        self.count = 0
        self.last_s = 0.0
        widget.installEventFilter(self)

    def eventFilter(self, watched: QObject, event: QEvent) -> bool:
        if event.type() == QEvent.Type.Paint:
            self.count += 1
            self.last_s = time.monotonic()
        return False


class Player:
    """A source that delivers each block when a sound card would, over and over, and notes when."""

    name = "benchmark"
    sample_rate_hz = RATE_HZ

    def __init__(self, audio: NDArray[np.float32], *, pace: float = 1.0) -> None:
        self._audio, self._pace, self._closed = audio, pace, False
        self.sent_n = 0
        self.sent_s: dict[int, float] = {}
        """Monotonic time at which the block that starts at this sample was handed out."""

    def blocks(self) -> Iterator[Block]:
        started_s = time.monotonic()
        while not self._closed:
            at_n = self.sent_n % (len(self._audio) // BLOCK_N * BLOCK_N)
            if self._pace:
                due_s = started_s + (self.sent_n + BLOCK_N) / RATE_HZ / self._pace
                time.sleep(max(due_s - time.monotonic(), 0.0))
            self.sent_s[self.sent_n] = time.monotonic()
            if len(self.sent_s) > 5000:
                del self.sent_s[next(iter(self.sent_s))]
            self.sent_n += BLOCK_N
            yield Block(samples=self._audio[at_n : at_n + BLOCK_N])

    def close(self) -> None:
        self._closed = True


def spin(app: QApplication, until: Callable[[], bool], longest_s: float) -> None:
    """Let Qt work until something holds or the time is over."""
    end_s = time.monotonic() + longest_s
    # A loop of its own: the application's quit() would close the window as well.
    loop = QEventLoop()
    timer = QTimer()
    timer.setInterval(5)
    timer.timeout.connect(lambda: loop.quit() if until() or time.monotonic() > end_s else None)
    timer.start()
    loop.exec()
    timer.stop()


def opened(source: Player | None, **settings: Any) -> tuple[QApplication, MainWindow]:
    """A window at 1280 x 720 that listens to a source."""
    app = QApplication.instance() or QApplication(sys.argv[:1])
    assert isinstance(app, QApplication)
    usual = {"appearance": "light", "set_up": True} | settings
    sitting = Sitting(limits=get_limits("uk-27fm"), feed=PRACTICE_FEED, settings=Settings(**usual))
    window = MainWindow(sitting, None)
    window.resize(1280, 720)
    window.show()
    if source is not None:
        sitting.open_source(lambda: source)
    window.timer.start()
    return app, window


def talk_and_hiss() -> tuple[NDArray[np.float32], Simulation, int]:
    """An over of the practice set with two seconds of hiss behind it, and where its carrier drops."""
    simulation = render_over(AS_FOUND, 0)
    down_n = len(simulation.audio) - round(TIMING.end_s * RATE_HZ)
    audio = np.concatenate([render_hiss()[: 2 * RATE_HZ], simulation.audio, render_hiss()[: 2 * RATE_HZ]])
    return audio, simulation, 2 * RATE_HZ + down_n


def frames(seconds: float) -> Result:
    """Frames that reach the screen, and the share of a core, with everything running at 48 kHz."""
    source = Player(talk_and_hiss()[0])
    app, window = opened(source)
    spin(app, lambda: window.bench.tape.count() > 0, 30.0)
    painted = {
        name: Paints(plot.viewport())
        for name, plot in (
            ("scope", window.bench.scope.plot), ("spectrum", window.bench.spectrum.plot),
            ("waterfall", window.bench.waterfall.plot), ("map", window.bench.map.plot),
        )
    }  # fmt: skip
    ticks, cpu_s, wall_s = window.frames, time.process_time(), time.monotonic()
    spin(app, lambda: False, seconds)
    cpu_s, wall_s = time.process_time() - cpu_s, time.monotonic() - wall_s
    ticks = window.frames - ticks
    window.close()
    return {
        "ticks_per_s": ticks / wall_s,
        "scope_paints_per_s": painted["scope"].count / wall_s,
        "spectrum_paints_per_s": painted["spectrum"].count / wall_s,
        "waterfall_paints_per_s": painted["waterfall"].count / wall_s,
        "core_percent": 100 * cpu_s / wall_s,
        "cpu_ms_per_frame": 1000 * cpu_s / max(ticks, 1),
        "wall_s": wall_s,
    }


def bare(seconds: float) -> Result:
    """The same rate with one pyqtgraph curve of 1440 points and nothing else."""
    app = QApplication(sys.argv[:1])
    plot = pg.PlotWidget()
    plot.resize(1280, 720)
    plot.setYRange(-1, 1)
    curve = plot.plot(skipFiniteCheck=True)
    rng = np.random.default_rng(1)
    x, shapes = np.arange(1440.0), rng.normal(size=(16, 1440)) * 0.2
    count = [0]

    def draw() -> None:
        count[0] += 1
        curve.setData(x, shapes[count[0] % 16])

    timer = QTimer()
    timer.setInterval(FRAME_MS)
    timer.timeout.connect(draw)
    timer.start()
    plot.show()
    spin(app, lambda: False, 2.0)
    ticks, cpu_s, wall_s = count[0], time.process_time(), time.monotonic()
    spin(app, lambda: False, seconds)
    cpu_s, wall_s, ticks = time.process_time() - cpu_s, time.monotonic() - wall_s, count[0] - ticks
    return {
        "ticks_per_s": ticks / wall_s,
        "core_percent": 100 * cpu_s / wall_s,
        "cpu_ms_per_frame": 1000 * cpu_s / max(ticks, 1),
    }


def meter() -> Result:
    """From the first loud sample at the program's door to the level meter painted with it.

    The loud sample stands at the start of its block of 20 ms, so the wait for the rest of the block is in
    the figure; what the sound card's driver holds back is not.
    """
    quiet = np.full(round(0.6 * RATE_HZ) // BLOCK_N * BLOCK_N, 1e-4, dtype=np.float32)
    loud = 0.5 * np.sin(2 * np.pi * 1000 * np.arange(4 * BLOCK_N) / RATE_HZ)
    audio = np.concatenate([quiet, loud.astype(np.float32), np.tile(quiet, 6)])
    source = Player(audio)
    app, window = opened(source)
    bar = window.bench.meters.level
    paints = Paints(bar)
    delays = []
    for turn in range(10):
        starts_n = turn * len(audio) + len(quiet)
        window.bench.meters.clear()
        spin(app, lambda n=starts_n: n in source.sent_s, 30.0)
        seen: list[float] = []

        def loud_seen(seen: list[float] = seen, bar: Any = bar) -> bool:
            if not seen and bar.peak is not None and bar.peak > -10.0:
                seen.append(time.monotonic())
            return bool(seen) and paints.last_s > seen[0] - 0.005

        spin(app, loud_seen, 3.0)
        delays.append(paints.last_s - source.sent_s[starts_n] + BLOCK_N / RATE_HZ)
        spin(app, lambda n=starts_n + 20 * BLOCK_N: n in source.sent_s, 5.0)
    window.close()
    return {"median_ms": 1000 * float(np.median(delays)), "worst_ms": 1000 * max(delays)}


def unkey(overs: int) -> Result:
    """From the carrier's drop to the advice painted, in real time; engine, window and all."""
    audio, _, down_n = talk_and_hiss()
    source = Player(audio)
    app, window = opened(source)
    # The line under the knobs: it names the over, so it is painted anew even when the advice stays the same.
    paints = Paints(window.bench.advice.sure)
    delays, cpus = [], []
    used_n = len(audio) // BLOCK_N * BLOCK_N
    for turn in range(overs):
        spin(app, lambda n=turn * used_n + down_n // BLOCK_N * BLOCK_N: n in source.sent_s, 60.0)
        cpu_s = time.process_time()
        spin(app, lambda k=turn: window.bench.tape.count() > k, 30.0)
        dropped_s = source.sent_s[turn * used_n + down_n // BLOCK_N * BLOCK_N]
        spin(app, lambda s=dropped_s: paints.last_s > s, 5.0)
        delays.append(paints.last_s - dropped_s)
        cpus.append(time.process_time() - cpu_s)
    window.close()
    return {
        "median_ms": 1000 * float(np.median(delays)),
        "worst_ms": 1000 * max(delays),
        "cpu_ms": 1000 * float(np.median(cpus)),
    }


def hour(minutes: float) -> Result:
    """Memory over an hour of overs and hiss, heard as fast as it goes, with the window drawing."""
    source = Player(talk_and_hiss()[0], pace=0)
    app, window = opened(source)
    marks: list[float] = []
    step_s = 60.0 * minutes / 12
    for k in range(13):
        spin(app, lambda n=k * step_s * RATE_HZ: source.sent_n >= n, 3600.0)
        gc.collect()
        marks.append(_resident_mib())
        print(f"{k * step_s / 60:.0f} min: {marks[-1]:.0f} MiB", file=sys.stderr)
    reading = window.sitting.listening.reading if window.sitting.listening else None
    result = {f"mib_at_{k * step_s / 60:.0f}_min": mark for k, mark in enumerate(marks)}
    result |= {
        "overs": float(window.bench.tape.count()),
        "lost_n": float(reading.lost_n) if reading is not None else -1.0,
        "largest_mib": resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024,
    }
    window.close()
    return result


def _resident_mib() -> float:
    pages = int(Path("/proc/self/statm").read_text().split()[1])
    return pages * resource.getpagesize() / 2**20
