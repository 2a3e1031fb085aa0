"""The glossary: in order, without doubles, and of words that the other pages use."""

import re
from pathlib import Path

from tests.docs.reading import PAGES

GLOSSARY = Path(__file__).parents[2] / "docs" / "glossary.md"
TERMS = re.findall(r"^\*\*(.+?)\*\*", GLOSSARY.read_text("utf-8"), re.MULTILINE)
ELSEWHERE = " ".join(page.read_text("utf-8") for page in PAGES if page != GLOSSARY).lower()


def _key(term: str) -> str:
    return re.sub(r"[^a-z0-9 ]", "", term.lower())


def test_the_words_stand_in_order():
    assert len(TERMS) >= 50
    assert [_key(term) for term in TERMS] == sorted({_key(term) for term in TERMS})


def test_the_words_are_used():
    unused = [term for term in TERMS if not any(word.lower() in ELSEWHERE for word in term.split(", "))]
    assert unused == []
