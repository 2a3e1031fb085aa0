"""The bench page: feed line, advice, balance map, meters, pictures, over tape."""

from functools import partial

from PySide6.QtCore import Qt
from PySide6.QtGui import QFontMetricsF, QResizeEvent
from PySide6.QtWidgets import QApplication, QFrame, QHBoxLayout, QLabel, QSplitter, QVBoxLayout, QWidget

from audiotest.records import Feed, LimitSet, LiveReading
from audiotest.window.advicepane import AdvicePane
from audiotest.window.balancemap import BalanceMap
from audiotest.window.cursor import Cursor
from audiotest.window.feedbar import FeedBar
from audiotest.window.labels import CutLabel
from audiotest.window.listening import Listening
from audiotest.window.meters import MeterPane, sounds_like_hiss
from audiotest.window.overtape import OverTape, TapeButtons
from audiotest.window.practicepane import PracticePane
from audiotest.window.presenter import FeedLine
from audiotest.window.scope import Scope
from audiotest.window.spectrumview import ROW_S, SpectrumView, Waterfall
from audiotest.window.theme import LIGHT, Theme

HARMONICS_AT_SINAD_DB = 10.0
CURSOR_EVERY = 6
LINES_FOR_PICTURES = 30.0
"""With fewer lines of text in its height the page leaves the pictures out: advice and map come first."""


class Bench(QWidget):
    """Lays the panes out and hands each what it shows."""

    def __init__(self, limits: LimitSet, feed: Feed | None, practice: PracticePane) -> None:
        super().__init__()
        self.theme = LIGHT
        self.frozen = False
        self.pictures_wanted = True
        self.advice = AdvicePane()
        self.practice = practice
        self.map = BalanceMap(limits)
        self.meters = MeterPane(limits)
        self.scope = Scope(limits, feed)
        self.spectrum = SpectrumView(limits)
        self.waterfall = Waterfall()
        self.tape = OverTape()
        self.tape_buttons = TapeButtons()
        self.feed = FeedBar()
        self.captions = {name: CutLabel() for name in ("map", "scope", "spectrum", "waterfall")}
        self.read_outs = dict.fromkeys(("scope", "spectrum", "waterfall"), "")
        self.cursors = {
            name: Cursor(picture.plot, picture.read_off, partial(self._read, name))
            for name, picture in (
                ("scope", self.scope), ("spectrum", self.spectrum), ("waterfall", self.waterfall),
            )
        }  # fmt: skip
        self._row_s = 0.0
        self._drawn = (0, 0)
        self._frames = 0
        self._arrange()
        self.write_captions()

    @property
    def feed_labels(self) -> dict[str, CutLabel]:
        """The texts of the feed line by name."""
        return self.feed.labels

    def _arrange(self) -> None:
        upper = QSplitter(Qt.Orientation.Horizontal)
        upper.addWidget(_titled(self.captions["map"], self.map))
        upper.addWidget(self.meters)
        upper.setStretchFactor(0, 1)
        upper.setStretchFactor(1, 0)
        self.pictures = QSplitter(Qt.Orientation.Horizontal)
        for name, picture in (
            ("scope", self.scope.plot),
            ("spectrum", self.spectrum.plot),
            ("waterfall", self.waterfall.plot),
        ):
            self.pictures.addWidget(_titled(self.captions[name], picture))
        for k, share in enumerate((5, 5, 4)):
            self.pictures.setStretchFactor(k, share)
        evidence = QSplitter(Qt.Orientation.Vertical)
        evidence.addWidget(upper)
        evidence.addWidget(self.pictures)
        evidence.setStretchFactor(0, 2)
        evidence.setStretchFactor(1, 1)
        evidence.setSizes([400, 200])
        self.halves = QSplitter(Qt.Orientation.Horizontal)
        self.halves.addWidget(self.advice)
        self.halves.addWidget(evidence)
        self.halves.setSizes([420, 580])
        self.halves.setStretchFactor(0, 42)
        self.halves.setStretchFactor(1, 58)
        for splitter in (upper, self.pictures, evidence, self.halves):
            splitter.setChildrenCollapsible(False)
        foot = QHBoxLayout()
        foot.setSpacing(4)
        foot.addWidget(self.practice)
        foot.addWidget(self.tape, 1)
        foot.addWidget(self.tape_buttons)
        layout = QVBoxLayout(self)
        layout.setContentsMargins(6, 2, 6, 6)
        layout.setSpacing(4)
        layout.addWidget(self.feed)
        layout.addWidget(self.halves, 1)
        layout.addLayout(foot)

    def resizeEvent(self, event: QResizeEvent) -> None:
        """Leave the pictures out where they would only crowd the advice."""
        super().resizeEvent(event)
        self.fit()

    def fit(self) -> None:
        """Show or hide the pictures by the room there is and the user's wish."""
        line = QFontMetricsF(QApplication.font()).height()
        self.pictures.setVisible(self.pictures_wanted and self.height() >= LINES_FOR_PICTURES * line)

    def dress(self, theme: Theme, limits: LimitSet, feed: Feed | None) -> None:
        """Draw everything in these colours, against these limits, with this scale."""
        self.theme = theme
        self.map.dress(theme, limits)
        self.meters.dress(theme, limits)
        self.scope.dress(theme, limits, feed)
        self.spectrum.dress(theme, limits, feed)
        self.waterfall.dress(theme)
        for cursor in self.cursors.values():
            cursor.dress(theme)
        self.tape.dress(theme)
        self.practice.dress(theme)
        self.advice.show_over(self.advice.heard, theme)
        self.write_captions()
        self.fit()

    def write_captions(self) -> None:
        """Say above each picture what it shows or what the cursor reads, and that it is frozen.

        What each trace is stands in the picture's legend: together the line would be cut at 1280 pixels.
        """
        average = "averaged" if self.spectrum.average else "as it comes"
        texts = {
            "scope": f"Scope: {self.scope.unit} over ms",
            "spectrum": f"Spectrum: dBFS over Hz, {average}",
            "waterfall": "Waterfall: s ago over Hz",
        }
        for name, text in texts.items():
            still = "FROZEN  " if self.frozen else ""
            self.captions[name].setText(still + (self.read_outs[name] or text))
        self.captions["map"].setText(
            "Balance: mic gain moves the dot sideways, deviation moves it up and down"
        )

    def _read(self, name: str, text: str) -> None:
        self.read_outs[name] = text
        self.write_captions()

    def show_feed(self, line: FeedLine) -> None:
        """Write the feed line."""
        self.feed.show_line(line, self.theme)

    def draw(self, listening: Listening, reading: LiveReading | None) -> None:
        """Draw one frame from what is being listened to."""
        self.meters.show_levels(listening.levels, reading)
        heard = (id(listening), listening.tape.end_n)
        if self.frozen or heard == self._drawn:
            # Nothing new: an over is being measured perhaps, and that should not have to share the core.
            return
        self._drawn = heard
        rate_hz = listening.rate_hz
        need_n = max(self.scope.span_n(rate_hz), self.spectrum.needed_n(rate_hz))
        samples = listening.tape.last(need_n)
        if self.pictures.isVisibleTo(self):
            self.scope.draw(samples[-self.scope.span_n(rate_hz) :], rate_hz)
        speech = reading is not None and reading.over_s is not None and not sounds_like_hiss(reading)
        over_s = reading.over_s if speech and reading is not None else None
        level = self.spectrum.draw(samples[-self.spectrum.needed_n(rate_hz) :], rate_hz, over_s=over_s)
        now_s = listening.tape.end_n / rate_hz
        if not 0.0 <= now_s - self._row_s < ROW_S:
            self._row_s = now_s
            self.waterfall.add(level)
        tone = reading is not None and (reading.sinad_db or 0.0) >= HARMONICS_AT_SINAD_DB
        self.spectrum.mark_harmonics(self.spectrum.strongest_hz() if tone else None)
        self._frames += 1
        if self._frames % CURSOR_EVERY == 0:
            for cursor in self.cursors.values():
                cursor.refresh()


def _titled(caption: QLabel, picture: QWidget) -> QFrame:
    frame = QFrame()
    frame.setFrameShape(QFrame.Shape.StyledPanel)
    caption.setContentsMargins(6, 2, 6, 0)
    picture.setMinimumSize(110, 60)
    layout = QVBoxLayout(frame)
    layout.setContentsMargins(1, 1, 1, 1)
    layout.setSpacing(0)
    layout.addWidget(caption)
    layout.addWidget(picture, 1)
    return frame
