"""The two plots of the accuracy page, as drawings that are the same wherever they are made."""

import math
from collections.abc import Iterable

from audiotest.keep.drawing import Axes, Box, Dot, Drawing, Ink, Line, Shape, Words, svg
from audiotest.window.minus import with_minus
from tests.benchmarks.accuracy.overs import Predictions
from tests.benchmarks.accuracy.score import Record
from tests.benchmarks.accuracy.stops import FIGURES

DRIVE_DB = (-15.0, 28.0)
IN_ORDER_DB = (-3.0, 8.0)
ERROR_DB = 6.0
CNR_DB = (5.0, 46.0)
RADIUS = 1.1
Point = tuple[float, float]


def signed(value: int) -> str:
    """What stands beside a tick.

    >>> signed(5), signed(0), signed(-5)
    ('+5', '0', '−5')
    """
    return with_minus(f"{value:+d}") if value else "0"


def plotted_points(axes: Axes, points: Iterable[Point], ink: Ink, *, full: bool) -> None:
    """A dot for every point; what lies beyond the field sits on its edge."""
    axes.shapes += [Dot(axes.x(x), axes.y(y), RADIUS, ink, full) for x, y in points]


def legend(x: float, y: float, words: str, ink: Ink, *, full: bool) -> tuple[Shape, Shape]:
    """What a kind of dot stands for."""
    return Dot(x, y - 2.8, RADIUS + 0.6, ink, full), Words(x + 6.0, y, words)


def drive_field(records: list[Record], said: Predictions, left: float, title: str) -> list[Shape]:
    """Measured over true drive of the plain overs, the zone that is in order shaded on both axes."""
    axes = Axes(left, 22.0, 250.0, 250.0, DRIVE_DB, DRIVE_DB)
    low, high = (axes.x(value) for value in IN_ORDER_DB)
    top, bottom = axes.y(IN_ORDER_DB[1]), axes.y(IN_ORDER_DB[0])
    axes.shapes += [
        Box(low, axes.top, high - low, axes.height),
        Box(axes.left, top, axes.width, bottom - top),
        Words(axes.left + axes.width / 2, 14.0, title, "middle", size=10.0),
    ]
    ticks = [(float(value), signed(value)) for value in range(-15, 26, 5)]
    axes.frame(ticks, ticks, "true drive, dB", "measured drive, dB")
    axes.shapes.append(
        Line(tuple((axes.x(value), axes.y(value)) for value in DRIVE_DB), width=0.8, dashed=True)
    )
    inks: tuple[tuple[bool, Ink], ...] = ((False, "faint"), (True, "left"))
    for natural, ink in inks:
        points = [
            (r["truth"]["drive_db"], p["drive_db"])
            for r in records
            if r["kind"] == "plain" and r["natural"] == natural
            if (p := said.get(r["id"], {})).get("drive_db") is not None
        ]
        plotted_points(axes, points, ink, full=natural)
    return axes.shapes


def drive_drawing(records: list[Record], tool: Predictions, crest: Predictions) -> Drawing:
    """Measured over true drive, the tool beside the baseline."""
    shapes = drive_field(records, tool, 42.0, "audiotest")
    shapes += drive_field(records, crest, 352.0, "crest factor alone")
    shapes += legend(50.0, 36.0, "natural voices", "left", full=True)
    shapes += legend(50.0, 47.0, "synthesised voices", "faint", full=False)
    return Drawing(
        title="Measured over true drive",
        says="Two fields of dots, one for each plain over. Those of the tool lie along the line on which "
        "measured and true drive are the same; those of the crest factor alone hardly follow it.",
        width=620.0, height=304.0, shapes=tuple(shapes),
    )  # fmt: skip


def deviation_drawing(records: list[Record], tool: Predictions) -> Drawing:
    """Error of the 99.9 % and the peak deviation over the carrier-to-noise ratio."""
    axes = Axes(42.0, 20.0, 560.0, 220.0, CNR_DB, (-ERROR_DB, ERROR_DB))
    axes.frame(
        [(float(value), f"{value}") for value in range(5, 46, 5)],
        [(float(value), signed(value)) for value in range(-6, 7, 2)],
        "carrier over noise in the IF bandwidth, dB", "measured over true, dB",
    )  # fmt: skip
    axes.shapes.append(Line(tuple((axes.x(value), axes.y(0.0)) for value in CNR_DB), width=0.8, dashed=True))
    kinds: tuple[tuple[str, Ink, bool, float], ...] = (
        ("peak_khz", "found", False, 130.0), ("p999_khz", "left", True, 50.0),
    )  # fmt: skip
    for key, ink, full, legend_x in kinds:
        points = [
            (r["receiver"]["cnr_db"], 20.0 * math.log10(p[key] / r["truth"][key]))
            for r in records
            if r["kind"] == "plain" and (p := tool.get(r["id"], {})).get(key)
        ]
        plotted_points(axes, points, ink, full=full)
        axes.shapes += legend(legend_x, 12.0, FIGURES[key], ink, full=full)
    return Drawing(
        title="Error of the measured deviation",
        says="Dots along the line of no error, within about 1 dB of it for most overs, further apart where "
        "the carrier is less than 12 dB over the noise.",
        width=620.0, height=272.0, shapes=tuple(axes.shapes),
    )  # fmt: skip


def as_file(drawing: Drawing) -> str:
    """A drawing as a file of its own on white, one shape a line."""
    ground = f'<rect width="{drawing.width:g}" height="{drawing.height:g}" fill="#fff"/>'
    text = svg(drawing).replace("<svg ", '<svg xmlns="http://www.w3.org/2000/svg" ', 1)
    return text.replace("</desc>", f"</desc>{ground}", 1).replace("/>", "/>\n") + "\n"
