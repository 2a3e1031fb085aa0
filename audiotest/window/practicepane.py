"""The simulated set's own two controls, to turn with mouse or keys."""

from collections.abc import Callable

from PySide6.QtGui import QFontMetricsF
from PySide6.QtWidgets import (
    QApplication,
    QCheckBox,
    QDial,
    QFrame,
    QGridLayout,
    QLabel,
    QPushButton,
    QVBoxLayout,
    QWidget,
)

from audiotest.window.practice import CEILING_RANGE_KHZ, MIC_GAIN_RANGE_DB, Adjustment
from audiotest.window.theme import Theme, dress_marks

DIAL_LINES = 3.6
KHZ_STEPS = 20
"""Steps of a kilohertz on the deviation control: 50 Hz each."""


class PracticePane(QFrame):
    """Mic gain and deviation of the simulated set; what is turned is heard in the next over."""

    def __init__(
        self,
        on_mic_gain: Callable[[float], None],
        on_ceiling: Callable[[float], None],
        on_talk: Callable[[], None],
        on_automatic: Callable[[bool], None],
        parent: QWidget | None = None,
    ) -> None:
        super().__init__(parent)
        self.setFrameShape(QFrame.Shape.StyledPanel)
        self._on_mic_gain, self._on_ceiling = on_mic_gain, on_ceiling
        self.title = QLabel("<b>The set on the bench</b> (simulated; nothing is sent)")
        self.mic = _dial(MIC_GAIN_RANGE_DB[0], MIC_GAIN_RANGE_DB[1], 1)
        self.ceiling = _dial(CEILING_RANGE_KHZ[0], CEILING_RANGE_KHZ[1], KHZ_STEPS)
        self.mic_label, self.ceiling_label = QLabel(), QLabel()
        self.talk = QPushButton("&Talk now")
        self.talk.setToolTip("Key the simulated set for one over (T)")
        self.automatic = QCheckBox("talk over and over")
        self.automatic.setChecked(True)
        self.truth = QLabel("Turn a knob; the next over shows it.")
        layout = QGridLayout(self)
        layout.setContentsMargins(8, 3, 8, 3)
        layout.setHorizontalSpacing(8)
        layout.setVerticalSpacing(0)
        layout.addWidget(self.title, 0, 0, 1, 5)
        layout.addWidget(self.mic, 1, 0)
        layout.addWidget(self.mic_label, 1, 1)
        layout.addWidget(self.ceiling, 1, 2)
        layout.addWidget(self.ceiling_label, 1, 3)
        side = QVBoxLayout()
        side.setSpacing(2)
        side.addWidget(self.talk)
        side.addWidget(self.automatic)
        layout.addLayout(side, 1, 4)
        layout.addWidget(self.truth, 2, 0, 1, 5)
        self.mic.valueChanged.connect(self._mic_turned)
        self.ceiling.valueChanged.connect(self._ceiling_turned)
        self.talk.clicked.connect(lambda: on_talk())
        self.automatic.toggled.connect(on_automatic)

    def dress(self, theme: Theme) -> None:
        """Knobs and marks as large as the letters ask for."""
        side = round(DIAL_LINES * QFontMetricsF(QApplication.font()).height())
        for dial in (self.mic, self.ceiling):
            dial.setFixedSize(side, side)
        dress_marks(self, theme)

    def show_adjustment(self, adjustment: Adjustment) -> None:
        """Put the knobs where the set's controls stand, without turning anything."""
        for dial, value in (
            (self.mic, round(adjustment.mic_gain_db)),
            (self.ceiling, round(adjustment.ceiling_khz * KHZ_STEPS)),
        ):
            dial.blockSignals(True)
            dial.setValue(value)
            dial.blockSignals(False)
        self._write_labels()

    def _mic_turned(self, value: int) -> None:
        self._write_labels()
        self._on_mic_gain(float(value))

    def _ceiling_turned(self, value: int) -> None:
        self._write_labels()
        self._on_ceiling(value / KHZ_STEPS)

    def _write_labels(self) -> None:
        mic, ceiling = f"{self.mic.value()} dB", f"{self.ceiling.value() / KHZ_STEPS:.2f} kHz"
        self.mic_label.setText(f"mic gain\n{mic}")
        self.ceiling_label.setText(f"deviation\n{ceiling}")
        self.mic.setAccessibleName(f"mic gain of the simulated set, {mic}")
        self.ceiling.setAccessibleName(f"deviation control of the simulated set, {ceiling}")


def _dial(low: float, high: float, steps: int) -> QDial:
    dial = QDial()
    dial.setRange(round(low * steps), round(high * steps))
    dial.setNotchesVisible(True)
    dial.setNotchTarget(8.0)
    dial.setSingleStep(1)
    dial.setPageStep(4)
    return dial
