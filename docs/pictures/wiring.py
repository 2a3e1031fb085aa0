"""Draw the wiring of docs/getting-started.md: ``python docs/pictures/wiring.py`` writes ``wiring.svg``."""

import math
from pathlib import Path
from xml.sax.saxutils import escape

FILE = Path(__file__).with_name("wiring.svg")
WIDTH, HEIGHT = 900, 590
SERIES_KOHM, SHUNT_KOHM = 10, 1
DOWN_DB = 20 * math.log10((SERIES_KOHM + SHUNT_KOHM) / SHUNT_KOHM)
STYLE = """
.box{fill:#eef3f8;stroke:#1d3557;stroke-width:1.6}.wire{fill:none;stroke:#1d3557;stroke-width:1.8}
.to{marker-end:url(#a)}.air{stroke-dasharray:5 5}.h{font-weight:bold}.s{font-size:12px;fill:#333}
.part{fill:#fff;stroke:#1d3557;stroke-width:1.6}.no{fill:#9b1c1c;font-weight:bold}.m{text-anchor:middle}.e{text-anchor:end}
"""
HEAD = f"""\
<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {HEIGHT}" role="img" aria-labelledby="t d" \
font-family="sans-serif" font-size="14">
<!-- drawn by docs/pictures/wiring.py -->
<title id="t">Wiring of the bench</title>
<desc id="d">The set under repair works into a dummy load. A monitor receiver nearby hears it. Its audio \
goes to the sound card's line input by one of three ways: a line output directly or through an isolation \
transformer; a discriminator output through a capacitor and {SERIES_KOHM} kilohms; a bridged speaker output \
through a transformer across both leads, and an attenuator of {SERIES_KOHM} kilohms and {SHUNT_KOHM} \
kilohm.</desc>
<defs><marker id="a" viewBox="0 0 10 10" refX="9" refY="5" markerWidth="7" markerHeight="7" orient="auto">\
<path d="M0 0 10 5 0 10z" fill="#1d3557"/></marker><style>{STYLE}</style></defs>
<rect width="{WIDTH}" height="{HEIGHT}" fill="#fff"/>
"""
LINE = 17


def text(x: float, y: float, words: str, kinds: str = "s m") -> str:
    """Words whose first line stands at y; ``m`` centres them on x."""
    lines = words.split("\n")
    return "".join(
        f'<text class="{kinds}" x="{x:g}" y="{y + n * LINE:g}">{escape(line)}</text>\n'
        for n, line in enumerate(lines)
    )


def wire(way: str, kinds: str = "") -> str:
    """A lead along an SVG path; ``to`` ends it in an arrow."""
    return f'<path class="{f"wire {kinds}".strip()}" d="{way}"/>\n'


def box(x: float, y: float, width: float, height: float, title: str, words: str) -> str:
    """An apparatus with its name and what there is to know of it."""
    lines = 1 + len(words.split("\n"))
    first = y + height / 2 - (lines - 1) * LINE / 2 + 4
    return (
        f'<rect class="box" x="{x}" y="{y}" width="{width}" height="{height}" rx="6"/>\n'
        + text(x + width / 2, first - 2, title, "h m")
        + text(x + width / 2, first + LINE + 1, words)
    )


def resistor(x: float, y: float, width: float, height: float) -> str:
    """A resistor with its upper left corner at x, y."""
    return f'<rect class="part" x="{x}" y="{y}" width="{width}" height="{height}"/>\n'


def transformer(x: float, y: float, turns: int, ratio: str) -> str:
    """Two windings beside a core; leads join at x and x + 34, from y down."""
    height = turns * 11
    left = f"M{x} {y}" + "c14 0 14 11 0 11 " * turns
    right = f"M{x + 34} {y}" + "c-14 0-14 11 0 11 " * turns
    core = f"M{x + 14} {y - 4}V{y + height + 4}M{x + 20} {y - 4}V{y + height + 4}"
    return wire(left.strip()) + wire(right.strip()) + wire(core) + text(x + 17, y - 12, ratio)


def radio() -> str:
    """The upper row: what goes over the air."""
    return (
        box(20, 30, 170, 80, "Set under repair", "you talk into it")
        + wire("M190 70H268", "to")
        + box(270, 30, 150, 80, "Dummy load", "bears the set's power")
        + wire("M420 70H538", "air to")
        + text(480, 58, "leakage is enough")
        + box(
            540,
            25,
            210,
            90,
            "Monitor receiver",
            "same channel, squelch open,\nshort aerial, some metres away",
        )
        + text(20, 138, "Never a cable from the set's aerial socket to the receiver or the sound card.", "no")
        + wire("M645 115V158H40V484")
    )


def way(y: int, height: int, name: str, words: str) -> str:
    """Where one way begins: the lead from the receiver, and the output that it is taken from."""
    return wire(f"M40 {y}H108", "to") + box(110, y - height // 2, 190, height, name, words)


def line_output() -> str:
    """The first way."""
    return (
        way(215, 70, "1  Line output", "or the recorder socket")
        + wire("M300 215H390")
        + transformer(390, 215, 3, "1 : 1, 600 Ω")
        + wire("M424 215H698", "to")
        + text(465, 207, "the transformer only if it hums", "s")
    )


def discriminator() -> str:
    """The second way."""
    return (
        way(330, 70, "2  Discriminator", "flat; state it with 0 µs")
        + wire("M300 330H396M406 330H520M396 312V348M406 312V348")
        + text(401, 304, "1 µF")
        + resistor(520, 321, 50, 18)
        + text(545, 313, f"{SERIES_KOHM} kΩ")
        + wire("M570 330H650V241H698", "to")
        + text(435, 364, "screen to the receiver's chassis", "s")
    )


def speaker() -> str:
    """The third way: isolation, and an attenuator."""
    return (
        way(484, 100, "3  Speaker output", "bridged: both leads live,\nneither is earth")
        + wire("M300 462H390M300 506H390")
        + transformer(390, 462, 4, "1 : 1")
        + wire("M424 462H500")
        + resistor(500, 453, 50, 18)
        + text(525, 445, f"{SERIES_KOHM} kΩ")
        + wire("M550 462H590V470M590 500V506M424 506H590")
        + resistor(581, 470, 18, 30)
        + text(606, 489, f"{SHUNT_KOHM} kΩ", "s")
        + wire("M590 462H672V263H698", "to")
        + wire("M590 506H690V290H698", "to")
        + text(666, 400, "signal", "s e")
        + text(696, 400, "screen", "s")
        + text(440, 532, f"attenuator: about {DOWN_DB:.0f} dB down", "s")
    )


def drawing() -> str:
    """The whole drawing."""
    card = "line input, not\nthe microphone input;\nlevelling and\nenhancements off"
    return (
        HEAD
        + radio()
        + line_output()
        + discriminator()
        + speaker()
        + box(700, 190, 180, 120, "Sound card", card)
        + text(
            20, 570, "Use one of the three ways. The values are common practice, and none is critical.", "s"
        )
        + "</svg>\n"
    )


if __name__ == "__main__":
    FILE.write_text(drawing(), encoding="utf-8")
