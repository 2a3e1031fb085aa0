"""What sound libraries print by themselves stays out of the terminal; what the program says is heard."""

import os
import subprocess
import sys
from pathlib import Path

REPOSITORY = Path(__file__).parents[2]
SCENE = """
import os, sys
from audiotest.feeds.chatter import decoder_silenced, hear_libraries, quieten_libraries

def both(word):
    os.write(2, f"library {word}\\n".encode())
    print(f"program {word}", file=sys.stderr)

both("before")
quieten_libraries()
quieten_libraries()
both("quiet")
with decoder_silenced(True):
    both("decoding")
hear_libraries()
both("still quiet")
hear_libraries()
both("after")
quieten_libraries()
both("quiet again")
hear_libraries()
both("at last")
"""


def told(**environment: str) -> list[str]:
    done = subprocess.run(
        [sys.executable, "-c", SCENE], capture_output=True, text=True, check=True,
        env=os.environ | {"PYTHONPATH": str(REPOSITORY)} | environment,
    )  # fmt: skip
    return done.stderr.splitlines()


def test_libraries_are_unheard_for_as_long_as_asked_and_the_program_is_not() -> None:
    heard = told(AUDIOTEST_TRACEBACK="")
    assert [line for line in heard if line.startswith("library")] == [
        "library before", "library after", "library at last"
    ]  # fmt: skip
    assert [line for line in heard if line.startswith("program")] == [
        f"program {word}"
        for word in ("before", "quiet", "decoding", "still quiet", "after", "quiet again", "at last")
    ]


def test_whoever_looks_for_a_fault_hears_them() -> None:
    assert "library quiet" in told(AUDIOTEST_TRACEBACK="1")
