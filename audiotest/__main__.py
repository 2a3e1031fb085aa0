"""Entry point: run one command, turn errors into one line and an exit status."""

import os
import sys
from collections.abc import Sequence
from importlib import import_module

from audiotest.errors import AudiotestError
from audiotest.terminal.parser import build_parser

DONE = 0
CANNOT = 2
INTERRUPTED = 130


def main(argv: Sequence[str] | None = None) -> int:
    """Run `audiotest` with `argv` (the process's own arguments when None) and return its exit status."""
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="backslashreplace")
    try:
        arguments = build_parser().parse_args(argv)
        status = int(import_module(arguments.module).run(arguments))
        sys.stdout.flush()
    except AudiotestError as error:
        return _refuse(str(error))
    except KeyboardInterrupt:
        return INTERRUPTED
    except BrokenPipeError:
        # Whoever read the output has gone. Python would complain again while flushing at exit.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return INTERRUPTED
    except Exception as error:
        if os.environ.get("AUDIOTEST_TRACEBACK"):
            raise
        return _refuse(
            f"unexpected {type(error).__name__}: {error}: a fault of the program; "
            "AUDIOTEST_TRACEBACK=1 shows where"
        )
    return status


def _refuse(message: str) -> int:
    print(f"audiotest: {' '.join(message.splitlines())}", file=sys.stderr)
    return CANNOT


if __name__ == "__main__":
    sys.exit(main())
