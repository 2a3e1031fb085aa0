"""Make the printed examples of the pages: ``python docs/make_examples.py``.

A fence after the line ``<!-- printed by: audiotest ... -->`` holds what that command prints. The recordings
that the commands name are made here: ``tone.wav``, 1 kHz at 0.3 of full scale; ``hiss.wav``, noise up to
3 kHz. Of a card only its text is shown, from the line that begins with ``┏`` to the next empty line.
"""

import contextlib
import io
import os
import re
import shlex
import sys
import tempfile
from pathlib import Path
from unittest.mock import patch

sys.path.insert(0, str(Path(__file__).parents[1]))

import numpy as np
import soundfile
from scipy.signal import butter, sosfilt

from audiotest.__main__ import main

HERE = Path(__file__).parent
RATE_HZ = 48000
SECONDS = 10
EXAMPLE = re.compile(r"(<!-- printed by: audiotest ([^>]*?) -->\n+```\n)(.*?)(```\n)", re.DOTALL)


def make_tone(file: Path, tone_hz: float) -> None:
    """Write a tone of 0.3 of full scale with a little noise."""
    n = np.arange(SECONDS * RATE_HZ)
    noise = np.random.default_rng(1).standard_normal(n.size)
    soundfile.write(file, 0.3 * np.sin(2 * np.pi * tone_hz / RATE_HZ * n) + 0.001 * noise, RATE_HZ)


def make_recordings(folder: Path) -> None:
    """Write ``tone.wav`` and ``hiss.wav`` into a folder."""
    make_tone(folder / "tone.wav", 1000.0)
    noise = np.random.default_rng(2).standard_normal(SECONDS * RATE_HZ)
    hiss = sosfilt(butter(4, 3000, fs=RATE_HZ, output="sos"), noise)
    soundfile.write(folder / "hiss.wav", 0.12 * hiss / np.std(hiss), RATE_HZ)


def printed_by(command: str) -> str:
    """What ``audiotest COMMAND`` prints on a terminal of 80 columns, run beside the recordings."""
    said = io.StringIO()
    with tempfile.TemporaryDirectory() as folder, patch.dict(os.environ, COLUMNS="80"):
        make_recordings(Path(folder))
        with contextlib.chdir(folder), contextlib.redirect_stdout(said):
            status = main(shlex.split(command))
    if status != 0:
        raise RuntimeError(f"audiotest {command}: exit status {status}")
    lines = [line.rstrip() for line in said.getvalue().splitlines()]
    top = next((n for n, line in enumerate(lines) if line.startswith("┏")), None)
    if top is not None:
        lines = lines[top:]
        lines = lines[: lines.index("")] if "" in lines else lines
    return "\n".join(lines).strip("\n") + "\n"


def renewed(page: str) -> str:
    """A page's text with every example printed anew."""
    return EXAMPLE.sub(lambda found: found[1] + printed_by(found[2]) + found[4], page)


if __name__ == "__main__":
    for path in sorted(HERE.glob("*.md")):
        before = path.read_text("utf-8")
        after = renewed(before)
        if after != before:
            path.write_text(after, "utf-8")
            print(path.name)
