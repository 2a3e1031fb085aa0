"""The window recording a known input, in a process of its own that is killed: ``killedwindow FOLDER``.

Prints a JSON line for each block that the input hands over.
"""

import json
import sys
from collections.abc import Iterator
from pathlib import Path

from audiotest.feeds.protocol import Block
from audiotest.feeds.simulated import SimulatedSource
from audiotest.window import app, mainwindow
from audiotest.window.settings import Settings, save_settings
from tests.keep.killing import known

RATE_HZ = 48000
LENGTH_S = 120.0


class Telling(SimulatedSource):
    """Says what it hands over, just before it does."""

    def blocks(self) -> Iterator[Block]:
        handed_n = 0
        for block in super().blocks():
            handed_n += len(block.samples)
            print(json.dumps({"handed_n": handed_n}), flush=True)
            yield block


def main(folder: Path) -> int:
    settings = folder / "window.toml"
    save_settings(Settings(set_up=True), settings)
    mainwindow.open_input = lambda *_: Telling(known(RATE_HZ, LENGTH_S), RATE_HZ, real_time=True)
    return app.run(device="known", record_in=folder / "tapes", settings_file=settings)


if __name__ == "__main__":
    sys.exit(main(Path(sys.argv[1])))
