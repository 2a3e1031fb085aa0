"""A day of recording, as fast as it goes: memory stays where it is and every sample is there. Run by hand.

Takes some minutes on a disk in memory: ``AUDIOTEST_HOURS=24 TMPDIR=/dev/shm python -m pytest ...``.
"""

import os
import time
from pathlib import Path

import numpy as np

from audiotest.keep.parts import codes_24, find_parts, read_stretch
from audiotest.keep.recorder import Recorder

HOURS = float(os.environ.get("AUDIOTEST_HOURS", "2"))
RATE_HZ = 8000


def resident_mib() -> float:
    pages = int(Path("/proc/self/statm").read_text().split()[1])
    return pages * os.sysconf("SC_PAGE_SIZE") / 2**20


def test_a_long_recording_grows_on_disk_only(tmp_path: Path) -> None:
    rng = np.random.default_rng(5)
    minute = (rng.integers(-4, 5, 60 * RATE_HZ) / 2**23).astype(np.float32)
    recorder = Recorder(tmp_path, RATE_HZ, reserve_bytes=2**20)
    recorder.start()
    resident: list[float] = []
    for count in range(1, round(HOURS * 60) + 1):
        for start_n in range(0, len(minute), RATE_HZ):
            recorder.push(minute[start_n : start_n + RATE_HZ])
            while recorder.state.written_s < 60.0 * (count - 1) + start_n / RATE_HZ - 10.0:
                time.sleep(0.002)
        if count % 30 == 0:
            resident.append(resident_mib())
    recorder.close()
    state = recorder.state
    parts = find_parts(recorder.folder)
    print(
        f"\n{state.written_s / 3600:.1f} h in {len(parts)} parts, lost {state.lost_n} samples; "
        f"resident {resident[0]:.0f} MiB after half an hour, {resident[-1]:.0f} MiB at the end"
    )
    assert state.trouble is None
    assert state.lost_n == 0
    assert state.written_s == HOURS * 3600
    last = parts[-1].start_n
    assert last % len(minute) == 0
    np.testing.assert_array_equal(read_stretch(parts, last, last + len(minute)), codes_24(minute))
    assert resident[-1] - resident[0] < 64.0
