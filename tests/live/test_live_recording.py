"""``live --text --record`` through a real sound server: what was heard is on disk, sample for sample."""

import json
import os
import re
import signal
import subprocess
import time
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile
import soxr
from numpy.typing import NDArray
from scipy.signal import correlate

from audiotest.keep.parts import find_parts, read_stretch
from tests.keep.conftest import disk_of
from tests.live.conftest import SINK
from tests.robust.test_live_faults import PATIENCE_S, RATE_HZ, Live, codes, played, talking, wait_until

__all__ = ["codes", "played"]

pytestmark = pytest.mark.soundcard

HEARD_HZ = 44100
"""What PortAudio takes for the usual rate of an ALSA device of every rate."""


def recording_in(parent: Path) -> Path:
    (folder,) = parent.glob("recording *")
    return folder


def kept_codes(folder: Path) -> NDArray[np.int32]:
    """The whole stream as the 16-bit codes that the sound server gave."""
    return read_stretch(find_parts(folder), 0, 2**62) >> 16


def place_of(wanted: NDArray[np.int32], stream: NDArray[np.int32]) -> int:
    """Where in a stream a stretch of it stands; it must be that stretch and no other."""
    products = correlate(stream.astype(np.float64), wanted.astype(np.float64), "valid", "fft")
    at_n = int(np.argmax(products))
    there = stream[at_n : at_n + len(wanted)].astype(np.float64)
    likeness = products[at_n] / np.sqrt(np.sum(there**2) * np.sum(wanted.astype(np.float64) ** 2))
    # The sound server has two listeners and another rate than the sink: it resamples, for each by itself.
    assert likeness > 0.99, f"the likeness is {likeness:.3f}"
    return at_n


def start_talking(card: Any, played: Path, folder: Path, tapes: Path) -> Live:
    return talking(card, played, folder, "--record", str(tapes))


def end(live: Live) -> None:
    live.process.send_signal(signal.SIGINT)
    assert live.process.wait(PATIENCE_S) == 130, live.err


def test_what_was_heard_and_each_over_are_kept_and_nothing_is_written_over(
    card: Any, codes: NDArray[np.int16], played: Path, tmp_path: Path
) -> None:
    tapes = tmp_path / "tapes"
    live = start_talking(card, played, tmp_path, tapes)
    live.until(r"over \d+ .* voice")
    # Of the half second behind it the last is still to come when its card shows.
    time.sleep(1.0)
    end(live)
    assert live.err == ""
    folder = recording_in(tapes)
    assert str(folder) in live.out.replace("\n", "")
    stream = kept_codes(folder)
    besides = [json.loads(path.read_text()) for path in sorted(folder.glob("over *.json"))]
    (beside,) = [beside for beside in besides if beside["over"]["kind"] == "voice"]
    over = beside["over"]
    clip, rate_hz = soundfile.read(folder / beside["clip"], dtype="int16")
    # The over is that stretch of the stream with half a second around it, and the stream is what was played.
    start_n = round(beside["clip_start_s"] * rate_hz)
    np.testing.assert_array_equal(clip, stream[start_n : start_n + len(clip)])
    assert over["start_s"] - 0.58 < beside["clip_start_s"] <= over["start_s"] - 0.5
    assert start_n + len(clip) == pytest.approx((over["end_s"] + 0.5) * rate_hz, abs=1)
    sent = soxr.resample(codes.astype(np.float64), RATE_HZ, rate_hz)
    place_of(clip, sent)
    assert beside["advice"]["sentence"]

    before = {path: path.read_bytes() for path in folder.iterdir()}
    again = tmp_path / "again"
    again.mkdir()
    live = Live(card, again, "--record", str(tapes))
    live.until(r"\d:\d\d\.\d  waiting")
    end(live)
    assert len(list(tapes.glob("recording *"))) == 2
    assert {path: path.read_bytes() for path in folder.iterdir()} == before


def test_killed_it_has_all_but_the_last_second(card: Any, played: Path, tmp_path: Path) -> None:
    # A second listener says what had been heard by the moment of the kill.
    raw = tmp_path / "second.raw"
    with raw.open("wb") as file:
        command = ["parec", f"--device={SINK}.monitor", "--format=s16le", "--channels=1", "--latency-msec=20"]
        second = subprocess.Popen([*command, f"--rate={HEARD_HZ}"], env=card.environment, stdout=file)
        card.children.append(second)
        live = start_talking(card, played, tmp_path, tmp_path / "tapes")
        time.sleep(1.3)
        os.kill(live.process.pid, signal.SIGKILL)
        heard_n = raw.stat().st_size // 2
        live.process.wait(PATIENCE_S)
        wait_until(lambda: raw.stat().st_size // 2 > heard_n + HEARD_HZ, "the second listener went on")
        second.terminate()
        second.wait(10.0)
    stream = kept_codes(recording_in(tmp_path / "tapes"))
    second_codes = np.fromfile(raw, dtype="<i2").astype(np.int32)
    tail = stream[-HEARD_HZ // 2 :]
    lost_s = (heard_n - place_of(tail, second_codes) - len(tail)) / HEARD_HZ
    print(f"\nlost {lost_s:.2f} s of {heard_n / HEARD_HZ:.1f} s")
    assert lost_s <= 1.0


def test_a_disk_that_fills_meanwhile_is_said_and_the_listening_goes_on(
    card: Any, played: Path, tmp_path: Path
) -> None:
    with disk_of(tmp_path / "disk", "80m") as disk:
        live = start_talking(card, played, tmp_path, disk)
        (disk / "somebody's").write_bytes(bytes(20 * 2**20))
        live.until(r"the disk is full")
        live.until(r"over \d+ .* voice")
        end(live)
        out = " ".join(live.out.split())
        assert out.count("what was recorded is kept. Listening goes on.") == 1
        folder = recording_in(disk)
        written_s = float(re.findall(r"recording stopped at ([\d.]+) s", out)[0])
        assert len(kept_codes(folder)) / HEARD_HZ == pytest.approx(written_s, abs=0.06)
        # Finished in good order, and nothing was added after.
        assert soundfile.info(folder / "part 0001.flac").frames == len(kept_codes(folder))
        journal = [json.loads(line) for line in (folder / "recording.jsonl").read_text().splitlines()]
        assert journal[-1]["why"] == "the disk is full"
