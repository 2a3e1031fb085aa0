"""What a screen reader is told beyond what Qt tells it by itself."""

from PySide6.QtCore import Qt
from PySide6.QtGui import QAccessible, QAccessibleAnnouncementEvent
from PySide6.QtWidgets import QComboBox, QLabel, QWidget

from audiotest.window.minus import with_minus


def announce(widget: QWidget, words: str = "") -> None:
    """Have a screen reader say `words`, or the name of a text that has changed where nobody has the focus.

    An event of the kind "alert" would be the older way; Qt does not hand it on to AT-SPI.
    """
    if QAccessible.isActive():
        event = QAccessibleAnnouncementEvent(widget, words or widget.accessibleName())
        QAccessible.updateAccessibility(event)


class SaidLine(QLabel):
    """What was last done or went wrong, as it is, wrapped; a screen reader is told when it changes."""

    def __init__(self) -> None:
        super().__init__()
        self.setTextFormat(Qt.TextFormat.PlainText)
        self.setWordWrap(True)

    def say(self, words: str, *, wrong: bool = False) -> None:
        """Show and announce `words`, marked where something went wrong; not again what stands there."""
        shown = with_minus(f"⚠ {words}" if wrong else words)
        if shown != self.text():
            self.setText(shown)
            self.setAccessibleName(shown)
            announce(self)


def name_choices(window: QWidget) -> None:
    """Give the boxes to choose from a name that is read on every system.

    On Unix Qt reads out what is chosen in place of the accessible name; the name comes from a label that
    belongs to the box. Where the eye needs none, one that is not shown does it.
    """
    for box in window.findChildren(QComboBox):
        parent = box.parentWidget()
        if not box.accessibleName() or parent is None:
            continue
        if any(label.buddy() is box for label in parent.findChildren(QLabel)):
            continue
        label = QLabel(box.accessibleName(), parent)
        label.setBuddy(box)
        label.hide()
