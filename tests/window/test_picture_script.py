"""The pictures of the docs are made by one script, which has to go on making all of them."""

import os
import re
import subprocess
import sys
from pathlib import Path

import pytest
from PySide6.QtGui import QImage

pytestmark = pytest.mark.window
ROOT = Path(__file__).parents[2]
SCRIPT = ROOT / "docs" / "pictures" / "make_pictures.py"
LARGEST_BYTES = 150_000


def wanted() -> set[str]:
    """Names of the pictures that the docs show out of that folder."""
    pages = [*(ROOT / "docs").glob("*.md"), ROOT / "README.md"]
    return {name for page in pages for name in re.findall(r"pictures/([\w-]+)\.png", page.read_text("utf-8"))}


def test_the_script_makes_every_picture_of_the_docs(tmp_path: Path) -> None:
    variables = os.environ | {"QT_QPA_PLATFORM": "offscreen", "HOME": str(tmp_path / "home")}
    made_in = tmp_path / "pictures"
    made_in.mkdir()
    done = subprocess.run(
        [sys.executable, str(SCRIPT), str(made_in)],
        env=variables, capture_output=True, text=True, check=False, timeout=600,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    assert {path.stem for path in made_in.glob("*.png")} == wanted()
    for name in wanted():
        made, kept = QImage(str(made_in / f"{name}.png")), QImage(str(SCRIPT.with_name(f"{name}.png")))
        assert made.size() == kept.size(), name
        assert (made_in / f"{name}.png").stat().st_size < LARGEST_BYTES, name
