"""``audiotest compare``: two recorded overs against each other."""

import json
from pathlib import Path

import pytest

from audiotest.__main__ import main
from tests.keep.benchjob import hear


def test_two_overs_are_compared_and_written_blind(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    before, after = (hear(tmp_path, stage) for stage in ("found", "left"))
    files = [str(before.file), str(after.file)]
    assert main(["compare", *files]) == 0
    text = capsys.readouterr().out
    assert "less hard into the limiter" in text
    assert "LUFS" in text
    assert main(["compare", *files, "--json", "--blind", str(tmp_path / "listen")]) == 0
    found = json.loads(capsys.readouterr().out)
    assert found["schema"] == "audiotest-compare-1"
    assert max(found["gains_db"]) <= 0.0
    assert {path.name for path in Path(found["blind"]).iterdir()} == {
        "X.flac",
        "Y.flac",
        "key, look afterwards.json",
    }


def test_a_missing_file_is_named(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    assert main(["compare", str(tmp_path / "a.wav"), str(tmp_path / "b.wav")]) == 2
    assert "a.wav" in capsys.readouterr().err
