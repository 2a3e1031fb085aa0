"""The error that is stated of a peak is the error that was measured, and stands in one place only."""

import math
import re
from pathlib import Path

import numpy as np
import pytest

from audiotest.measure.peakerror import SPEECH_PEAK_ERROR_DB, peak_error_90_db, peak_error_db
from audiotest.units import Z_90
from tests.benchmarks.accuracy import overs, page
from tests.benchmarks.accuracy.report import plain_overs

REPOSITORY = Path(__file__).parents[2]


def test_it_is_the_error_that_was_measured() -> None:
    """Nine in ten of the overs 18 dB and more over the noise lie within it, and it is hardly wider."""
    measured = overs.read(page.DOCS / page.OVERS)
    errors_db = [
        abs(20.0 * math.log10(said["peak_khz"] / record["truth"]["peak_khz"]))
        for record in plain_overs(measured.records)
        if record["receiver"]["cnr_db"] >= 18.0
        if "peak_khz" in (said := measured.tool.get(record["id"], {}))
    ]
    assert len(errors_db) > 200
    assert 0.0 <= Z_90 * SPEECH_PEAK_ERROR_DB - np.quantile(errors_db, 0.9) < 0.25


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
