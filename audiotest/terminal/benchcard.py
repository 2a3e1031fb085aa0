"""A procedure's report as a card with a plot, and as a document."""

import math
from collections.abc import Sequence
from typing import Any

from rich.console import Console
from rich.text import Text

from audiotest.terminal.card import print_row
from audiotest.tones.steps import Curve, Figure, Report

SCHEMA = "audiotest-bench-1"
PLOT_WIDTH, PLOT_HEIGHT = 62, 12
MARKS = "o+x*#@"
UNKNOWN = "unknown"


def bench_document(report: Report, *, rehearsed: bool) -> dict[str, Any]:
    """Everything of a report under keys that carry their unit in the figure's ``unit``."""
    return {
        "schema": SCHEMA,
        "procedure": report.procedure,
        "title": report.title,
        "rehearsed": rehearsed,
        "complete": report.complete,
        "passed": report.passed,
        "figures": [
            {
                "key": figure.key, "label": figure.label, "value": figure.value, "unit": figure.unit,
                "low": figure.low, "high": figure.high, "limit_low": figure.limit_low,
                "limit_high": figure.limit_high, "limit_source": figure.limit_source or None,
                "limit_is_reference": figure.reference, "inside": figure.inside, "passed": figure.passed,
            }
            for figure in report.figures
        ],
        "curves": [
            {"name": curve.name, "points": [list(point) for point in curve.points]} for curve in report.curves
        ],
        "x_label": report.x_label,
        "y_label": report.y_label,
        "notes": list(report.notes),
    }  # fmt: skip


def print_report(console: Console, report: Report, *, rehearsed: bool) -> None:
    """Print heading, plot, figures with their limits, notes."""
    state = "complete" if report.complete else "NOT COMPLETE"
    where = ", rehearsed on the simulated radio" if rehearsed else ""
    console.print(Text(f"{report.title}: {state}{where}", style="bold"))
    for line in plot_lines(report):
        console.print(Text(line))
    width = max((len(figure.label) for figure in report.figures), default=0)
    for figure in report.figures:
        console.print(Text(figure_line(figure, width)))
    verdict = {True: "PASS", False: "FAIL", None: None}[report.passed]
    if verdict is not None:
        console.print(Text(f" {verdict}", style="bold"))
    sources = {(figure.reference, figure.limit_source) for figure in report.figures if figure.limit_source}
    for reference, source in sorted(sources):
        print_row(console, "reference" if reference else "limit", source)
    for note in report.notes:
        print_row(console, "note", note)


def _number(value: float) -> str:
    """Three to four digits, never an exponent for what a bench reads.

    >>> _number(0.2541), _number(-119.38), _number(1250.0)
    ('0.254', '-119.4', '1250')
    """
    size = abs(value)
    digits = 3 if size < 1.0 else 2 if size < 100.0 else 1 if size < 1000.0 else 0
    return f"{value:.{digits}f}"


def figure_line(figure: Figure, width: int) -> str:
    """One figure on one line: label, value, interval, limits, verdict."""
    value = UNKNOWN if figure.value is None else f"{_number(figure.value)} {figure.unit}".rstrip()
    line = f" {figure.label:<{width}}  {value}"
    if figure.value is not None and figure.low is not None and figure.high is not None:
        line += f"  ({_number(figure.low)} to {_number(figure.high)})"
    limits = _limits(figure)
    if limits:
        said = {True: "pass", False: "FAIL", None: "not judged"}[figure.passed]
        if figure.reference:
            said = {True: "inside", False: "OUTSIDE", None: "not judged"}[figure.inside]
            limits = f"ref. {limits}"
        line += f"  [{limits}: {said}]"
    return line


def _limits(figure: Figure) -> str:
    low, high = figure.limit_low, figure.limit_high
    if low is not None and high is not None:
        return f"{_number(low)} to {_number(high)}"
    if high is not None:
        return f"most {_number(high)}"
    return "" if low is None else f"least {_number(low)}"


def plot_lines(report: Report) -> list[str]:
    """A plot in characters of the curves that share the report's axes; empty without any."""
    curves = [curve for curve in report.curves if len(curve.points) >= 2]
    # Curves with another unit than the axis, named after it, would flatten the rest.
    curves = [curve for curve in curves if "," not in curve.name or len(curves) == 1][: len(MARKS)]
    points = [point for curve in curves for point in curve.points]
    if not points:
        return []
    xs = [_place(x, report.x_logarithmic) for x, _ in points]
    ys = [y for _, y in points]
    x_span, y_span = (max(xs) - min(xs)) or 1.0, (max(ys) - min(ys)) or 1.0
    grid = [[" "] * PLOT_WIDTH for _ in range(PLOT_HEIGHT)]
    for curve, mark in zip(curves, MARKS, strict=False):
        for x, y in curve.points:
            column = round((_place(x, report.x_logarithmic) - min(xs)) / x_span * (PLOT_WIDTH - 1))
            row = round((max(ys) - y) / y_span * (PLOT_HEIGHT - 1))
            grid[row][column] = mark
    lines = [f" {_labels(curves)}   {report.y_label}"]
    for k, row_marks in enumerate(grid):
        edge = _number(max(ys)) if k == 0 else _number(min(ys)) if k == PLOT_HEIGHT - 1 else ""
        lines.append(f" {edge:>8} |{''.join(row_marks)}".rstrip())
    low, high = _number(min(x for x, _ in points)), _number(max(x for x, _ in points))
    lines.append(" " * 10 + "+" + "-" * PLOT_WIDTH)
    lines.append(" " * 11 + low + report.x_label.center(PLOT_WIDTH - len(low) - len(high)) + high)
    return lines


def _place(x: float, logarithmic: bool) -> float:
    return math.log10(x) if logarithmic and x > 0.0 else x


def _labels(curves: Sequence[Curve]) -> str:
    return "   ".join(f"{mark} {curve.name}" for mark, curve in zip(MARKS, curves, strict=False))
