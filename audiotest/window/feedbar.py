"""The line about the feed that is always in sight: source, state, scale, hiss guard, drop-outs."""

from PySide6.QtWidgets import QHBoxLayout, QWidget

from audiotest.window.announcing import announce
from audiotest.window.labels import CutLabel
from audiotest.window.presenter import FeedLine
from audiotest.window.theme import Theme

NAMES = ("source", "state", "scale", "hiss", "lost")
NEVER_CUT = ("state", "lost")


class FeedBar(QWidget):
    """Five short texts in a row; where there is no room they end in an ellipsis."""

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

    def show_line(self, line: FeedLine, theme: Theme) -> None:
        """Write the texts; trouble is in bold with a sign."""
        for name, label in self.labels.items():
            text = str(getattr(line, name))
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
