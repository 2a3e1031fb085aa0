"""A procedure's report in words and as a document: what terminal and window have in common."""

from typing import Any

from audiotest.tones.steps import Curve, Figure, Point, Report
from audiotest.units import rounded

SCHEMA = "audiotest-bench-1"
DIGITS = {"dB": 1, "kHz": 2, "%": 1, "ppm": 2, "times": 2, "s": 1, "over": 0}
"""Behind the point, by unit: what a bench can tell apart, and a technician set."""
SHARES = ("kHz", "%")
"""One digit more of these where hardly any would be left: a residue's size matters too."""
UNKNOWN = "unknown"
NOT_JUDGED = "not judged"
VERDICTS = {True: "PASS", False: "FAIL", None: ""}
"""Of a whole report, by ``Report.passed``."""


def bench_document(report: Report, *, rehearsed: bool) -> dict[str, Any]:
    """Everything of a report under keys that carry their unit in the figure's ``unit``, rounded."""
    document = {
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
    return {key: rounded(value) for key, value in document.items()}


def heading(report: Report, *, rehearsed: bool) -> str:
    """Title, whether it is complete, and whether any of it is real."""
    state = "complete" if report.complete else "NOT COMPLETE"
    where = ", rehearsed on the simulated radio" if rehearsed else ""
    return f"{report.title}: {state}{where}"


def number(value: float, unit: str = "") -> str:
    """As many digits as say something: so many behind the point for a unit, or three to four in all.

    >>> number(0.2541), number(12.537, "mV"), number(1250.0, "Hz"), number(0.0)
    ('0.254', '12.5', '1250', '0')
    >>> number(-119.38, "dBm"), number(-0.0002, "dB re fundamental"), number(2.4954, "kHz"), number(3, "over")
    ('-119.4', '0.0', '2.50', '3')
    >>> number(0.0134, "kHz"), number(0.35, "%"), number(7.66, "%")
    ('0.013', '0.35', '7.7')
    """
    size = abs(value)
    digits = DIGITS.get("dB" if unit.startswith("dB") else unit)
    if digits is not None and unit in SHARES and 0.0 < size < 10.0 ** (1 - digits):
        digits += 1
    if digits is None:
        digits = 0 if size == 0.0 or size >= 1000.0 else 1 if size >= 10.0 else 2 if size >= 1.0 else 3
    # Nothing is left of the sign of what rounds to nothing.
    return f"{round(value, digits) + 0.0:.{digits}f}"


def on_axis(value: float, label: str) -> str:
    """A value of an axis that names its unit, or what it counts.

    >>> on_axis(2.0, "over"), on_axis(-98.31, "generator, dBm")
    ('2', '-98.3')
    """
    return number(value, _unit(label) or label)


def value_words(figure: Figure) -> str:
    """The value with its unit, or that it is unknown.

    >>> value_words(Figure(key="onset_mv", label="onset", value=2.5, unit="mV"))
    '2.50 mV'
    """
    if figure.value is None:
        return UNKNOWN
    return f"{number(figure.value, figure.unit)} {figure.unit}".rstrip()


def interval_words(figure: Figure) -> str:
    """The interval at about 95 %; empty where there is none."""
    if figure.value is None or figure.low is None or figure.high is None:
        return ""
    return f"{number(figure.low, figure.unit)} to {number(figure.high, figure.unit)}"


def limit_words(figure: Figure) -> str:
    """The limits, marked ``ref.`` where they judge nothing; empty where there are none.

    >>> limit_words(Figure(key="a", label="a", value=1.0, unit="%", limit_high=5.0, reference=True))
    'ref. most 5.0'
    """
    low, high = figure.limit_low, figure.limit_high
    if low is None and high is None:
        return ""
    if low is not None and high is not None:
        words = f"{number(low, figure.unit)} to {number(high, figure.unit)}"
    elif high is not None:
        words = f"most {number(high, figure.unit)}"
    else:
        words = f"least {number(low or 0.0, figure.unit)}"
    return f"ref. {words}" if figure.reference else words


def verdict_words(figure: Figure) -> str:
    """What the limits say of a figure: pass or FAIL, of a reference inside or OUTSIDE; empty without any."""
    if figure.limit_low is None and figure.limit_high is None:
        return ""
    if figure.reference:
        return {True: "inside", False: "OUTSIDE", None: NOT_JUDGED}[figure.inside]
    return {True: "pass", False: "FAIL", None: NOT_JUDGED}[figure.passed]


def limit_sources(report: Report) -> list[tuple[str, str]]:
    """Where the limits come from: pairs of ``limit`` or ``reference`` and the source."""
    sources = {(figure.reference, figure.limit_source) for figure in report.figures if figure.limit_source}
    return [("reference" if reference else "limit", source) for reference, source in sorted(sources)]


def curves_on_axes(report: Report, least_points: int = 1) -> list[Curve]:
    """The curves that share the report's axes; one with another unit, named after it, would flatten them."""
    curves = [curve for curve in report.curves if len(curve.points) >= least_points]
    return [curve for curve in curves if "," not in curve.name or len(curves) == 1]


def point_words(point: Point, x_label: str, y_label: str) -> tuple[str, str]:
    """One point of a curve as it is read out: what it is, and where.

    >>> point_words(Point(curve="positive", x=3.2, y=1.52), "input, mV RMS", "peak deviation, kHz")
    ('1.52 kHz', 'positive, at 3.20 mV RMS')
    """
    name, _, tail = point.curve.rpartition(", ")
    x_unit, y_unit = _unit(x_label), _unit(y_label)
    if name and tail.startswith("Hz"):
        x_unit = "Hz"
    elif name and tail.startswith(("dB", "kHz")):
        y_unit = tail
    else:
        name = point.curve
    if y_label == "open":
        value = "open" if point.y > 0.5 else "shut"
    else:
        value = f"{number(point.y, y_unit)} {y_unit}".rstrip()
    at = number(point.x, x_unit or x_label)
    return value, f"{name}, at {x_label if not x_unit else ''} {at} {x_unit}".replace("  ", " ").rstrip()


def _unit(label: str) -> str:
    """The unit that an axis names, after its last comma or alone."""
    name, _, tail = label.rpartition(", ")
    return tail if name or label.startswith(("dB", "Hz", "kHz")) else ""
