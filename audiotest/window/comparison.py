"""Two overs side by side: their figures, their long-term spectra, and both to hear, also equally loud."""

from collections.abc import Callable
from functools import partial
from html import escape
from typing import Any

import numpy as np
import pyqtgraph as pg
from numpy.typing import NDArray
from PySide6.QtCore import QSize, Qt
from PySide6.QtGui import QFontMetricsF
from PySide6.QtWidgets import (
    QApplication,
    QDialog,
    QFrame,
    QHBoxLayout,
    QLabel,
    QPushButton,
    QScrollArea,
    QSizePolicy,
    QVBoxLayout,
    QWidget,
)

from audiotest.errors import AudiotestError
from audiotest.keep.clips import AROUND_S
from audiotest.keep.compare import Listened
from audiotest.measure.lean import power_density
from audiotest.units import power_db
from audiotest.window.listeningrow import ListeningRow
from audiotest.window.matched import Matched, match
from audiotest.window.minus import with_minus
from audiotest.window.plots import DASHED, SOLID, Legend, dress_plot, make_plot
from audiotest.window.presenter import Heard
from audiotest.window.spectra import SPECTRUM_HIGH_HZ, spectrum_size
from audiotest.window.theme import Theme, dress_marks

LONGEST_S = 30.0
"""An over is replayed with this much before and after it."""
FLOOR_DB = -120.0


def long_term_dbfs(codes: NDArray[np.int16], rate_hz: int) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    """Average power spectrum of an over's first half minute, in dBFS per line, to 5 kHz.

    Welch's method with Hann windows; lines are about 12 Hz apart. Both results are of shape (lines,), empty
    when there is less audio than one window.
    """
    n = spectrum_size(rate_hz)
    part = codes[: round(LONGEST_S * rate_hz)].astype(np.float64) / 32768.0
    if len(part) < n:
        return np.zeros(0, dtype=np.float32), np.zeros(0, dtype=np.float32)
    hz, density = power_density(part, rate_hz, n)
    keep = hz <= SPECTRUM_HIGH_HZ
    # A Hann window is one and a half lines wide as far as noise goes.
    level = [power_db(float(value)) for value in 1.5 * rate_hz / n * density[keep]]
    return hz[keep].astype(np.float32), np.array(
        [FLOOR_DB if line is None else max(line, FLOOR_DB) for line in level], dtype=np.float32
    )


class Comparison(QDialog):
    """What changed from one over to another; does not hold the bench up.

    Parameters
    ----------
    first, second : Heard
        The overs, the earlier one first.
    audio : callable
        Takes a number, returns the over's codes and its sample rate.
    replay : callable
        Takes a number and plays the over as it was heard.
    play, hush, carrier_up
        As for `ListeningRow`.
    no_transmitter, told
        As for `ListeningRow`.
    later : callable
        Does its first argument in another thread and hands what comes of it to the second, in this one.
    theme : Theme
        Colours.
    """

    def __init__(
        self,
        first: Heard,
        second: Heard,
        *,
        audio: Callable[[int], tuple[NDArray[np.int16], int]],
        replay: Callable[[int], None],
        play: Callable[[NDArray[np.float32], int], object],
        hush: Callable[[], None],
        carrier_up: Callable[[], bool],
        later: Callable[[Callable[[], Any], Callable[[Any], None]], None],
        theme: Theme,
        no_transmitter: bool = False,
        told: Callable[[bool], None] = lambda _: None,
        parent: QWidget | None = None,
    ) -> None:
        super().__init__(parent)
        self.setAttribute(Qt.WidgetAttribute.WA_DeleteOnClose)
        self.setModal(False)
        self._pair, self._theme = (first, second), theme
        title = f"Over {first.number} against over {second.number}"
        self.setWindowTitle(title)
        self._text = QLabel(f"<b>{title}</b><br><br>" + "<br>".join(compare_lines(first, second)))
        self._text.setTextFormat(Qt.TextFormat.RichText)
        self._text.setWordWrap(True)
        self._text.setTextInteractionFlags(
            Qt.TextInteractionFlag.TextSelectableByMouse | Qt.TextInteractionFlag.TextSelectableByKeyboard
        )
        self.plot = make_plot("long-term spectra of the two overs", "long-term spectrum, Hz", "dBFS a line")
        line = QFontMetricsF(QApplication.font()).height()
        self.plot.setMinimumSize(360, round(10 * line))
        # It asks for much of its own accord; what is below it must be in sight first.
        self.plot.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Ignored)
        dress_plot(self.plot, theme)
        self.plot.setXRange(0.0, SPECTRUM_HIGH_HZ, padding=0.0)
        legend = Legend(self.plot)
        legend.dress(theme)
        entries, top, bottom = [], FLOOR_DB, 0.0
        styles = ((Qt.PenStyle.DashLine, DASHED, theme.peak), (Qt.PenStyle.SolidLine, SOLID, theme.trace))
        for heard, (style, sign, colour) in zip((first, second), styles, strict=True):
            hz, level = long_term_dbfs(*audio(heard.number))
            if len(hz):
                self.plot.plot(hz, level, pen=pg.mkPen(colour, width=1, style=style))
                top, bottom = max(top, float(level.max())), min(bottom, float(level.min()))
                entries.append((sign, f"over {heard.number}", colour))
        legend.write(entries or [("", "no audio at hand any more", theme.faint)])
        self.plot.setYRange(max(bottom, top - 70.0) if entries else -100.0, top + 8.0 if entries else 0.0)
        self.replay_buttons = tuple(
            QPushButton(f"Replay over &{number}") for number in (first.number, second.number)
        )
        row = QHBoxLayout()
        for button, heard in zip(self.replay_buttons, (first, second), strict=True):
            button.clicked.connect(partial(self._replay, heard, replay))
            row.addWidget(button)
        done = QPushButton("&Done")
        done.clicked.connect(self.close)
        row.addStretch(1)
        row.addWidget(done)
        names = (f"over {first.number}", f"over {second.number}")
        self.listening = ListeningRow(
            names, play=play, hush=hush, carrier_up=carrier_up, hide_figures=self._hide_figures,
            no_transmitter=no_transmitter, told=told,
        )  # fmt: skip
        inner = QWidget()
        column = QVBoxLayout(inner)
        column.setContentsMargins(0, 0, 0, 0)
        column.addWidget(self._text)
        column.addWidget(self.plot, 1)
        column.addWidget(self.listening)
        # On a small screen, or with large letters, it scrolls instead of being squeezed.
        area = QScrollArea()
        area.setWidgetResizable(True)
        area.setFrameShape(QFrame.Shape.NoFrame)
        area.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        area.setAccessibleName("figures, spectra and listening")
        area.setWidget(inner)
        self._inner = inner
        layout = QVBoxLayout(self)
        layout.addWidget(area, 1)
        layout.addLayout(row)
        dress_marks(self, theme)
        sounds = [
            Listened(
                name=name,
                samples=codes.astype(np.float32) / 32768.0,
                rate_hz=rate_hz,
                over=heard.over,
                starts_s=heard.over.start_s,
            )
            for name, heard in zip(names, self._pair, strict=True)
            for codes, rate_hz in (audio(heard.number),)
        ]
        self._closed = False
        self.finished.connect(self._end)
        later(lambda: _match_or_reason(*sounds), self._matched)

    def sizeHint(self) -> QSize:
        """Everything at once, within the screen."""
        line = QFontMetricsF(QApplication.font()).height()
        room, wanted = self.screen().availableSize(), self._inner.sizeHint()
        width = max(wanted.width(), round(38 * line)) + round(2.5 * line)
        height = wanted.height() + round(4.5 * line)
        return QSize(min(width, round(0.95 * room.width())), min(height, round(0.92 * room.height())))

    def _matched(self, found: Matched | AudiotestError) -> None:
        if self._closed:
            return
        if isinstance(found, AudiotestError):
            self.listening.refuse(str(found))
            return
        self.listening.take(found)
        ear = "<br>".join(escape(change) for change in found.changes)
        self._text.setText(f"{self._text.text()}<br><br>From the first to the second: {ear}")

    def _hide_figures(self, hidden: bool) -> None:
        """Take everything out of sight that would give a blind order away, or show it again."""
        for part in (self._text, self.plot, *self.replay_buttons):
            part.setVisible(not hidden)

    def _replay(self, heard: Heard, replay: Callable[[int], None], *_: object) -> None:
        if self.listening.may_play(heard.over.end_s - heard.over.start_s + 2.0 * AROUND_S):
            replay(heard.number)

    def _end(self, *_: object) -> None:
        self._closed = True
        self.listening.stop()

    def text(self) -> str:
        """Title and figures as they are shown."""
        return self._text.text()


def _match_or_reason(first: Listened, second: Listened) -> Matched | AudiotestError:
    try:
        return match(first, second)
    except AudiotestError as error:
        return error


def compare_lines(first: Heard, second: Heard) -> tuple[str, ...]:
    """What changed from one over to another, one figure a line."""
    rows: list[tuple[str, float | None, float | None, str, int]] = [
        ("drive", first.over.limiter.drive_db, second.over.limiter.drive_db, "dB", 1),
        ("clipped", _percent(first), _percent(second), "%", 1),
        ("peak", first.over.deviation.peak_khz, second.over.deviation.peak_khz, "kHz", 2),
        ("RMS", first.over.deviation.rms_khz, second.over.deviation.rms_khz, "kHz", 2),
        ("level", first.over.level.active_speech_dbfs, second.over.level.active_speech_dbfs, "dBFS", 1),
        ("S/N", first.over.noise.snr_db, second.over.noise.snr_db, "dB", 1),
    ]
    lines = []
    for name, before, after, unit, digits in rows:
        if before is None or after is None:
            continue
        lines.append(
            f"{name}: {before:.{digits}f} → {after:.{digits}f} {unit} ({after - before:+.{digits}f})"
        )
    return tuple(with_minus(line) for line in lines) or ("nothing was measured in both",)


def _percent(heard: Heard) -> float | None:
    clipped = heard.over.limiter.clipped_fraction
    return None if clipped is None else 100.0 * clipped
