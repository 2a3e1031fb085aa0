"""The report full of hostile text in a real browser, which must find no script in it. Run by hand."""

import shutil
import subprocess
from pathlib import Path

import pytest

from audiotest.keep.report import make_report
from audiotest.keep.reportpage import report_page
from audiotest.keep.sheets import Sheets
from tests.keep.test_report import fill_with_hostile_text


def test_a_browser_runs_nothing_of_it(tmp_path: Path) -> None:
    browser = shutil.which("chromium") or shutil.which("chromium-browser")
    if browser is None:
        pytest.skip("no chromium here")
    path = tmp_path / "sheets.sqlite"
    visit_id = fill_with_hostile_text(path, tmp_path)
    with Sheets(path) as sheets:
        page = tmp_path / "report.html"
        page.write_text(report_page(make_report(sheets, visit_id)), encoding="utf-8")
    command = [browser, "--headless", "--no-sandbox", "--disable-gpu", "--dump-dom", page.as_uri()]
    done = subprocess.run(command, capture_output=True, text=True, timeout=100, check=False)
    if done.returncode != 0 or "<html" not in done.stdout:
        pytest.skip(f"chromium does not start here: {done.stderr[-200:]}")
    assert "<script" not in done.stdout
    assert "&lt;script&gt;" in done.stdout
