"""The advice: the sentence, the two knobs, how sure it is, and why."""

from PySide6.QtCore import Qt
from PySide6.QtWidgets import QFrame, QHBoxLayout, QLabel, QSizePolicy, QVBoxLayout, QWidget

from audiotest.window.knob import ControlKnob
from audiotest.window.presenter import Heard, control_views, sure_words
from audiotest.window.theme import Theme, bigger

FIRST_WORDS = "Talk into the set for five seconds or more, then unkey."


class AdvicePane(QFrame):
    """Everything the advice says about one over."""

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setFrameShape(QFrame.Shape.StyledPanel)
        self.sentence = QLabel(FIRST_WORDS)
        self.sentence.setWordWrap(True)
        self.sentence.setAlignment(Qt.AlignmentFlag.AlignLeft | Qt.AlignmentFlag.AlignTop)
        self.sentence.setAccessibleName("advice")
        self.mic, self.deviation = ControlKnob(), ControlKnob()
        self.sure = QLabel()
        self.sure.setAlignment(Qt.AlignmentFlag.AlignCenter)
        self.reasons = QLabel()
        self.reasons.setWordWrap(True)
        self.reasons.setTextFormat(Qt.TextFormat.PlainText)
        self.reasons.setAlignment(Qt.AlignmentFlag.AlignLeft | Qt.AlignmentFlag.AlignTop)
        self.reasons.setAccessibleName("reasons")
        for label in (self.sentence, self.reasons):
            label.setSizePolicy(QSizePolicy.Policy.Ignored, QSizePolicy.Policy.Minimum)
        knobs = QHBoxLayout()
        knobs.addWidget(self.mic)
        knobs.addWidget(self.deviation)
        layout = QVBoxLayout(self)
        layout.setSpacing(4)
        layout.addWidget(self.sentence)
        layout.addLayout(knobs, 1)
        layout.addWidget(self.sure)
        layout.addWidget(self.reasons)
        self.heard: Heard | None = None

    def show_over(self, heard: Heard | None, theme: Theme) -> None:
        """Show the advice on an over, or what to do first when there is none."""
        self.heard = heard
        mic, deviation = control_views(heard)
        self.mic.show_view(mic, theme)
        self.deviation.show_view(deviation, theme)
        self.sentence.setFont(bigger(self.font(), 1.75, bold=True))
        sure = sure_words(heard)
        if heard is None:
            self.sentence.setText(FIRST_WORDS)
            self.sure.setText("")
            self.reasons.setText("")
            return
        self.sentence.setText(heard.advice.sentence)
        self.sure.setText(f"over {heard.number}, {heard.time_of_day}" + (f": {sure}" if sure else ""))
        self.reasons.setText("\n".join(f"· {line}" for line in heard.advice.because))
