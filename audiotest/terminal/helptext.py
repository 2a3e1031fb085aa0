"""Help that fits the terminal it is read on."""

import argparse

LEAST_WORDS = 20
"""Columns: with less beside it a row's words go below its name."""


class Paragraphs(argparse.HelpFormatter):
    """Fills each paragraph of a description to the width of the terminal, and hangs the rows of a list.

    A row begins with two spaces; its words stand two spaces or more behind its name. Words with a hyphen
    ("sub-audible") are kept whole.
    """

    def _fill_text(self, text: str, width: int, indent: str) -> str:
        parts = text.strip("\n").split("\n\n")
        return "\n\n".join(
            _rows(part, width) if part.startswith("  ") else _wrap(part, width) for part in parts
        )

    def _split_lines(self, text: str, width: int) -> list[str]:
        return _wrap(text, width).split("\n")


def listed(table: dict[str, str]) -> str:
    """A list that `Paragraphs` hangs: names and what they stand for."""
    width = max(map(len, table)) + 2
    return "\n".join(f"  {name:<{width}}{words}" for name, words in table.items())


def _wrap(text: str, width: int, *, first: str = "", rest: str = "") -> str:
    # Imported here, as argparse does: most calls print no help.
    import textwrap

    return textwrap.fill(
        " ".join(text.split()), width, initial_indent=first, subsequent_indent=rest, break_on_hyphens=False
    )


def _rows(text: str, width: int) -> str:
    wrapped = []
    for row in text.splitlines():
        name, _, words = row.strip().partition("  ")
        column = len(row) - len(words.lstrip())
        first, rest = f"  {name}".ljust(column), " " * column
        if column + LEAST_WORDS > width:
            # No room beside the name: the words go below it.
            wrapped.append(f"  {name}")
            first = rest = "    "
        wrapped.append(_wrap(words, width, first=first, rest=rest))
    return "\n".join(wrapped)
