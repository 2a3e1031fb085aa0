"""Every control of a window by its name: what can be pressed, chosen, typed into, turned."""

from PySide6.QtWidgets import (
    QAbstractButton,
    QAbstractItemView,
    QAbstractSpinBox,
    QComboBox,
    QDial,
    QDialogButtonBox,
    QLineEdit,
    QTabBar,
    QToolButton,
    QWidget,
)

KINDS = (QAbstractButton, QComboBox, QAbstractSpinBox, QLineEdit, QDial, QAbstractItemView, QTabBar)
INSIDE = (QAbstractSpinBox, QComboBox, QTabBar, QAbstractItemView, QLineEdit)
"""What lies inside one of these is a part of it."""


def is_part(widget: QWidget, window: QWidget) -> bool:
    """Whether a widget is a part of another control, such as the line in a box with arrows."""
    above = widget.parentWidget()
    while above is not None and above is not window:
        if isinstance(above, INSIDE):
            return True
        above = above.parentWidget()
    return False


def name_of(widget: QWidget) -> str:
    """What it is called: its accessible name or its text, without what changes."""
    if isinstance(widget, QTabBar):
        return "tabs"
    text = widget.accessibleName() or getattr(widget, "text", lambda: "")()
    return str(text).replace("&", "").split(",")[0].split(":")[0].strip()


def controls_of(window: QWidget) -> set[str]:
    """Names of all controls of a window, those that are hidden now included."""
    found = set()
    for kind in KINDS:
        for widget in window.findChildren(kind):
            if widget.window() is not window or is_part(widget, window):
                continue
            if isinstance(widget, QToolButton) and widget.objectName().startswith("qt_"):
                # The arrow at the end of a menu bar that has no room.
                continue
            if isinstance(widget.parentWidget(), QDialogButtonBox):
                found.add("OK and Cancel")
                continue
            found.add(name_of(widget) or f"nameless {type(widget).__name__}")
    return found
