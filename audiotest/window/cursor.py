"""A cursor on a picture: read a value under it, set a mark, read the difference; by mouse or by keys."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import pyqtgraph as pg
from PySide6.QtCore import QEvent, QObject, Qt
from PySide6.QtGui import QKeyEvent

from audiotest.window.minus import with_minus
from audiotest.window.theme import Theme

STEP = 0.01
ZOOM = 1.25


@dataclass(frozen=True, slots=True, kw_only=True)
class Read:
    """One figure under the cursor."""

    value: float
    unit: str
    digits: int


def read_out(here: tuple[Read, ...], mark: tuple[Read, ...] | None) -> str:
    """What the cursor says, with the difference from the mark when there is one.

    >>> a = (Read(value=2.5, unit="ms", digits=1), Read(value=1.2, unit="kHz", digits=2))
    >>> b = (Read(value=1.0, unit="ms", digits=1), Read(value=1.5, unit="kHz", digits=2))
    >>> read_out(a, None)
    '2.5 ms  1.20 kHz'
    >>> read_out(a, b)
    '2.5 ms  1.20 kHz   from mark: +1.5 ms  −0.30 kHz'
    """
    text = "  ".join(f"{read.value:.{read.digits}f} {read.unit}" for read in here)
    if mark is not None:
        steps = (
            f"{now.value - then.value:+.{now.digits}f} {now.unit}"
            for now, then in zip(here, mark, strict=False)
        )
        text += "   from mark: " + "  ".join(steps)
    return with_minus(text)


class Cursor(QObject):
    """Belongs to one plot; the arrow keys move it when the plot has the focus.

    Parameters
    ----------
    plot : PlotWidget
        Where it moves.
    measure : callable
        Takes a place (x, y) of the picture, returns what is to be read there; nothing where nothing is.
    tell : callable
        Takes the read-out whenever it changes; empty when the cursor is gone.
    """

    def __init__(
        self,
        plot: Any,
        measure: Callable[[float, float], tuple[Read, ...]],
        tell: Callable[[str], None],
    ) -> None:
        super().__init__(plot)
        self._plot, self._measure, self._tell = plot, measure, tell
        self.at: tuple[float, float] | None = None
        self.mark: tuple[float, float] | None = None
        self._here, self._there = (pg.InfiniteLine(angle=90, movable=False) for _ in range(2))
        for line in (self._here, self._there):
            line.setVisible(False)
            line.setZValue(20)
            plot.addItem(line, ignoreBounds=True)
        plot.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        plot.installEventFilter(self)
        plot.scene().sigMouseMoved.connect(self._hovered)
        plot.scene().sigMouseClicked.connect(lambda _: self.set_mark())

    def dress(self, theme: Theme) -> None:
        """Draw in these colours."""
        self._here.setPen(pg.mkPen(theme.ink, width=1))
        self._there.setPen(pg.mkPen(theme.ink, width=1, style=Qt.PenStyle.DashLine))

    def move(self, x: float, y: float) -> None:
        """Put the cursor at a place of the picture."""
        self.at = (x, y)
        self._here.setValue(x)
        self._here.setVisible(True)
        self.refresh()

    def set_mark(self) -> None:
        """Set the mark where the cursor stands; a second time at the same place takes it away."""
        self.mark = None if self.at is None or self.mark == self.at else self.at
        self._there.setVisible(self.mark is not None)
        if self.mark is not None:
            self._there.setValue(self.mark[0])
        self.refresh()

    def remove(self) -> None:
        """Take cursor and mark away."""
        self.at = self.mark = None
        self._here.setVisible(False)
        self._there.setVisible(False)
        self._tell("")

    def refresh(self) -> None:
        """Read again; the curve under the cursor moves."""
        if self.at is None:
            return
        here = self._measure(*self.at)
        there = None if self.mark is None else self._measure(*self.mark)
        self._tell(read_out(here, there) if here else "")

    def zoom(self, *, x: float = 1.0, y: float = 1.0) -> None:
        """Show less (factor under 1) or more of the picture, around the cursor."""
        view = self._plot.getViewBox()
        (left, right), (low, high) = view.viewRange()
        at_x = (left + right) / 2.0 if self.at is None else self.at[0]
        middle = (low + high) / 2.0
        view.setRange(
            xRange=(at_x + x * (left - at_x), at_x + x * (right - at_x)),
            yRange=(middle + y * (low - middle), middle + y * (high - middle)),
            padding=0.0,
        )

    def _hovered(self, place: Any) -> None:
        view = self._plot.getViewBox()
        if view.sceneBoundingRect().contains(place):
            spot = view.mapSceneToView(place)
            self.move(spot.x(), spot.y())

    def _step(self, across: int, up: int) -> None:
        view = self._plot.getViewBox()
        (left, right), (low, high) = view.viewRange()
        x, y = ((left + right) / 2.0, (low + high) / 2.0) if self.at is None else self.at
        x = min(max(x + across * STEP * (right - left), left), right)
        self.move(x, min(max(y + up * STEP * (high - low), low), high))

    def eventFilter(self, watched: QObject, event: QEvent) -> bool:
        """Keys of the focused plot."""
        if event.type() != QEvent.Type.KeyPress or not isinstance(event, QKeyEvent):
            return False
        key = event.key()
        far = 10 if event.modifiers() & Qt.KeyboardModifier.ShiftModifier else 1
        steps = {
            Qt.Key.Key_Left: (-far, 0), Qt.Key.Key_Right: (far, 0),
            Qt.Key.Key_Up: (0, far), Qt.Key.Key_Down: (0, -far),
        }  # fmt: skip
        zooms = {
            Qt.Key.Key_Plus: {"x": 1 / ZOOM}, Qt.Key.Key_Equal: {"x": 1 / ZOOM},
            Qt.Key.Key_Minus: {"x": ZOOM},
            Qt.Key.Key_PageUp: {"y": 1 / ZOOM}, Qt.Key.Key_PageDown: {"y": ZOOM},
        }  # fmt: skip
        if key in steps:
            self._step(*steps[Qt.Key(key)])
        elif key in zooms:
            self.zoom(**zooms[Qt.Key(key)])
        elif key == Qt.Key.Key_Space:
            self.set_mark()
        elif key == Qt.Key.Key_Escape and self.at is not None:
            self.remove()
        else:
            return False
        return True
