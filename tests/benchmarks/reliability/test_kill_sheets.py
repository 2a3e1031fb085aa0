"""The sheets killed a hundred times in the middle of writing. Run by hand, a minute or two."""

import os
from pathlib import Path

from tests.keep.test_sheetfile import kill_writer

KILLS = int(os.environ.get("AUDIOTEST_KILLS", "100"))


def test_nothing_that_was_said_to_be_safe_is_lost(tmp_path: Path) -> None:
    path = tmp_path / "sheets.sqlite"
    promised = [kill_writer(path, lines=2 + kill % 37) for kill in range(KILLS)]
    print(f"\n{KILLS} kills: {sum(promised)} readings promised, all there, file sound after each")
    assert sum(promised) > KILLS
