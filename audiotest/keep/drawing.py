"""A drawing for paper: a handful of shapes in points, y downwards, which SVG and PDF both can show."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from html import escape
from typing import Literal

Ink = Literal["ink", "faint", "good", "limit", "found", "left"]
Anchor = Literal["start", "middle", "end"]

COLOURS: dict[Ink, str] = {
    "ink": "#1c1c1c", "faint": "#8c8c8c", "good": "#dcefdc", "limit": "#b3261e", "found": "#b35c00",
    "left": "#0b5394",
}  # fmt: skip
"""Found and left differ in shape as well: hollow and dashed against full. Paper may be grey."""


@dataclass(frozen=True, slots=True)
class Line:
    """Points joined by straight lines."""

    points: tuple[tuple[float, float], ...]
    ink: Ink = "ink"
    width: float = 0.8
    dashed: bool = False


@dataclass(frozen=True, slots=True)
class Box:
    """A filled rectangle."""

    x: float
    y: float
    width: float
    height: float
    ink: Ink = "good"


@dataclass(frozen=True, slots=True)
class Dot:
    """A circle, full or hollow."""

    x: float
    y: float
    radius: float
    ink: Ink
    full: bool


@dataclass(frozen=True, slots=True)
class Words:
    """A short text on one line; ``upright`` turns it a quarter to the left."""

    x: float
    y: float
    text: str
    anchor: Anchor = "start"
    size: float = 8.0
    ink: Ink = "ink"
    upright: bool = False


Shape = Line | Box | Dot | Words


@dataclass(frozen=True, slots=True, kw_only=True)
class Drawing:
    """Shapes in a frame, with a title and, for those who cannot see it, what it shows in words."""

    title: str
    says: str
    width: float
    height: float
    shapes: tuple[Shape, ...]


@dataclass(slots=True)
class Axes:
    """A plotting field: figures in, points out."""

    left: float
    top: float
    width: float
    height: float
    x_range: tuple[float, float]
    y_range: tuple[float, float]
    shapes: list[Shape] = field(default_factory=list)

    def x(self, value: float) -> float:
        """Place across of a figure; beyond the field it sticks to the edge."""
        low, high = self.x_range
        return self.left + self.width * min(max((value - low) / (high - low), 0.0), 1.0)

    def y(self, value: float) -> float:
        """Place down of a figure; beyond the field it sticks to the edge."""
        low, high = self.y_range
        return self.top + self.height * (1.0 - min(max((value - low) / (high - low), 0.0), 1.0))

    def frame(
        self,
        x_ticks: Sequence[tuple[float, str]],
        y_ticks: Sequence[tuple[float, str]],
        x_label: str,
        y_label: str,
    ) -> None:
        """Draw the edges, the ticks with their figures, and what the axes are."""
        right, bottom = self.left + self.width, self.top + self.height
        edge = ((self.left, self.top), (right, self.top), (right, bottom), (self.left, bottom))
        self.shapes.append(Line((*edge, edge[0]), width=0.6))
        for value, text in x_ticks:
            at = self.x(value)
            self.shapes.append(Line(((at, bottom), (at, bottom + 3.0)), width=0.6))
            self.shapes.append(Words(at, bottom + 12.0, text, "middle"))
        for value, text in y_ticks:
            at = self.y(value)
            self.shapes.append(Line(((self.left - 3.0, at), (self.left, at)), width=0.6))
            self.shapes.append(Words(self.left - 5.0, at + 2.8, text, "end"))
        self.shapes.append(Words(self.left + self.width / 2, bottom + 25.0, x_label, "middle"))
        self.shapes.append(
            Words(self.left - 30.0, self.top + self.height / 2, y_label, "middle", upright=True)
        )

    def curve(self, xs: Sequence[float], ys: Sequence[float], ink: Ink, *, dashed: bool) -> None:
        """Draw a curve through figures."""
        points = tuple((self.x(a), self.y(b)) for a, b in zip(xs, ys, strict=True))
        self.shapes.append(Line(points, ink, 1.2, dashed))


def svg(drawing: Drawing) -> str:
    """Spell a drawing as SVG for an HTML page; every text in it is escaped."""
    parts = [
        f'<svg viewBox="0 0 {drawing.width:g} {drawing.height:g}" role="img" font-family="sans-serif">',
        f"<title>{escape(drawing.title)}</title><desc>{escape(drawing.says)}</desc>",
    ]
    parts += [_svg_shape(shape) for shape in drawing.shapes]
    return "".join([*parts, "</svg>"])


def _svg_shape(shape: Shape) -> str:
    colour = COLOURS[shape.ink]
    if isinstance(shape, Line):
        points = " ".join(f"{x:.2f},{y:.2f}" for x, y in shape.points)
        dash = ' stroke-dasharray="4 3"' if shape.dashed else ""
        return (
            f'<polyline points="{points}" fill="none" stroke="{colour}" '
            f'stroke-width="{shape.width:g}"{dash}/>'
        )
    if isinstance(shape, Box):
        return (
            f'<rect x="{shape.x:.2f}" y="{shape.y:.2f}" width="{shape.width:.2f}" '
            f'height="{shape.height:.2f}" fill="{colour}"/>'
        )
    if isinstance(shape, Dot):
        fill = colour if shape.full else "#ffffff"
        return (
            f'<circle cx="{shape.x:.2f}" cy="{shape.y:.2f}" r="{shape.radius:g}" fill="{fill}" '
            f'stroke="{colour}" stroke-width="1.5"/>'
        )
    turn = f' transform="rotate(-90 {shape.x:.2f} {shape.y:.2f})"' if shape.upright else ""
    return (
        f'<text x="{shape.x:.2f}" y="{shape.y:.2f}" font-size="{shape.size:g}" fill="{colour}" '
        f'text-anchor="{shape.anchor}"{turn}>{escape(shape.text)}</text>'
    )
