"""A live session whose input is taken away, moved or halted, or whose screen takes nothing for a while."""

import os
import re
import signal
import subprocess
import sys
import time
from pathlib import Path
from typing import Any

import pytest

from tests.live.conftest import SINK
from tests.robust.test_live_faults import PATIENCE_S, Live, codes, control, played, talking, wait_until

__all__ = ["codes", "played"]

pytestmark = pytest.mark.soundcard

STALL_S = 6.0


def test_an_input_that_is_taken_for_good_ends_with_a_line_and_keeps_what_was_heard(
    card: Any, played: Path, tmp_path: Path
) -> None:
    """A sound server hands a device over to another program by suspending its source."""
    live = talking(card, played, tmp_path)
    # A monitor is suspended with its sink.
    control(card, "suspend-sink", SINK, "1")
    assert live.process.wait(PATIENCE_S) == 2
    assert re.search(r"over \d+ .* voice", live.out), live.out
    assert live.err.count("\n") == 1, live.err
    assert "stopped delivering" in live.err


def test_an_input_that_is_moved_to_another_of_another_rate_is_heard_on(
    card: Any, played: Path, tmp_path: Path
) -> None:
    """Another program's mixer moves the recording to a card at 44.1 kHz: the over there is measured."""
    control(
        card, "load-module", "module-null-sink", "sink_name=other", "rate=44100", "channels=2", "format=s16le"
    )
    live = Live(card, tmp_path)
    live.until(r"\d:\d\d\.\d  waiting")
    listed = subprocess.run(
        ["pactl", "list", "short", "source-outputs"], env=card.environment, capture_output=True, text=True,
        check=True,
    )  # fmt: skip
    (line,) = listed.stdout.splitlines()
    control(card, "move-source-output", line.split()[0], "other.monitor")
    command = ["paplay", "--device=other", "--volume=65536", str(played)]
    card.children.append(subprocess.Popen(command, env=card.environment, stdin=subprocess.DEVNULL))
    live.until(r"over \d+ .* voice")
    live.process.send_signal(signal.SIGINT)
    assert live.process.wait(PATIENCE_S) == 130
    assert live.err == ""


@pytest.mark.skipif(sys.platform == "win32", reason="there are no pseudo-terminals")
def test_a_terminal_that_takes_nothing_for_a_while_costs_no_over(
    card: Any, played: Path, tmp_path: Path
) -> None:
    """Ctrl-S: the live line waits to be written, the measuring goes on, and all overs come out at last."""
    import pty

    reader, writer = pty.openpty()
    errors = tmp_path / "errors"
    command = [sys.executable, "-m", "audiotest", "live", "--text", "--device", "pulse"]
    with errors.open("wb") as file:
        process = subprocess.Popen(
            command, env=card.environment | {"TERM": "xterm", "COLUMNS": "80"}, stdin=subprocess.DEVNULL,
            stdout=writer, stderr=file,
        )  # fmt: skip
    card.children.append(process)
    os.close(writer)
    os.set_blocking(reader, False)
    shown = bytearray()

    def read() -> bool:
        try:
            shown.extend(os.read(reader, 65536))
        except (BlockingIOError, OSError):
            return False
        return True

    def shows(pattern: bytes) -> bool:
        while read():
            pass
        assert process.poll() is None, errors.read_text()
        return re.search(pattern, shown) is not None

    wait_until(lambda: shows(rb"waiting"), "it listens")
    card.play(played)
    wait_until(lambda: shows(rb"talking"), "it hears the over")
    del shown[:]
    # Some 80 bytes ten times a second fill a terminal's 4 kB before that.
    time.sleep(STALL_S)
    wait_until(lambda: shows(rb"over \d+ [^\n]*voice"), "the card of the over comes")
    assert b"LOST" not in shown
    process.send_signal(signal.SIGINT)
    wait_until(lambda: not read() and process.poll() is not None, "it ends")
    os.close(reader)
    assert process.returncode == 130
    assert errors.read_bytes() == b""
