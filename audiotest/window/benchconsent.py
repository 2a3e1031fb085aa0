"""Before anything leaves the socket: what will happen, what to mind, and a plain yes."""

from collections.abc import Callable

from PySide6.QtCore import Qt
from PySide6.QtWidgets import (
    QApplication,
    QCheckBox,
    QFrame,
    QHBoxLayout,
    QLabel,
    QPushButton,
    QScrollArea,
    QVBoxLayout,
    QWidget,
)

from audiotest.window.theme import Theme, bigger, dress_marks

AGREED = "I have &read this, and it is kept"


class ConsentPane(QWidget):
    """Goes on only by a mark set by hand and a button pressed; the keys lead back at first."""

    def __init__(self, go: Callable[[], None], back: Callable[[], None]) -> None:
        super().__init__()
        self.title = _text()
        self.headline = _text()
        self.rest = _text()
        self.agreed = QCheckBox(AGREED)
        self.go = QPushButton("&Go on")
        self.back = QPushButton("&Back, send nothing")
        for button in (self.go, self.back):
            button.setMinimumHeight(36)
            button.setAutoDefault(True)
        self.go.clicked.connect(lambda: go())
        self.back.clicked.connect(lambda: back())
        self.agreed.toggled.connect(self.go.setEnabled)
        inner = QWidget()
        column = QVBoxLayout(inner)
        column.addWidget(self.title)
        column.addWidget(self.headline)
        column.addWidget(self.rest)
        column.addStretch(1)
        area = QScrollArea()
        area.setWidgetResizable(True)
        area.setFrameShape(QFrame.Shape.NoFrame)
        area.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        area.setWidget(inner)
        area.setAccessibleName("what will happen, and the cautions")
        foot = QHBoxLayout()
        foot.addWidget(self.agreed)
        foot.addStretch(1)
        foot.addWidget(self.back)
        foot.addWidget(self.go)
        layout = QVBoxLayout(self)
        layout.addWidget(area, 1)
        layout.addLayout(foot)

    def ask(self, what: str, cautions: tuple[str, ...], theme: Theme) -> None:
        """Show what will happen and the cautions; the mark is taken away."""
        self.agreed.setChecked(False)
        self.go.setEnabled(False)
        self.title.setText(f"{what[:1].upper()}{what[1:]}")
        self.headline.setText(f"⚠  {cautions[0]}")
        self.headline.setStyleSheet(f"color: {theme.warn};")
        self.rest.setText("\n".join(f"•  {caution}" for caution in cautions[1:]))
        self.headline.setAccessibleName(f"caution: {cautions[0]}")
        self.rest.setAccessibleName("cautions: " + " ".join(cautions[1:]))
        dress_marks(self, theme)
        self.dress()
        self.back.setFocus()

    def dress(self) -> None:
        """Sizes of letters."""
        usual = QApplication.font()
        self.title.setFont(bigger(usual, 1.2))
        self.headline.setFont(bigger(usual, 1.8, bold=True))
        self.rest.setFont(bigger(usual, 1.35))


def _text() -> QLabel:
    label = QLabel()
    label.setWordWrap(True)
    label.setTextFormat(Qt.TextFormat.PlainText)
    return label
