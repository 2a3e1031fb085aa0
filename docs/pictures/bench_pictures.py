"""Make the pictures of docs/bench.md: ``python docs/pictures/bench_pictures.py``.

The simulated radio is measured; nothing is drawn by hand.
"""

import os
import sys
from pathlib import Path
from tempfile import TemporaryDirectory

os.environ.setdefault("QT_QPA_PLATFORM", "offscreen")
sys.path.insert(0, str(Path(__file__).parents[2]))
sys.path.insert(0, str(Path(__file__).parent))

from make_pictures import save

from tests.window.benchshots import Scene


def main() -> None:
    """A limiting curve while it grows, and the finished sensitivity."""
    with TemporaryDirectory() as folder:
        scene = Scene(Path(folder), "light", 100, (1100, 620))
        scene.rehearse("limiting")
        scene.steps(15)
        save(scene.window, "bench-measuring")
        scene.window.stop()
        scene.end()
        scene.rehearse("sensitivity")
        scene.end()
        save(scene.window, "bench-measured")
        scene.window.shut()


if __name__ == "__main__":
    main()
