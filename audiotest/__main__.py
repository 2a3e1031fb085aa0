"""Entry point: run one command, turn errors into one line and an exit status.

What is loaded here is loaded before Ctrl-C is looked after, so it is next to nothing.
"""

import os
import sys

from audiotest.errors import AudiotestError

# One thread does all the sums; a second for products this small only waits for its turn on a busy machine.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

DONE = 0
CANNOT = 2
INTERRUPTED = 130


def main(argv: list[str] | None = None) -> int:
    """Run `audiotest` with `argv` (the process's own arguments when None) and return its exit status."""
    try:
        return _told(argv)
    except KeyboardInterrupt:  # also while an error is being told
        return INTERRUPTED


def _told(argv: list[str] | None) -> int:
    """Run the command; what goes wrong is told in one line."""
    try:
        return _run(argv)
    except AudiotestError as error:
        return _refuse(str(error))
    except BrokenPipeError:
        from audiotest.terminal.starting import give_up

        # Whoever read it has what was wanted. Whether they go before the last line or after it is chance, and
        # a status that depends on that is of no use to a script.
        give_up(sys.stdout)
        return DONE
    except Exception as error:
        return _refuse_unexpected(error)


def _run(argv: list[str] | None) -> int:
    from audiotest.terminal.starting import ends_at_once_on_interrupt, use_streams

    with ends_at_once_on_interrupt(INTERRUPTED):
        from importlib import import_module

        from audiotest.terminal.parser import build_parser

        use_streams()
        try:
            arguments = build_parser().parse_args(argv)
        except SystemExit:  # --help and --version
            sys.stdout.flush()
            raise
        if getattr(arguments, "waiting", "") and arguments.text and sys.stdout.isatty():
            # What is loaded now takes seconds on a busy machine: somebody looks at an empty screen.
            print(arguments.waiting, flush=True)
        command = import_module(arguments.module)
    status = int(command.run(arguments))
    sys.stdout.flush()
    return status


def _refuse(message: str) -> int:
    from audiotest.terminal.shown import complain
    from audiotest.terminal.starting import give_up

    try:
        complain(message)
    except OSError:
        give_up(sys.stderr)
    return CANNOT


def _refuse_unexpected(error: Exception) -> int:
    from audiotest.terminal.starting import give_up, output_works, reason_outside

    if not output_works():
        reason = (error.strerror if isinstance(error, OSError) else None) or error
        give_up(sys.stdout)
        return _refuse(f"standard output: cannot be written ({reason}): make room, or send it elsewhere")
    outside = reason_outside(error)
    if os.environ.get("AUDIOTEST_TRACEBACK"):
        raise error
    if outside is not None:
        return _refuse(outside)
    text = " ".join(str(error).splitlines())
    return _refuse(
        f"unexpected {type(error).__name__}: {text}: a fault of the program; "
        "AUDIOTEST_TRACEBACK=1 shows where"
    )


if __name__ == "__main__":
    sys.exit(main())
