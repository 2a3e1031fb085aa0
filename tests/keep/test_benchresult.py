"""What a guided measurement found comes onto the sheet with its figures and its curves."""

import json
from typing import Any

import pytest

from audiotest.errors import FileError
from audiotest.keep.benchresult import read_bench_result
from audiotest.tones.reported import bench_document
from audiotest.tones.steps import Curve, Figure, Report


def report(procedure: str, *figures: Figure, complete: bool = True) -> Report:
    points = ((0.3, 0.2), (3.0, 1.9), (30.0, 2.2))
    return Report(
        procedure=procedure, title="Invented run", complete=complete, x_label="input, mV RMS",
        y_label="peak deviation, kHz", x_logarithmic=True, figures=figures,
        curves=(Curve(name="peak", points=points),), notes=(),
    )  # fmt: skip


def figure(
    key: str, value: float | None, unit: str, low: float | None = None, high: float | None = None
) -> Figure:
    return Figure(key=key, label=key, value=value, unit=unit, low=low, high=high)


def content(found: Report, **changes: Any) -> bytes:
    return json.dumps(bench_document(found, rehearsed=False) | changes).encode()


def test_the_document_that_the_command_prints_is_understood() -> None:
    found = report(
        "limiting",
        figure("level_60_mv", 2.86, "mV"),
        figure("worst_khz", 2.31, "kHz"),
        figure("knee_db", 2.0, "dB"),
    )
    result = read_bench_result(content(found), "limiting.json")
    assert {line.quantity: line.value for line in result.figures} == {"mic-level": 2.86, "deviation": 2.31}
    assert result.curves is not None
    assert result.curves.lines == (("peak", ((0.3, 0.2), (3.0, 1.9), (30.0, 2.2))),)
    assert result.curves.log_x


def test_a_level_in_dbm_becomes_microvolts_with_its_bounds() -> None:
    found = report(
        "squelch", figure("opening_dbm", -113.0, "dBm", -114.0, -113.0), figure("closing_dbm", None, "dBm")
    )
    (line,) = read_bench_result(content(found), "s.json").figures
    # -113 dBm is 6 dB under -107 dBm, which is 1 µV in 50 ohms: half of it.
    assert line.quantity == "squelch-opens"
    assert line.value == pytest.approx(0.5, rel=0.01)
    assert line.low == pytest.approx(0.446, rel=0.01)
    assert line.high == line.value


def test_an_incomplete_run_is_called_that() -> None:
    assert (
        read_bench_result(content(report("hum", complete=False)), "h.json").title
        == "Invented run (not complete)"
    )


def test_a_rehearsal_is_no_measurement() -> None:
    with pytest.raises(FileError, match="rehearsal"):
        read_bench_result(content(report("hum"), rehearsed=True), "h.json")


@pytest.mark.parametrize(
    ("spoilt", "words"),
    [
        (b"", "it is no JSON document: measure again"),
        (b"\xff\xfe\x80", "it is no JSON document: measure again"),
        (b"[]", "it is no JSON document with names in it"),
        (b"{}", "'schema' is missing"),
        (b'{"schema": "audiotest-bench-1"}', "'rehearsed' is missing"),
        (b"NaN", "NaN is no number"),
        (b"[" * 100_000, "it is nested too deeply"),
    ],
)
def test_rubbish_is_named_in_words_for_a_user(spoilt: bytes, words: str) -> None:
    with pytest.raises(FileError, match=rf"^x\.json: is not the result of a bench measurement: {words}"):
        read_bench_result(spoilt, "x.json")


@pytest.mark.parametrize(
    "changes",
    [
        {"figures": [{"key": "level_60_mv"}]},
        {"figures": 3},
        {"curves": [{"name": "a", "points": [[1]]}]},
        {"schema": "x"},
    ],
)
def test_a_spoilt_document_is_named(changes: dict[str, Any]) -> None:
    with pytest.raises(FileError, match="is not the result"):
        read_bench_result(content(report("limiting"), **changes), "x.json")
