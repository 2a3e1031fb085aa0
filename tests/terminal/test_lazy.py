"""What a command does not need is not loaded."""

import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
import soundfile

from tests.robust.material import RATE_HZ, over

REPOSITORY = Path(__file__).parents[2]
HEAVY = ("numpy", "scipy", "soundfile", "soxr", "rich", "sounddevice", "PySide6", "pyqtgraph")
NOT_FOR_A_CLIP = (
    "rich", "sounddevice", "PySide6", "pyqtgraph", "platformdirs", "jinja2", "fpdf", "pyloudnorm", "sqlite3",
    "multiprocessing", "asyncio", "http",
    "scipy.signal", "scipy.stats", "scipy.optimize", "scipy.interpolate",
)  # fmt: skip
TELL = """
import sys
from audiotest.__main__ import main
try:
    main(sys.argv[1:])
except SystemExit:
    pass
print("loaded:", *sorted(sys.modules.keys() & set(%r)))
"""


def loaded_by(*arguments: str, heavy: tuple[str, ...] = HEAVY) -> set[str]:
    done = subprocess.run(
        [sys.executable, "-c", TELL % (heavy,), *arguments],
        capture_output=True, text=True, cwd=REPOSITORY, check=True,
    )  # fmt: skip
    return set(done.stdout.splitlines()[-1].split()[1:])


@pytest.mark.parametrize(
    "arguments", [("--version",), ("check", "--help"), ("live", "--help"), ("demo", "--help")]
)
def test_no_commands_help_loads_a_library(arguments):
    assert loaded_by(*arguments) == set()


def test_a_check_loads_no_sound_card_and_no_window():
    assert not loaded_by("check", "no such file.wav") & {"sounddevice", "PySide6", "pyqtgraph"}


@pytest.mark.parametrize("channels", [1, 2])
def test_a_clip_as_a_document_loads_what_measures_and_no_more(tmp_path, channels):
    """Speech in one channel or two, and a tone: none needs half a second's worth of SciPy."""
    clip = tmp_path / "clip.wav"
    tone = 0.1 * np.sin(2.0 * np.pi * 0.125 * np.arange(2 * RATE_HZ))
    samples = np.concatenate([over(), tone, over()])
    soundfile.write(clip, np.stack([samples, 0.1 * samples], axis=1)[:, :channels], RATE_HZ)
    measuring = ("numpy", "scipy", "soundfile")
    assert loaded_by("check", "--json", str(clip), heavy=(*NOT_FOR_A_CLIP, *measuring)) == set(measuring)
