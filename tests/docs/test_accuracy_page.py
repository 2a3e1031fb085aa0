"""The accuracy page and its plots are made of the measured figures, and these are of the tool as it is."""

import json
from dataclasses import replace
from pathlib import Path

import pytest

from tests.benchmarks.accuracy import overs, page, telltales
from tests.benchmarks.accuracy.listening import model_sha256
from tests.docs.reading import ROOT

DOCS = ROOT / "docs"
LARGEST_BYTES = 400_000
AGAIN = "measure the set again: tests/benchmarks/accuracy/README.md"
# What another processor's vector units may change in a sum, and far less than any change of the method.
CLOSE = {"_db": 0.02, "_khz": 0.005}


@pytest.fixture(scope="module")
def measured() -> overs.Measured:
    return overs.read(DOCS / page.OVERS)


def test_page_and_plots_are_made_of_the_figures(measured: overs.Measured) -> None:
    made = page.made(measured)
    assert len(made) == 3
    for name, text in made.items():
        assert (DOCS / name).read_text("utf-8") == text, f"{name}: python -m tests.benchmarks.accuracy.page"


def test_a_changed_figure_changes_page_and_plots(measured: overs.Measured) -> None:
    """An over in which the tool was right by 3 dB less, and 1 kHz more, is seen in all three."""
    name = next(
        record["id"]
        for record in measured.records
        if record["kind"] == "plain" and "drive_db" in measured.tool[record["id"]]
    )
    said = measured.tool[name]
    worse = said | {"drive_db": said["drive_db"] + 3.0, "p999_khz": said["p999_khz"] + 1.0}
    before, after = page.made(measured), page.made(replace(measured, tool=measured.tool | {name: worse}))
    assert [each for each in before if before[each] == after[each]] == []


def test_the_figures_are_of_the_model_that_is_shipped(measured: overs.Measured) -> None:
    assert measured.model_sha256 == model_sha256(), AGAIN


@pytest.mark.parametrize("number", range(len(telltales.CASES)))
def test_the_tool_says_what_it_said_when_the_set_was_measured(measured: overs.Measured, number: int) -> None:
    then, now = measured.telltales[number], telltales.said(number)
    assert then.keys() == now.keys()
    for key, value in then.items():
        within = next((size for unit, size in CLOSE.items() if key.endswith(unit)), None)
        if within is not None and value is not None:
            value = pytest.approx(value, abs=within)
        assert now[key] == value, f"{key}: {AGAIN}"


def test_the_telltales_tell_something(measured: overs.Measured) -> None:
    assert len(measured.telltales) == len(telltales.CASES)
    assert sum(said["drive_db"] is not None for said in measured.telltales) >= 4
    assert len({(said["mic_gain"], said["deviation"]) for said in measured.telltales}) >= 3


def test_the_file_is_small_and_names_no_place(measured: overs.Measured) -> None:
    text = (DOCS / page.OVERS).read_text("utf-8")
    assert len(text.encode()) < LARGEST_BYTES
    assert "/" not in text
    assert len(measured.records) == len({record["id"] for record in measured.records})
    assert set(measured.tool) == set(measured.crest) == {record["id"] for record in measured.records}


def test_what_is_written_is_read_and_further_figures_are_taken_in(
    measured: overs.Measured, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    bare = replace(measured, further={})
    overs.write(bare, tmp_path / page.OVERS)
    assert overs.read(tmp_path / page.OVERS) == bare
    assert "What stops any method" not in page.made(bare)[page.PAGE]
    figures = [tmp_path / f"{name}.json" for name in page.FURTHER]
    for file in figures:
        file.write_text(json.dumps(measured.further[file.stem]))
    call = ["page", "--docs", str(tmp_path), "--take", *map(str, figures)]
    monkeypatch.setattr("sys.argv", call)
    page.main()
    assert (tmp_path / page.PAGE).read_text("utf-8") == page.made(measured)[page.PAGE]
    (tmp_path / "strange.json").write_text("{}")
    monkeypatch.setattr("sys.argv", [*call, str(tmp_path / "strange.json")])
    with pytest.raises(SystemExit):
        page.main()
