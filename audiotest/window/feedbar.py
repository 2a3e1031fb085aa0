"""The line about the feed that is always in sight: source, state, recording, scale, hiss guard, drop-outs."""

from PySide6.QtWidgets import QHBoxLayout, QWidget

from audiotest.window.announcing import announce
from audiotest.window.labels import CutLabel, plain_tip
from audiotest.window.presenter import FeedLine
from audiotest.window.recording import RecordingLine
from audiotest.window.theme import Theme

FROM_THE_FEED = ("source", "state", "scale", "hiss", "lost")
NAMES = ("source", "state", "recording", "scale", "hiss", "lost")
NEVER_CUT = ("state", "recording", "lost")


class FeedBar(QWidget):
    """Short texts in a row; where there is no room they end in an ellipsis."""

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.labels = {name: CutLabel(whole=name in NEVER_CUT, spoken=f"feed {name}") for name in NAMES}
        self._trouble = False
        row = QHBoxLayout(self)
        row.setContentsMargins(8, 2, 8, 2)
        row.setSpacing(18)
        for label in self.labels.values():
            row.addWidget(label)
        row.addStretch(1)
        self.labels["recording"].setVisible(False)

    def show_line(self, line: FeedLine, theme: Theme) -> None:
        """Write the texts; trouble is in bold with a sign."""
        # A sentence of trouble in large letters must not make the window wider than its screen.
        self.labels["state"].keep_whole(not line.trouble)
        for name in FROM_THE_FEED:
            label, text = self.labels[name], str(getattr(line, name))
            if name == "state" and line.trouble:
                text = f"⚠ {text}"
            label.setText(text)
        if line.trouble and not self._trouble:
            announce(self.labels["state"])
        self._trouble = line.trouble
        colour = theme.warn if line.trouble else theme.ink
        style = f"color: {colour}; font-weight: bold;"
        if self.labels["state"].styleSheet() != style:
            self.labels["state"].setStyleSheet(style)
            self.labels["lost"].setStyleSheet(f"color: {colour};" if line.trouble else "")

    def show_recording(self, line: RecordingLine, theme: Theme) -> None:
        """Write how the recording stands; without one its place is the others'."""
        label = self.labels["recording"]
        label.setText(line.text)
        label.setToolTip(plain_tip(line.tip))
        label.setVisible(bool(line.text))
        style = f"color: {theme.warn if line.trouble else theme.ink}; font-weight: bold;"
        if label.styleSheet() != style:
            label.setStyleSheet(style)
