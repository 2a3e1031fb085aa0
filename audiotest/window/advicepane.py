"""The advice: the sentence, the two knobs, how sure it is, and why."""

from PySide6.QtGui import QFontMetricsF, QResizeEvent
from PySide6.QtWidgets import QApplication, QFrame, QHBoxLayout, QVBoxLayout, QWidget

from audiotest.window.announcing import announce
from audiotest.window.knob import ControlKnob
from audiotest.window.labels import CutLabel, FittedLabel
from audiotest.window.presenter import Heard, control_views, sure_words, trend_words
from audiotest.window.theme import Theme

FIRST_WORDS = "Talk into the set for five seconds or more, then unkey."
LINES_FOR_TREND = 16.0
"""In a pane with fewer lines of text the sentence needs the room; the far view has the trend as well."""


class AdvicePane(QFrame):
    """Everything the advice says about one over."""

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setFrameShape(QFrame.Shape.StyledPanel)
        self.sentence = FittedLabel(1.0, 4.0, lines=7.5, bold=True, spoken="advice")
        self.sentence.setText(FIRST_WORDS)
        # It keeps its line when it is empty: nothing below it jumps.
        self.trend = CutLabel(spoken="since the last over")
        self.mic, self.deviation = ControlKnob(), ControlKnob()
        self.sure = CutLabel()
        self.reasons = FittedLabel(0.8, 1.0, lines=4.6, spoken="reasons")
        knobs = QHBoxLayout()
        knobs.setSpacing(6)
        knobs.addWidget(self.mic, 1)
        knobs.addWidget(self.deviation, 1)
        layout = QVBoxLayout(self)
        layout.setContentsMargins(10, 6, 8, 6)
        layout.setSpacing(4)
        layout.addWidget(self.sentence, 22)
        layout.addWidget(self.trend)
        layout.addLayout(knobs, 64)
        layout.addWidget(self.sure)
        layout.addWidget(self.reasons, 14)
        self.heard: Heard | None = None

    def resizeEvent(self, event: QResizeEvent) -> None:
        """Leave the trend out where it would cut the advice short."""
        super().resizeEvent(event)
        line = QFontMetricsF(QApplication.font()).height()
        self.trend.setVisible(self.height() >= LINES_FOR_TREND * line)

    def show_over(self, heard: Heard | None, theme: Theme) -> None:
        """Show the advice on an over, or what to do first when there is none."""
        self.heard = heard
        self.trend.setText(trend_words(heard))
        mic, deviation = control_views(heard)
        self.mic.show_view(mic, theme)
        self.deviation.show_view(deviation, theme)
        if heard is None:
            self.sentence.setText(FIRST_WORDS)
            self.sure.setText("")
            self.reasons.setText("")
            return
        sure = sure_words(heard)
        self.sentence.setText(heard.advice.sentence)
        announce(self.sentence)
        self.sure.setText(f"over {heard.number}, {heard.time_of_day}" + (f": {sure}" if sure else ""))
        self.reasons.setText("\n".join(f"· {line}" for line in heard.advice.because))
