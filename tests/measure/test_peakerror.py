"""The error that is stated of a peak is the error that was measured, and stands in one place only."""

import re
from pathlib import Path

import pytest

from audiotest.measure.peakerror import SPEECH_PEAK_ERROR_DB, peak_error_90_db, peak_error_db

REPOSITORY = Path(__file__).parents[2]
ROW = re.compile(r"^\| CNR 18 dB and up \| peak_khz \|.*\| ([\d.]+) \| ([\d.]+) \|$", re.MULTILINE)


def test_it_is_the_error_of_the_accuracy_table() -> None:
    found = ROW.search((REPOSITORY / "docs" / "accuracy.md").read_text(encoding="utf-8"))
    assert found is not None
    median_db, within_95_db = (float(figure) for figure in found.groups())
    # Of a normal distribution half lie within 0.6745 and 95 in 100 within 1.96 standard errors. The measured
    # one has longer tails: the standard error that fits nine in ten lies between the two.
    assert median_db / 0.6745 <= SPEECH_PEAK_ERROR_DB <= within_95_db / 1.96


def test_a_tone_is_as_sure_as_the_scale() -> None:
    assert peak_error_90_db("tone", 1.5) == pytest.approx(1.5)
    assert peak_error_db("carrier", 0.0) == 0.0
    assert peak_error_90_db("voice", 1.5) == pytest.approx((2.632**2 + 1.5**2) ** 0.5, abs=1e-3)


def test_no_other_place_states_one() -> None:
    named = re.compile(r"^\w*PEAK_ERROR\w* *=", re.MULTILINE)
    stated = [
        path.name
        for path in (REPOSITORY / "audiotest").rglob("*.py")
        if named.search(path.read_text(encoding="utf-8"))
    ]
    assert stated == ["peakerror.py"]
