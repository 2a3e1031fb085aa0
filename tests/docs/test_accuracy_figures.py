"""The accuracy that the README states is the one that docs/accuracy.md measured."""

from pathlib import Path

ROOT = Path(__file__).parents[2]
README = (ROOT / "README.md").read_text(encoding="utf-8")
LINES = (ROOT / "docs" / "accuracy.md").read_text(encoding="utf-8").splitlines()


def rows(first_cell: str) -> list[list[str]]:
    """Cells of the table rows that begin with a cell."""
    cells = [[cell.strip() for cell in line.strip("|").split("|")] for line in LINES if line.startswith("|")]
    return [row for row in cells if row[0] == first_cell]


def test_the_drive_error_is_the_measured_one():
    (row,) = rows("**3 … 24 dB**")
    assert f"its error was {row[3]} dB RMS for drives from 3 to 24 dB" in README
    assert f"half of them were within {row[4]} dB" in README
    assert 0.85 <= float(row[7]) <= 0.95, "the README says that the interval held nine times in ten"


def test_the_advice_counts_are_the_measured_ones():
    counts = {row[1]: [int(cell) for cell in row[2:]] for row in rows("mic_gain")}
    n, right, abstained, wrong, opposite = counts["**all**"]
    parts = [counts[wanted] for wanted in ("raise", "keep", "lower", "keep or lower")]
    assert [sum(column) for column in zip(*parts, strict=True)] == counts["**all**"]
    said = f"In {n} clear cases the mic gain advice was right in {100 * right / n:.0f} of 100, "
    said += f"undecided in {100 * abstained / n:.0f}, a step off in {100 * wrong / n:.0f}, "
    said += "and never the wrong way"
    assert opposite == 0
    assert said in README
