"""An invented over, and a small disk that can be filled."""

import subprocess
from collections.abc import Iterator
from pathlib import Path

import pytest

from audiotest.records import Deviation, Level, Limiter, Noise, Over


@pytest.fixture
def over() -> Over:
    return Over(
        start_s=1.0,
        end_s=2.0,
        kind="voice",
        speech_start_s=1.2,
        speech_end_s=1.9,
        level=Level(active_speech_dbfs=-19.8, activity=0.78, crest_db=13.2),
        deviation=Deviation(
            peak_khz=2.31, p999_khz=2.1, rms_khz=0.61, positive_khz=2.31, negative_khz=2.2, limit_khz=2.5
        ),
        limiter=Limiter(
            drive_db=13.1, drive_low_db=10.0, drive_high_db=16.2, clipped_fraction=0.24, reached=True
        ),
        noise=Noise(quieting_db=32.0, snr_db=41.0, hum_hz=100.0, hum_db=38.0),
        tone=None,
        subaudible=None,
        end_beep=None,
        overload_runs=0,
        conditions=(),
        notes=(),
    )


@pytest.fixture
def small_disk(tmp_path: Path) -> Iterator[Path]:
    """A file system of its own of 1 MiB; needs the right to mount one."""
    folder = tmp_path / "small disk"
    folder.mkdir()
    mount = ["mount", "-t", "tmpfs", "-o", "size=1m", "tmpfs", str(folder)]
    try:
        done = subprocess.run(mount, capture_output=True, text=True, check=False)
    except OSError as error:
        pytest.skip(f"no file system can be mounted here: {error}")
    if done.returncode:
        pytest.skip(f"no file system can be mounted here: {done.stderr.strip()}")
    try:
        yield folder
    finally:
        subprocess.run(["umount", str(folder)], check=True)
