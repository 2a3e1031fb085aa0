"""What all plots share: thin pens, fixed ranges, no menus, colours of the theme."""

from collections.abc import Callable
from typing import Any

import pyqtgraph as pg
from PySide6.QtGui import QColor
from PySide6.QtWidgets import QApplication, QGraphicsItem

from audiotest.window.minus import with_minus
from audiotest.window.theme import Theme

pg.setConfigOptions(antialias=False, imageAxisOrder="row-major", useOpenGL=False)


def make_plot(name: str, x_label: str = "", y_label: str = "") -> Any:
    """A bare plot, with axis names if there are any; no automatic ranges, no context menu.

    ``name`` is what a screen reader calls it.
    """
    plot = pg.PlotWidget()
    # What is clicked, and so may have the focus, is the part inside the frame.
    for part in (plot, plot.viewport()):
        part.setAccessibleName(name)
    plot.setMenuEnabled(False)
    plot.hideButtons()
    plot.setMouseEnabled(x=False, y=False)
    plot.getViewBox().disableAutoRange()
    for side, label in (("bottom", x_label), ("left", y_label)):
        if label:
            plot.setLabel(side, label)
    for side in ("bottom", "left"):
        axis = plot.getAxis(side)
        axis.enableAutoSIPrefix(False)
        axis.tickStrings = _with_minus(axis.tickStrings)
        # Axes and grid stand still: without this they are drawn line by line in every frame, which costs
        # more than all the curves.
        axis.setCacheMode(QGraphicsItem.CacheMode.DeviceCoordinateCache)
    return plot


def dress_plot(plot: Any, theme: Theme) -> None:
    """Colours of a plot."""
    plot.setBackground(QColor(theme.panel))
    for side in ("bottom", "left"):
        axis = plot.getAxis(side)
        axis.setPen(pg.mkPen(theme.edge))
        axis.setTextPen(pg.mkPen(theme.ink))
        axis.setStyle(tickFont=QApplication.font(), tickLength=-5)
        size = QApplication.font().pointSizeF()
        if axis.labelText:
            axis.labelStyle = {"color": theme.ink, "font-size": f"{size:.1f}pt"}
            axis.setLabel(axis.labelText)
    plot.showGrid(x=True, y=True, alpha=0.12)


def _with_minus(tick_strings: Callable[..., list[str]]) -> Callable[..., list[str]]:
    """Write negative numbers with a minus sign instead of a hyphen, as everywhere else in the window."""
    return lambda *arguments: [with_minus(text) for text in tick_strings(*arguments)]


SOLID, DASHED = "—", "╌"


class Legend:
    """Names of the lines in their colours, in the upper left corner of a plot."""

    def __init__(self, plot: Any) -> None:
        self._plot = plot
        self._text = pg.TextItem(anchor=(0.0, 0.0))
        self._text.setParentItem(plot.getViewBox())
        self._text.setPos(4.0, 0.0)
        self._text.setZValue(10)
        self._fill = ""
        self._html = ""

    def dress(self, theme: Theme) -> None:
        """Lay the names on the colour of the panel, so that curves do not run through them."""
        self._fill = theme.panel

    def write(self, entries: list[tuple[str, str, str]]) -> None:
        """Show these signs (how the line is drawn) and names in these colours, #rrggbb."""
        size = QApplication.font().pointSizeF() * 0.84
        spans = " &nbsp;".join(
            f'<span style="color:{colour}"><b>{sign}</b>&nbsp;{text}</span>' for sign, text, colour in entries
        )
        html = f'<div style="font-size:{size:.1f}pt;background-color:{self._fill or "none"}">{spans}</div>'
        if html != self._html:
            self._html = html
            self._text.setHtml(html)
