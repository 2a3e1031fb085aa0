"""The page of a measurement under way: what to do in large letters, the live figure, the plot, a stop."""

from collections.abc import Callable, Sequence

from PySide6.QtCore import Qt
from PySide6.QtGui import QFontMetricsF
from PySide6.QtWidgets import (
    QApplication,
    QHBoxLayout,
    QLabel,
    QLineEdit,
    QProgressBar,
    QPushButton,
    QSplitter,
    QVBoxLayout,
    QWidget,
)

from audiotest.errors import RequestError
from audiotest.tones.answers import read_answer
from audiotest.tones.reported import point_words
from audiotest.window.announcing import announce
from audiotest.window.benchplot import BenchPlot, Line
from audiotest.window.benchrun import Moment, Question
from audiotest.window.labels import CutLabel, FittedLabel
from audiotest.window.minus import with_minus
from audiotest.window.theme import LIGHT, Theme, bigger

DOING_WORDS = {
    "opening": "opening",
    "asking": "waiting for you",
    "sending": "sending and listening",
    "listening": "listening",
    "over": "over",
}


class RunningPane(QWidget):
    """Shows a `Moment`; hands answers and the stop on."""

    def __init__(self, answer: Callable[[float | None], None], stop: Callable[[], None]) -> None:
        super().__init__()
        self.theme = LIGHT
        self._answer = answer
        self._question: Question | None = None
        self._written: tuple[object, ...] = ()
        self.title = CutLabel(spoken="measurement")
        self.state = CutLabel(whole=True, spoken="state")
        self.prompt = FittedLabel(1.5, 6.0, lines=8.0, bold=True, spoken="what to do")
        self.below = QLabel()
        self.below.setWordWrap(True)
        self.field = QLineEdit()
        self.field.setAccessibleName("what it is set to")
        self.unit = QLabel()
        self.done = QPushButton("Done  (Enter)")
        self.live = FittedLabel(1.5, 6.0, lines=4.0, bold=True, spoken="last reading")
        self.live.setAlignment(Qt.AlignmentFlag.AlignLeft | Qt.AlignmentFlag.AlignBottom)
        self.live_where = CutLabel(spoken="of")
        self.progress = QProgressBar()
        self.progress.setAccessibleName("progress")
        self.plot = BenchPlot()
        self.stop = QPushButton("Stop  (Esc)")
        self.stop.setAccessibleName("stop: silence at once, keep what was measured")
        self.stop.setToolTip("Silences the output at once. What was measured is kept.")
        self.stop.clicked.connect(lambda: stop())
        self.done.clicked.connect(self.press)
        for widget in (self.field, self.unit, self.done):
            # Its room stays: what is read across the room must not jump.
            policy = widget.sizePolicy()
            policy.setRetainSizeWhenHidden(True)
            widget.setSizePolicy(policy)
        self._arrange()

    def _arrange(self) -> None:
        head = QHBoxLayout()
        head.addWidget(self.title, 1)
        head.addWidget(self.state)
        answer = QHBoxLayout()
        answer.addWidget(self.field, 2)
        answer.addWidget(self.unit)
        answer.addWidget(self.done, 3)
        left = QWidget()
        column = QVBoxLayout(left)
        column.setContentsMargins(0, 0, 6, 0)
        column.addWidget(self.prompt, 5)
        column.addWidget(self.below)
        column.addLayout(answer)
        column.addSpacing(6)
        column.addWidget(self.live, 2)
        column.addWidget(self.live_where)
        self.halves = QSplitter(Qt.Orientation.Horizontal)
        self.halves.addWidget(left)
        self.halves.addWidget(self.plot)
        self.halves.setSizes([500, 500])
        self.halves.setChildrenCollapsible(False)
        foot = QHBoxLayout()
        foot.addWidget(self.progress, 1)
        foot.addWidget(self.stop)
        layout = QVBoxLayout(self)
        layout.addLayout(head)
        layout.addWidget(self.halves, 1)
        layout.addLayout(foot)

    def begin(self, title: str, theme: Theme) -> None:
        """A new run."""
        self.title.setText(title)
        self._question, self._written = None, ()
        self.live.setText("")
        self.live_where.setText("nothing measured yet")
        self.dress(theme)
        self.stop.setFocus()

    def dress(self, theme: Theme) -> None:
        """Colours and sizes of letters."""
        self.theme = theme
        usual = QApplication.font()
        line = QFontMetricsF(usual).height()
        self.title.setFont(bigger(usual, 1.15, bold=True))
        self.state.setFont(bigger(usual, 1.15, bold=True))
        self.below.setFont(bigger(usual, 1.1))
        self.below.setMinimumHeight(round(2.6 * line))
        self.below.setAlignment(Qt.AlignmentFlag.AlignLeft | Qt.AlignmentFlag.AlignTop)
        for widget in (self.field, self.unit, self.done, self.stop):
            widget.setFont(bigger(usual, 1.4))
        for button in (self.done, self.stop):
            button.setMinimumHeight(round(2.3 * line))
        self.field.setMinimumHeight(round(2.3 * line))
        self.plot.dress(theme)
        self._written = ()

    def show_moment(self, moment: Moment, *, steps_n: int, rehearsed: bool, lines: Sequence[Line]) -> None:
        """Show how it stands."""
        self._show_state(moment, rehearsed=rehearsed)
        if moment.question != self._question or not self._written:
            self._show_question(moment.question)
        if moment.question is None and moment.doing != "asking":
            self.prompt.setText(moment.prompt)
            self.below.setText("")
        elif moment.question is not None:
            self.below.setText(with_minus(moment.prompt) if moment.prompt != moment.question.words else "")
        self._show_live(moment)
        self._show_progress(moment, steps_n)
        self.plot.show_report(moment.report, lines)

    def _show_state(self, moment: Moment, *, rehearsed: bool) -> None:
        on_air = moment.keyed and not rehearsed
        words = DOING_WORDS[moment.doing]
        if on_air:
            words = f"▲ SET KEYED, {words}"
        elif rehearsed:
            words = f"rehearsal, nothing is sent: {words}"
        written = (words, on_air)
        if written != self._written:
            self._written = written
            self.state.setText(words)
            if on_air:
                announce(self.state)
            colour = self.theme.warn if on_air else self.theme.ink
            self.state.setStyleSheet(f"color: {colour};")

    def _show_question(self, question: Question | None) -> None:
        self._question = question
        if question is not None:
            announce(self.prompt, question.words)
        typed = question is not None and question.ask is not None
        self.field.setVisible(typed)
        self.unit.setVisible(typed)
        self.done.setVisible(question is not None)
        if question is None:
            return
        if question.ask is None:
            self.prompt.setText(question.words)
            self.done.setText("Done  (Enter)")
            self.done.setFocus()
        else:
            suggested = f"{question.ask.suggested:.4g}"
            wanted = f"{question.words} {suggested} {question.ask.unit}".rstrip()
            self.prompt.setText(wanted)
            self.field.setText(suggested)
            self.unit.setText(question.ask.unit)
            self.done.setText("It is set so  (Enter)")
            self.field.setFocus()
            self.field.selectAll()

    def press(self) -> None:
        """Answer the question: as suggested, or with what was typed."""
        question = self._question
        if question is None:
            return
        if question.ask is None or self.field.text().strip() == f"{question.ask.suggested:.4g}":
            self._answer(None)
            return
        try:
            value = read_answer(self.field.text(), question.ask.setting)
        except RequestError as error:
            self.below.setText(f"{error}.")
            self.field.selectAll()
            return
        self._answer(value)

    def _show_live(self, moment: Moment) -> None:
        if moment.latest is None:
            return
        value, where = point_words(moment.latest, moment.report.x_label, moment.report.y_label)
        self.live.setText(value)
        self.live_where.setText(where)

    def _show_progress(self, moment: Moment, steps_n: int) -> None:
        done = moment.steps_done
        clock = f"{int(moment.elapsed_s) // 60}:{int(moment.elapsed_s) % 60:02}"
        if steps_n <= 0:
            # No end of its own: a bar that fills would promise one.
            self.progress.setRange(0, 1)
            self.progress.setValue(0)
            self.progress.setFormat(f"{done} readings, {clock}")
            return
        self.progress.setRange(0, max(steps_n, done + 1))
        self.progress.setValue(done)
        self.progress.setFormat(f"step {done + 1} of about {max(steps_n, done + 1)}, {clock}")
