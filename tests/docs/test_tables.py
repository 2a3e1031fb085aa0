"""Tables of the pages that say again what the program holds as data."""

import itertools
import re

import pytest

from audiotest.advise import rules
from audiotest.advise.wording import UNSURE_BELOW
from audiotest.keep.quantities import get_quantity
from audiotest.keep.yardsticks import yardstick
from audiotest.standards.limits import LIMIT_SETS
from audiotest.tones.catalogue import PROCEDURES
from tests.docs.reading import ROOT

LIMITS = (ROOT / "docs" / "limits.md").read_text("utf-8").partition("## On the sheet, besides deviation")[2]
BENCH = (ROOT / "docs" / "bench.md").read_text("utf-8").partition("## Procedures")[2]
NAMES = {
    "power": "power", "frequency error": "frequency-error", "sensitivity, 12 dB SINAD": "sensitivity",
    "SWR": "swr",
}  # fmt: skip
ROW = re.compile(r"^\| (.+?) \| (.+?) \| (.+?) \| (.+?) \|$", re.MULTILINE)
UP_TO_MHZ = (47, 137, 500)


def _of_the_page(key: str, limits_id: str, frequency_mhz: float) -> tuple[str, str] | None:
    """The limit with its unit, and the source, that the page's table has for a reading."""
    for name, of, most, source in ROW.findall(LIMITS):
        plain, _, up_to = name.partition(" to ")
        if NAMES.get(plain) != key or (of != "all" and f"`{limits_id}`" not in of):
            continue
        if up_to and next(mhz for mhz in UP_TO_MHZ if frequency_mhz <= mhz) != int(up_to.split()[0]):
            continue
        return most, source
    return None


@pytest.mark.parametrize("limits_id", [limits.id for limits in LIMIT_SETS])
def test_the_limits_page_has_what_readings_are_held_against(limits_id):
    for key, frequency_mhz in itertools.product(NAMES.values(), (27.6, 47.0, 80.0, 160.0, 446.0)):
        stick = yardstick(key, limits_id, frequency_mhz)
        expected = stick and (f"{stick.highest:g} {get_quantity(key).unit}".strip(), stick.source)
        assert _of_the_page(key, limits_id, frequency_mhz) == expected, (key, frequency_mhz)


def test_the_bench_page_has_every_procedure():
    table = "".join(line for line in BENCH.splitlines() if line.startswith("| `"))
    assert len(PROCEDURES) >= 15
    assert [name for name in PROCEDURES if f"`{name}`" not in table] == []


def test_the_balance_page_has_the_bounds_of_the_advice():
    page = (ROOT / "docs" / "balance.md").read_text("utf-8")
    window = f"−{-rules.LOW_DRIVE_DB:.0f} and +{rules.HIGH_DRIVE_DB:.0f} dB"
    for words in (
        f"drive between {window}; it aims for +{rules.TARGET_DRIVE_DB:.0f}",
        f"drive above +{rules.HIGH_DRIVE_DB:.0f} dB",
        f"It never asks for more than {rules.LONGEST_RAISE_DB:.0f} dB in one go",
        f"peaks under {100 * rules.LOW_PEAK_RATIO:.0f} % of the limit",
        f"It aims at {100 * rules.TARGET_PEAK_RATIO:.0f} % of the limit and never more than "
        f"{rules.LARGEST_FACTOR:.0f} times in one go",
        f"Under {100 * UNSURE_BELOW:.0f} % the card adds",
    ):
        assert words in page, words
