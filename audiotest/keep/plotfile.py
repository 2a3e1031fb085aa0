"""A plot kept as data: what a procedure leaves for the report to draw. Schema ``audiotest-plot-1``."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from audiotest.errors import FileError
from audiotest.keep.jsonfile import read_json

PLOT_SCHEMA = "audiotest-plot-1"
MOST_POINTS = 5000
MOST_LINES = 6
Points = tuple[tuple[float, float], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Curves:
    """Up to six named lines through points; ``level`` is a line across at a height, with its name."""

    title: str
    x_label: str
    y_label: str
    lines: tuple[tuple[str, Points], ...]
    level: tuple[float, str] | None = None
    log_x: bool = False


def plot_document(curves: Curves) -> dict[str, Any]:
    """A plot as plain data, as `read_curves` takes it."""
    level = curves.level
    return {
        "schema": PLOT_SCHEMA, "title": curves.title, "x": {"label": curves.x_label},
        "y": {"label": curves.y_label}, "log_x": curves.log_x,
        "level": None if level is None else {"value": level[0], "label": level[1]},
        "lines": [{"name": name, "points": [[x, y] for x, y in points]} for name, points in curves.lines],
    }  # fmt: skip


def read_curves(content: bytes, name: str) -> Curves:
    """Read a plot, checked field by field; `FileError` names the first thing that is amiss."""
    try:
        document = read_json(content)
        if document["schema"] != PLOT_SCHEMA:
            raise ValueError(f"its schema is not {PLOT_SCHEMA}")
        lines = tuple((_text(line["name"]), _points(line["points"])) for line in document["lines"])
        if not 1 <= len(lines) <= MOST_LINES:
            raise ValueError(f"it needs one to {MOST_LINES} lines")
        log_x = document.get("log_x", False) is True
        across = [x for _, points in lines for x, _ in points]
        if log_x and min(across) <= 0.0:
            raise ValueError("a logarithmic axis needs figures above zero")
        if max(across) - min(across) < 1e-9 * max(map(abs, across)) or len(across) < 2:
            raise ValueError("its figures across cover no stretch")
        level = document.get("level")
        return Curves(
            title=_text(document["title"]), x_label=_text(document["x"]["label"]),
            y_label=_text(document["y"]["label"]), lines=lines, log_x=log_x,
            level=None if level is None else (_number(level["value"]), _text(level["label"])),
        )  # fmt: skip
    except (ValueError, LookupError, TypeError, RecursionError, OverflowError) as error:
        reason = f"{error} is missing" if isinstance(error, KeyError) else str(error)
        raise FileError(f"{name}: is not a plot that can be drawn: {reason}", "make it again") from error


def _number(value: Any) -> float:
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise ValueError("something else than a number stands where one belongs")
    found = float(value)
    if not math.isfinite(found) or abs(found) > 1e12:
        raise ValueError("a figure is beyond all bounds")
    return found


def _points(values: Any) -> Points:
    if not isinstance(values, Sequence) or not 1 <= len(values) <= MOST_POINTS:
        raise ValueError(f"a line needs 1 to {MOST_POINTS} points")
    if any(not isinstance(point, Sequence) or len(point) != 2 for point in values):
        raise ValueError("a point is not a pair of figures")
    return tuple((_number(x), _number(y)) for x, y in values)


def _text(value: Any) -> str:
    if not isinstance(value, str):
        raise ValueError("a name is no text")
    return value
