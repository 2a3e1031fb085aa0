"""A procedure's report as a card with a plot."""

import math
from collections.abc import Sequence

from rich.console import Console
from rich.text import Text

from audiotest.terminal.card import print_row
from audiotest.tones.reported import (
    VERDICTS,
    curves_on_axes,
    heading,
    interval_words,
    limit_sources,
    limit_words,
    on_axis,
    value_words,
    verdict_words,
)
from audiotest.tones.steps import Curve, Figure, Report

PLOT_WIDTH, PLOT_HEIGHT = 62, 12
AXIS_WIDTH = 12
"""Columns beside the plot: the numbers of its axis, and one free at the right."""
LEAST_WIDTH = 20
"""Narrower shows no shape: the plot is left out then, and the figures stand alone."""
MARKS = "o+x*#@"


def print_report(console: Console, report: Report, *, rehearsed: bool) -> None:
    """Print heading, plot, figures with their limits, notes."""
    console.print(Text(heading(report, rehearsed=rehearsed), style="bold"))
    for line in plot_lines(report, min(PLOT_WIDTH, console.width - AXIS_WIDTH)):
        console.print(Text(line))
    width = max((len(figure.label) for figure in report.figures), default=0)
    for figure in report.figures:
        console.print(Text(figure_line(figure, width)))
    if VERDICTS[report.passed]:
        console.print(Text(f" {VERDICTS[report.passed]}", style="bold"))
    for kind, source in limit_sources(report):
        print_row(console, kind, source)
    for note in report.notes:
        print_row(console, "note", note)


def figure_line(figure: Figure, width: int) -> str:
    """One figure on one line: label, value, interval, limits, verdict."""
    line = f" {figure.label:<{width}}  {value_words(figure)}"
    if interval_words(figure):
        line += f"  ({interval_words(figure)})"
    if limit_words(figure):
        line += f"  [{limit_words(figure)}: {verdict_words(figure)}]"
    return line


def plot_lines(report: Report, width: int = PLOT_WIDTH) -> list[str]:
    """A plot in characters, `width` wide, of the curves that share the report's axes; empty without any.

    Where none does, because each has a unit of its own, each has a lower plot of its own.
    """
    if width < LEAST_WIDTH:
        return []
    shared = curves_on_axes(report, 2)[: len(MARKS)]
    if shared:
        return _plot(report, shared, report.y_label, width, PLOT_HEIGHT)
    apart = [curve for curve in report.curves if len(curve.points) > 1]
    return [
        line
        for curve in apart
        for line in _plot(report, [curve], curve.name.rpartition(", ")[2], width, PLOT_HEIGHT // 2)
    ]


def _plot(report: Report, curves: Sequence[Curve], y_label: str, width: int, height: int) -> list[str]:
    points = [point for curve in curves for point in curve.points]
    xs = [_place(x, report.x_logarithmic) for x, _ in points]
    ys = [y for _, y in points]
    x_span, y_span = (max(xs) - min(xs)) or 1.0, (max(ys) - min(ys)) or 1.0
    grid = [[" "] * width for _ in range(height)]
    for curve, mark in zip(curves, MARKS, strict=False):
        for x, y in curve.points:
            column = round((_place(x, report.x_logarithmic) - min(xs)) / x_span * (width - 1))
            row = round((max(ys) - y) / y_span * (height - 1))
            grid[row][column] = mark
    # A curve of another unit is named after it, and alone its unit is the axis's.
    lines = [f" {_labels(curves).removesuffix(f', {y_label}')}   {y_label}"]
    for k, row_marks in enumerate(grid):
        edge = on_axis(max(ys), y_label) if k == 0 else on_axis(min(ys), y_label) if k == height - 1 else ""
        lines.append(f" {edge:>8} |{''.join(row_marks)}".rstrip())
    low, high = (on_axis(end(x for x, _ in points), report.x_label) for end in (min, max))
    lines.append(" " * 10 + "+" + "-" * width)
    between = width - len(low) - len(high)
    fits = len(report.x_label) < between
    lines.append(" " * 11 + low + (report.x_label if fits else "").center(between) + high)
    return lines if fits else [*lines, " " * 11 + report.x_label.center(width).rstrip()]


def _place(x: float, logarithmic: bool) -> float:
    return math.log10(x) if logarithmic and x > 0.0 else x


def _labels(curves: Sequence[Curve]) -> str:
    return "   ".join(f"{mark} {curve.name}" for mark, curve in zip(MARKS, curves, strict=False))
