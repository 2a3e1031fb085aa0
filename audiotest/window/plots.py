"""What all plots share: thin pens, fixed ranges, no menus, colours of the theme."""

from typing import Any

import pyqtgraph as pg
from PySide6.QtGui import QColor
from PySide6.QtWidgets import QGraphicsItem

from audiotest.window.theme import Theme

pg.setConfigOptions(antialias=False, imageAxisOrder="row-major", useOpenGL=False)


def make_plot(x_label: str = "", y_label: str = "") -> Any:
    """A bare plot, with axis names if there are any; no automatic ranges, no context menu."""
    plot = pg.PlotWidget()
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
        axis.setStyle(tickFont=plot.font(), tickLength=-5)
        size = plot.font().pointSizeF()
        if axis.labelText:
            axis.labelStyle = {"color": theme.ink, "font-size": f"{size:.1f}pt"}
            axis.setLabel(axis.labelText)
    plot.showGrid(x=True, y=True, alpha=0.12)
