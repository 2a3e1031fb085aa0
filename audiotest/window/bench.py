"""The bench page: feed line, advice, balance map, meters, pictures, over tape."""

from typing import Any

from PySide6.QtCore import Qt
from PySide6.QtWidgets import QFrame, QHBoxLayout, QLabel, QSplitter, QVBoxLayout, QWidget

from audiotest.records import Feed, LimitSet, LiveReading
from audiotest.window.advicepane import AdvicePane
from audiotest.window.balancemap import BalanceMap
from audiotest.window.listening import Listening
from audiotest.window.meters import MeterPane, sounds_like_hiss
from audiotest.window.overtape import OverTape
from audiotest.window.practicepane import PracticePane
from audiotest.window.presenter import FeedLine
from audiotest.window.scope import VIEW_WORDS, Scope
from audiotest.window.spectrumview import ROW_S, SpectrumView, Waterfall
from audiotest.window.theme import LIGHT, Theme

HARMONICS_AT_SINAD_DB = 10.0


class Bench(QWidget):
    """Lays the panes out and hands each what it shows."""

    def __init__(self, limits: LimitSet, feed: Feed | None, practice: PracticePane) -> None:
        super().__init__()
        self.theme = LIGHT
        self.frozen = False
        self.advice = AdvicePane()
        self.practice = practice
        self.map = BalanceMap(limits)
        self.meters = MeterPane(limits)
        self.scope = Scope(limits, feed)
        self.spectrum = SpectrumView(limits)
        self.waterfall = Waterfall()
        self.tape = OverTape()
        self.feed_labels = {name: QLabel() for name in ("source", "state", "scale", "hiss", "lost")}
        self.captions = {name: QLabel() for name in ("map", "scope", "spectrum", "waterfall")}
        self.read_out = QLabel()
        self._row_s = 0.0
        self._arrange()
        for plot, words in ((self.scope.plot, "ms"), (self.spectrum.plot, "Hz")):
            plot.scene().sigMouseMoved.connect(
                lambda place, plot=plot, words=words: self._read_off(plot, place, words)
            )
        self.write_captions()

    def _arrange(self) -> None:
        line = QHBoxLayout()
        line.setContentsMargins(8, 2, 8, 2)
        line.setSpacing(18)
        for name, label in self.feed_labels.items():
            label.setAccessibleName(f"feed {name}")
            line.addWidget(label)
        line.addStretch(1)
        line.addWidget(self.read_out)
        self.upper = QSplitter(Qt.Orientation.Horizontal)
        self.upper.addWidget(self.advice)
        self.upper.addWidget(_titled(self.captions["map"], self.map))
        self.upper.addWidget(self.meters)
        self.upper.setSizes([470, 640, 150])
        self.upper.setStretchFactor(0, 5)
        self.upper.setStretchFactor(1, 6)
        self.upper.setStretchFactor(2, 0)
        pictures = QSplitter(Qt.Orientation.Horizontal)
        for name, picture in (
            ("scope", self.scope.plot),
            ("spectrum", self.spectrum.plot),
            ("waterfall", self.waterfall.plot),
        ):
            pictures.addWidget(_titled(self.captions[name], picture))
        for k, share in enumerate((5, 5, 3)):
            pictures.setStretchFactor(k, share)
        self.halves = QSplitter(Qt.Orientation.Vertical)
        self.halves.addWidget(self.upper)
        self.halves.addWidget(pictures)
        self.halves.setSizes([400, 190])
        self.halves.setStretchFactor(0, 2)
        self.halves.setStretchFactor(1, 1)
        foot = QHBoxLayout()
        foot.setSpacing(4)
        foot.addWidget(self.practice)
        foot.addWidget(self.tape, 1)
        layout = QVBoxLayout(self)
        layout.setContentsMargins(6, 2, 6, 6)
        layout.setSpacing(4)
        layout.addLayout(line)
        layout.addWidget(self.halves, 1)
        layout.addLayout(foot)

    def dress(self, theme: Theme, limits: LimitSet, feed: Feed | None) -> None:
        """Draw everything in these colours, against these limits, with this scale."""
        self.theme = theme
        self.map.dress(theme, limits)
        self.meters.dress(theme, limits)
        self.scope.dress(theme, limits, feed)
        self.spectrum.dress(theme, limits)
        self.waterfall.dress(theme)
        self.tape.dress(theme)
        self.advice.show_over(self.advice.heard, theme)
        self.write_captions()

    def write_captions(self) -> None:
        """Say above each picture what it shows, and that it stands still when it is frozen."""
        still = "  FROZEN" if self.frozen else ""
        self.captions["map"].setText(
            "Balance: mic gain moves the dot sideways, deviation moves it up and down"
        )
        scope = f"Scope: {self.scope.unit} over ms, {VIEW_WORDS[self.scope.view]}{still}"
        average = "averaged" if self.spectrum.average else "as it comes"
        spectrum = f"Spectrum: dBFS over Hz, {average}, peaks held{still}"
        waterfall = f"Waterfall: seconds ago over Hz{still}"
        for name, text in (("scope", scope), ("spectrum", spectrum), ("waterfall", waterfall)):
            self.captions[name].setText(text)

    def show_feed(self, line: FeedLine) -> None:
        """Write the feed line; trouble is in bold with a sign."""
        for name, label in self.feed_labels.items():
            text = str(getattr(line, name))
            if name == "state" and line.trouble:
                text = f"⚠ {text}"
            if label.text() != text:
                label.setText(text)
        colour = self.theme.warn if line.trouble else self.theme.ink
        style = f"color: {colour}; font-weight: bold;"
        if self.feed_labels["state"].styleSheet() != style:
            self.feed_labels["state"].setStyleSheet(style)
            self.feed_labels["lost"].setStyleSheet(f"color: {colour};" if line.trouble else "")

    def draw(self, listening: Listening, reading: LiveReading | None) -> None:
        """Draw one frame from what is being listened to."""
        self.meters.show_levels(listening.levels, reading)
        if self.frozen:
            return
        rate_hz = listening.rate_hz
        need_n = max(self.scope.span_n(rate_hz), self.spectrum.needed_n(rate_hz))
        samples = listening.tape.last(need_n)
        self.scope.draw(samples[-self.scope.span_n(rate_hz) :], rate_hz)
        speech = reading is not None and reading.over_s is not None and not sounds_like_hiss(reading)
        level = self.spectrum.draw(samples[-self.spectrum.needed_n(rate_hz) :], rate_hz, hold=speech)
        now_s = listening.tape.end_n / rate_hz
        if not 0.0 <= now_s - self._row_s < ROW_S:
            self._row_s = now_s
            self.waterfall.add(level)
        tone = reading is not None and (reading.sinad_db or 0.0) >= HARMONICS_AT_SINAD_DB
        self.spectrum.mark_harmonics(self.spectrum.strongest_hz() if tone else None)

    def _read_off(self, plot: Any, place: Any, words: str) -> None:
        view = plot.getViewBox()
        if not plot.sceneBoundingRect().contains(place):
            return
        at = view.mapSceneToView(place)
        unit = self.scope.unit if words == "ms" else "dBFS"
        self.read_out.setText(f"{at.x():.{1 if words == 'ms' else 0}f} {words}, {at.y():.2f} {unit}")


def _titled(caption: QLabel, picture: QWidget) -> QFrame:
    frame = QFrame()
    frame.setFrameShape(QFrame.Shape.StyledPanel)
    caption.setContentsMargins(6, 2, 6, 0)
    layout = QVBoxLayout(frame)
    layout.setContentsMargins(1, 1, 1, 1)
    layout.setSpacing(0)
    layout.addWidget(caption)
    layout.addWidget(picture, 1)
    return frame
