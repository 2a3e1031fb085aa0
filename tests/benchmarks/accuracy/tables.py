"""How a table of the accuracy page is written."""

from audiotest.window.minus import with_minus


def cell(value: object, digits: int = 1) -> str:
    """A figure, a percentage never, a dash where nothing was measured."""
    if value is None:
        return "–"
    return f"{value:.{digits}f}" if isinstance(value, float) else str(value)


def table(head: list[str], rows: list[list[str]]) -> str:
    """A Markdown table."""
    lines = [head, ["---"] * len(head), *rows]
    return "\n".join("| " + " | ".join(map(with_minus, line)) + " |" for line in lines)
