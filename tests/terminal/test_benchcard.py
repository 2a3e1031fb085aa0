"""A procedure's report on narrow terminals."""

import io

import pytest
from rich.console import Console

from audiotest.terminal.benchcard import print_report
from audiotest.tones.steps import Curve, Report


def printed(columns: int) -> list[str]:
    points = tuple((float(x), float(-x)) for x in range(300, 3000, 300))
    report = Report(
        procedure="rx-response", title="Response", complete=True, figures=(), notes=(),
        curves=(Curve(name="response", points=points),), x_label="tone, Hz", y_label="dB", x_logarithmic=True,
    )  # fmt: skip
    screen = io.StringIO()
    print_report(Console(file=screen, width=columns, force_terminal=False), report, rehearsed=False)
    return screen.getvalue().splitlines()


@pytest.mark.parametrize("columns", [34, 40, 60, 80, 200])
def test_the_plot_is_as_wide_as_the_terminal_and_never_wrapped(columns: int) -> None:
    lines = printed(columns)
    (floor,) = [line for line in lines if "+--" in line]
    assert len(floor) == min(columns - 1, 73)
    assert max(map(len, lines)) <= columns
    assert sum(line[9:11].strip() == "|" for line in lines) == 12
    assert any("tone, Hz" in line for line in lines)


def test_no_plot_where_nothing_would_show() -> None:
    assert not [line for line in printed(25) if "|" in line]
