"""A guided measurement's result onto a sheet: its figures, and its curves as a plot beside them."""

import json
import tempfile
from pathlib import Path

from audiotest.keep.benchresult import BenchResult
from audiotest.keep.plotfile import plot_document
from audiotest.keep.sheetrecords import STAGE_WORDS, Stage
from audiotest.keep.sheets import Sheets


def add_bench_result(sheets: Sheets, visit_id: int, stage: Stage, result: BenchResult, name: str) -> str:
    """Put a result on a sheet, whole or not at all; returns what was put there, in words.

    Parameters
    ----------
    sheets : Sheets
        Opened.
    visit_id, stage : int, Stage
        Which sheet, and whether the set is as found or as left.
    result : BenchResult
        From `read_bench_result`, which lets no rehearsal through.
    name : str
        Of the plot's file, without its ending.

    Raises
    ------
    FileError, RequestError
        There is no such sheet, it is closed, or the file of sheets cannot be written.
    """
    with tempfile.TemporaryDirectory() as folder:
        kept = None
        with sheets.all_or_nothing():
            if result.curves is not None:
                plot = Path(folder) / f"{name}.json"
                plot.write_text(json.dumps(plot_document(result.curves)), encoding="utf-8")
                kept = sheets.attach(visit_id, stage, "plot", plot, title=result.title)
            count = sheets.add_measured(visit_id, stage, result.figures, kept)
    plot_words = "" if kept is None else " and the plot"
    where = f"sheet {visit_id}, {STAGE_WORDS[stage]}"
    return f"{result.title}: {count} figures{plot_words} are on {where}."
