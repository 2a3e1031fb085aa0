"""Measure the window: ``python -m tests.benchmarks.window.run [--minutes 60] [NAME ...]`` prints JSON.

Each measurement runs in a process of its own, on the platform that QT_QPA_PLATFORM names (offscreen when
nothing is said), under a settings folder of its own.
"""

import argparse
import json
import os
import subprocess
import sys
import time

NAMES = ("frames", "bare", "first_paint", "meter", "unkey", "hour")


def one(name: str, seconds: float, minutes: float, started_s: float) -> dict[str, float]:
    """Carry out one measurement in this process."""
    if name == "first_paint":
        from tests.benchmarks.window.firstpaint import first_paint

        return first_paint(started_s)
    from tests.benchmarks.window import measures

    if name == "frames":
        return measures.frames(seconds)
    if name == "bare":
        return measures.bare(seconds)
    if name == "meter":
        return measures.meter()
    if name == "unkey":
        return measures.unkey(6)
    return measures.hour(minutes)


def main() -> None:
    """Measure what is named, or everything."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("names", nargs="*", choices=[*NAMES, []], default=[])
    parser.add_argument("--seconds", type=float, default=20.0)
    parser.add_argument("--minutes", type=float, default=60.0)
    parser.add_argument("--started", type=float, help=argparse.SUPPRESS)
    options = parser.parse_args()
    if options.started is not None:
        print(json.dumps(one(options.names[0], options.seconds, options.minutes, options.started)))
        return
    environment = {"QT_QPA_PLATFORM": "offscreen"} | os.environ
    found = {"platform": environment["QT_QPA_PLATFORM"], "load": os.getloadavg()[0]}
    for name in options.names or NAMES:
        command = [
            sys.executable, "-m", "tests.benchmarks.window.run", name, "--seconds", str(options.seconds),
            "--minutes", str(options.minutes), "--started", str(time.time()),
        ]  # fmt: skip
        done = subprocess.run(command, env=environment, stdout=subprocess.PIPE, text=True, check=True)
        found[name] = json.loads(done.stdout.splitlines()[-1])
        print(name, found[name], file=sys.stderr)
    print(json.dumps(found, indent=1))


if __name__ == "__main__":
    main()
