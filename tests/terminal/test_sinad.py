"""``audiotest sinad`` from the command line: a falling tone, and what it says when there is none."""

import io
import json
import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import soundfile
from rich.console import Console

from audiotest.__main__ import main
from audiotest.measure.sinad import SinadReading, sinad_readings
from audiotest.radio.bench import receive_levels, receive_tone
from audiotest.terminal.liveline import LiveLine
from audiotest.terminal.sinad import _show
from audiotest.tones.rehearsal import DEMO_RECEIVER
from tests.terminal.printed import document

RATE = 16000


@pytest.fixture
def written(tmp_path: Path):  # type: ignore[no-untyped-def]
    def write(samples) -> str:  # type: ignore[no-untyped-def]
        path = tmp_path / "heard.wav"
        soundfile.write(path, samples, RATE)
        return str(path)

    return write


def test_hiss_has_no_sinad(written, capsys: pytest.CaptureFixture[str]) -> None:  # type: ignore[no-untyped-def]
    file = written(0.1 * np.random.default_rng(1).standard_normal(3 * RATE))
    assert main(["sinad", file]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert len(lines) == 11
    assert all("no steady tone near 1000 Hz" in line and "dB" not in line for line in lines)
    assert main(["sinad", "--json", file]) == 0
    for reading in json.loads(capsys.readouterr().out)["readings"]:
        assert reading["sinad_db"] is reading["sinad_sd_db"] is reading["frequency_hz"] is None
        assert "no steady tone" in reading["note"]


def test_silence_is_said(written, capsys: pytest.CaptureFixture[str]) -> None:  # type: ignore[no-untyped-def]
    assert main(["sinad", written(np.zeros(2 * RATE))]) == 0
    assert capsys.readouterr().out.count("no audio") == 6


def test_a_recording_too_short_is_refused(written, capsys: pytest.CaptureFixture[str]) -> None:  # type: ignore[no-untyped-def]
    assert main(["sinad", written(np.zeros(RATE // 2))]) == 2
    assert "too short for a SINAD reading" in capsys.readouterr().err


@pytest.mark.parametrize("hz", ["5000", "100", "nan"])
def test_a_tone_outside_its_own_band_is_refused(hz: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["sinad", "heard.wav", "--tone-hz", hz]) == 2
    errors = capsys.readouterr().err
    assert "--tone-hz" in errors
    assert "not from 300 to 3000 Hz" in errors


def readings(capsys: pytest.CaptureFixture[str]) -> list[dict[str, float]]:
    document = json.loads(capsys.readouterr().out)
    assert document["schema"] == "audiotest-sinad-1"
    rows: list[dict[str, float]] = document["readings"]
    return rows


def test_a_rehearsal_reads_five_times_a_second_with_its_uncertainty(
    capsys: pytest.CaptureFixture[str],
) -> None:
    assert main(["sinad", "--rehearse", "--seconds", "8", "--json"]) == 0
    rows = readings(capsys)
    assert [row["time_s"] for row in rows] == pytest.approx([1.0 + 0.2 * k for k in range(36)])
    assert all(row["sinad_db"] < row["sinad_psophometric_db"] for row in rows)
    assert all(0.05 < row["sinad_sd_db"] < 1.5 for row in rows)
    # The simulated generator is turned down, half a decibel every 0.6 s.
    assert rows[0]["sinad_db"] - rows[-1]["sinad_db"] > 3.0


def test_the_uncertainty_of_a_reading_is_what_readings_scatter_by() -> None:
    unit = replace(DEMO_RECEIVER, squelch_open_dbm=None, squelch_close_dbm=None)
    for level_dbm in (-112.0, -119.0):
        heard = receive_tone(level_dbm, 1000.0, 1.5, 31.0, unit, seed=9)
        rows = list(sinad_readings(heard.audio[24000:], heard.sample_rate_hz, every_s=1.0))
        values = np.array([row.sinad_db for row in rows])
        said = np.sqrt(np.mean(np.square([row.sinad_sd_db or 0.0 for row in rows])))
        # Thirty readings know their own scatter within about 13 %: three times that.
        assert np.std(values, ddof=1) == pytest.approx(said, rel=0.4)


def test_on_a_terminal_two_lines_stay_in_place_and_marks_passed_are_left_above() -> None:
    shown = io.StringIO()
    console = Console(file=shown, force_terminal=True, width=80, highlight=False)
    rows = [reading(15.0, 1.0), reading(11.5, 1.2)]
    with LiveLine(console) as line:
        _show(line, rows[0], None)
        _show(line, rows[1], rows[0])
    text = shown.getvalue()
    assert "passed 12 dB SINAD" in text
    assert "\x1b[1A" in text
    plain = re.sub("\x1b\\[[0-9;?]*[A-Za-z]", "", text)
    assert max(len(part) for part in re.split(r"[\r\n]+", plain)) <= 80
    assert text.rstrip().endswith("\x1b[2K")


def test_piped_each_reading_is_a_line() -> None:
    shown = io.StringIO()
    with LiveLine(Console(file=shown, width=80)) as line:
        _show(line, reading(15.0, 1.0), None)
        _show(line, reading(11.5, 1.2), reading(15.0, 1.0))
    lines = shown.getvalue().splitlines()
    assert len(lines) == 2
    assert lines[1].endswith(" 12")


def test_the_figure_is_on_the_narrowest_terminal() -> None:
    shown = io.StringIO()
    with LiveLine(Console(file=shown, force_terminal=True, width=30, highlight=False)) as line:
        _show(line, reading(11.5, 1.0), None)
    assert "SINAD   11.5 ± 0.6 dB" in shown.getvalue()


def reading(sinad_db: float, time_s: float) -> SinadReading:
    return SinadReading(
        time_s=time_s, frequency_hz=1000.0, level_dbfs=-20.0, sinad_db=sinad_db, sinad_sd_db=0.3,
        psophometric_db=sinad_db + 3.0, psophometric_sd_db=0.3,
    )  # fmt: skip


@pytest.mark.parametrize(
    "call",
    [
        ["sinad", ""],
        ["iq", ""],
        ["heard", ""],
        ["check", ""],
        ["bench", "drive-by-speech", "--sent", "", "--heard", ""],
    ],
)
def test_an_empty_name_is_no_sound_card(call: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    assert main(call) == 2
    assert capsys.readouterr().err == "audiotest: the name of the recording is empty: name a file\n"


@pytest.fixture(scope="module")
def falling(tmp_path_factory):
    """A receiver's audio while the generator falls through the mark."""
    heard = receive_levels([-100.0, -125.0], 2.0, 1000.0, 1.5, DEMO_RECEIVER, seed=3)
    path = tmp_path_factory.mktemp("sinad") / "falling.wav"
    soundfile.write(path, heard.audio, heard.sample_rate_hz)
    return str(path)


def test_sinad_five_times_a_second(falling, capsys):
    assert main(["sinad", falling, "--json"]) == 0
    rows = document(capsys)["readings"]
    assert np.diff([row["time_s"] for row in rows]) == pytest.approx(0.2)
    # The first window holds the squelch as it opens; at the end the tone has gone under in the noise.
    read = [row for row in rows if row["note"] is None]
    assert max(row["sinad_db"] for row in read) > 20.0
    assert read[-1]["sinad_db"] < 12.0
    assert rows[-1]["note"] == "no steady tone near 1000 Hz"
    assert all(row["sinad_sd_db"] > 0.0 for row in read)
    assert main(["sinad", falling, "--seconds", "2"]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert len(lines) == 6
    assert max(len(line) for line in lines) <= 80
