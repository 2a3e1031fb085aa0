"""Damaged and strange sheets as JSON: on the books with finite figures, or refused and nothing changed."""

import json
from collections.abc import Iterator
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from audiotest.keep.sheets import Sheets
from tests.robust.material import SHEET, damaged, imported_or_refused

CONTENT = json.dumps(SHEET).encode()
VALUES = st.recursive(
    st.one_of(st.none(), st.booleans(), st.integers(), st.floats(), st.text(max_size=20)),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=6), inner, max_size=3),
    max_leaves=6,
)  # fmt: skip
KEYS = sorted(
    {key for part in ("set", "visit") for key in SHEET[part]}
    | {key for part in ("readings", "faults", "parts", "spoken") for key in SHEET[part][0]}
)


@pytest.fixture(scope="module")
def sheets(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Sheets]:
    with Sheets(tmp_path_factory.mktemp("sheets") / "sheets.sqlite") as opened:
        yield opened


def test_the_undamaged_is_taken_in(sheets: Sheets) -> None:
    assert imported_or_refused(sheets, CONTENT) is None


@settings(max_examples=100)
@given(content=st.one_of(damaged((CONTENT,)), st.binary(max_size=200)))
def test_damaged_sheets_are_taken_in_or_refused(sheets: Sheets, content: bytes) -> None:
    imported_or_refused(sheets, content)


@settings(max_examples=150)
@given(
    part=st.sampled_from(("document", "set", "visit", "readings", "faults", "parts", "spoken")),
    key=st.sampled_from(KEYS), value=VALUES,
)  # fmt: skip
def test_any_value_anywhere_is_taken_in_or_refused(sheets: Sheets, part: str, key: str, value: Any) -> None:
    copy: Any = json.loads(CONTENT)
    place = copy if part == "document" else copy[part]
    (place[0] if isinstance(place, list) else place)[key] = value
    imported_or_refused(sheets, json.dumps(copy).encode())
    if part != "document":
        copy[part] = value
        imported_or_refused(sheets, json.dumps(copy).encode())
