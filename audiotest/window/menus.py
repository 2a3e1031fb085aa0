"""The menus, built from the table of deeds: one more line in the table is one more entry with its key."""

from collections.abc import Callable, Iterable
from functools import partial

from PySide6.QtGui import QAction, QKeySequence
from PySide6.QtWidgets import QMainWindow, QMenu

from audiotest.window.actions import Deed


def fill_menus(window: QMainWindow, deeds: Iterable[Deed], do: Callable[[str], None]) -> dict[str, QAction]:
    """Put every deed into the menu it names, in the order of the table; menus open in the order they come up.

    Parameters
    ----------
    window : QMainWindow
        Whose menu bar is filled.
    deeds : iterable of Deed
        What can be done.
    do : callable
        Called with the name of the deed that was chosen, from the menu or by its key.

    Returns
    -------
    dict
        The action of each deed by its name.
    """
    menus: dict[str, QMenu] = {}
    actions: dict[str, QAction] = {}
    for deed in deeds:
        menu = menus.get(deed.menu) or menus.setdefault(deed.menu, window.menuBar().addMenu(deed.menu))
        action = QAction(deed.text, window)
        action.setCheckable(deed.checkable)
        action.setShortcuts([QKeySequence(key) for key in deed.keys])
        # A key that is leant on would switch a recording on and off, or empty the tape.
        action.setAutoRepeat(deed.repeats)
        action.triggered.connect(partial(_without_state, do, deed.name))
        menu.addAction(action)
        # In the far view the menu bar is hidden, and the keys must still work.
        window.addAction(action)
        actions[deed.name] = action
    return actions


def _without_state(do: Callable[[str], None], name: str, *_: object) -> None:
    do(name)
