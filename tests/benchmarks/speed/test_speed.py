"""How long `check` takes, as a share of what reading a file and one Welch spectrum of it take in one run.

Nothing here fails because a machine is slow: times and their ratios go into ``extra_info``. What may fail is
the memory, which is the same on every machine.
"""

import json
import os
import subprocess
import sys
import time
from pathlib import Path

import pytest
import soundfile
from scipy.signal import welch

from audiotest.standards.limits import get_limits
from audiotest.terminal.check import check_file

REPOSITORY = Path(__file__).parents[3]
LARGEST_MB = 250.0
PEAK = """
import resource, subprocess, sys
subprocess.run([sys.executable, "-m", "audiotest", "check", "--json", *sys.argv[1:]], check=True)
print(resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss / 1024.0, file=sys.stderr)
"""


def read_and_welch(path: Path) -> None:
    samples, rate_hz = soundfile.read(path, dtype="float32")
    welch(samples, rate_hz)


def run(*command: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, *command], capture_output=True, text=True, check=True,
        env={**os.environ, "PYTHONPATH": str(REPOSITORY)},
    )  # fmt: skip


def seconds(function, *arguments) -> tuple[float, float]:
    """Wall clock and processor seconds of this process."""
    wall, cpu = time.perf_counter(), time.process_time()
    function(*arguments)
    return time.perf_counter() - wall, time.process_time() - cpu


def test_baseline(benchmark, long_recording: Path) -> None:
    benchmark.pedantic(read_and_welch, args=(long_recording,), rounds=2)


def test_check_against_the_baseline(benchmark, long_recording: Path) -> None:
    limits = get_limits("uk-27fm")
    ratios = []

    def both() -> None:
        base = seconds(read_and_welch, long_recording)
        check = seconds(check_file, str(long_recording), None, None, limits)
        ratios.append((check[0] / base[0], check[1] / base[1]))

    benchmark.pedantic(both, rounds=2, warmup_rounds=0)
    benchmark.extra_info["wall_ratio"] = [round(wall, 2) for wall, _ in ratios]
    benchmark.extra_info["cpu_ratio"] = [round(cpu, 2) for _, cpu in ratios]
    print("\ncheck over (read + welch):", benchmark.extra_info)


def test_a_short_clip_from_a_cold_shell(benchmark, short_recording: Path) -> None:
    benchmark.pedantic(run, args=("-m", "audiotest", "check", "--json", str(short_recording)), rounds=3)


def test_help_against_importing_numpy(benchmark) -> None:
    run("-m", "audiotest", "--help")
    helps, numpys = [], []

    def both() -> None:
        helps.append(seconds(run, "-m", "audiotest", "--help")[0])
        numpys.append(seconds(run, "-c", "import numpy")[0])

    benchmark.pedantic(both, rounds=5)
    benchmark.extra_info["ratio"] = round(min(helps) / min(numpys), 2)
    print("\n--help over importing numpy:", benchmark.extra_info)


def test_two_files_use_two_cores(benchmark, long_recording: Path) -> None:
    alone = seconds(run, "-m", "audiotest", "check", "--json", str(long_recording))[0]
    both = ("-m", "audiotest", "check", "--json", str(long_recording), str(long_recording))
    benchmark.pedantic(run, args=both, rounds=1)
    benchmark.extra_info["over_one_file"] = round(benchmark.stats.stats.min / alone, 2)
    print("\ntwo files over one:", benchmark.extra_info)


@pytest.mark.skipif(sys.platform != "linux", reason="the peak is counted in kilobytes on Linux alone")
def test_memory_is_bounded_whatever_the_length(short_recording, long_recording, one_over) -> None:
    peaks_mb = {}
    for path in (short_recording, long_recording, one_over):
        done = run("-c", PEAK, str(path))
        assert json.loads(done.stdout)["files"][0]["error"] is None
        peaks_mb[path.stem] = round(float(done.stderr.split()[-1]), 1)
    print("\npeak memory in MB:", peaks_mb)
    assert max(peaks_mb.values()) <= LARGEST_MB
    # Ten seconds leave some buffers at their smallest; nothing else may depend on the length.
    assert peaks_mb["long"] <= peaks_mb["short"] + 30.0
