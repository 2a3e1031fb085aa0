"""An invented over, and a small disk that can be filled."""

import shutil
import subprocess
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import pytest

from audiotest.keep.sheets import Sheets
from audiotest.records import Deviation, Level, Limiter, Noise, Over
from tests.keep.benchjob import do_job


@pytest.fixture
def over() -> Over:
    return invented_over()


def invented_over(start_s: float = 1.0, end_s: float = 2.0) -> Over:
    """A spoken over with everything measured."""
    return Over(
        start_s=start_s,
        end_s=end_s,
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


@contextmanager
def disk_of(folder: Path, size: str) -> Iterator[Path]:
    """A file system of its own in memory, mounted on a folder; needs the right to mount one."""
    folder.mkdir()
    mount = ["mount", "-t", "tmpfs", "-o", f"size={size}", "tmpfs", str(folder)]
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


def make_read_only(disk: Path) -> None:
    """Let nobody write to a disk of `disk_of` any more."""
    subprocess.run(["mount", "-o", "remount,ro", str(disk)], check=True)


@pytest.fixture
def small_disk(tmp_path: Path) -> Iterator[Path]:
    """A disk of 1 MiB."""
    with disk_of(tmp_path / "small disk", "1m") as folder:
        yield folder


@dataclass(frozen=True, slots=True)
class Job:
    """A finished invented job: the file of its sheets and the sheet's number."""

    path: Path
    visit_id: int


@pytest.fixture(scope="session")
def finished_job(tmp_path_factory: pytest.TempPathFactory) -> Job:
    folder = tmp_path_factory.mktemp("job")
    with Sheets(folder / "sheets.sqlite") as sheets:
        return Job(folder / "sheets.sqlite", do_job(sheets, folder))


@pytest.fixture
def job(finished_job: Job, tmp_path: Path) -> Job:
    """A copy of the finished job to do damage to."""
    shutil.copytree(finished_job.path.parent, tmp_path / "job")
    return Job(tmp_path / "job" / "sheets.sqlite", finished_job.visit_id)
