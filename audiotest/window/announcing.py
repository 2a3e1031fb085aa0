"""What a screen reader is told beyond what Qt tells it by itself."""

from PySide6.QtGui import QAccessible, QAccessibleAnnouncementEvent
from PySide6.QtWidgets import QComboBox, QLabel, QWidget


def announce(widget: QWidget, words: str = "") -> None:
    """Have a screen reader say `words`, or the name of a text that has changed where nobody has the focus.

    An event of the kind "alert" would be the older way; Qt does not hand it on to AT-SPI.
    """
    if QAccessible.isActive():
        event = QAccessibleAnnouncementEvent(widget, words or widget.accessibleName())
        QAccessible.updateAccessibility(event)


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
