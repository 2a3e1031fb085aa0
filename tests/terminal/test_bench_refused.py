"""Bench commands with what they cannot do: refused in one line before anything is measured or sounds."""

import io
from pathlib import Path

import pytest
import soundfile as sf
from rich.console import Console

from audiotest.__main__ import main
from audiotest.radio.iq import IqReceiver, fm_tone_iq
from audiotest.terminal import bench as bench_command
from audiotest.terminal import send
from audiotest.terminal.benchfiles import OPTION_OF
from audiotest.terminal.benchoptions import PROCEDURES
from audiotest.terminal.liveline import LiveLine, bar
from audiotest.terminal.sinad import BAR_DB, MARKS_DB
from audiotest.tones.byhand import NULL_BY_HAND
from audiotest.tones.level import OutputScale, save_output

REHEARSE = ["bench", "squelch", "--rehearse"]


@pytest.fixture
def at_a_bench(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder with a learned output, where anything that would sound or measure fails the test."""
    save_output(OutputScale(name="out", full_scale_mv=100.0, ceiling_mv=20.0), tmp_path / "out.toml")
    (tmp_path / "notes.txt").write_text("notes")
    (tmp_path / "deep.toml").write_text("a=" + "[" * 5000)
    (tmp_path / "long.toml").write_text("a=1" + "0" * 5000)
    (tmp_path / "huge.toml").write_text(
        f'schema = "audiotest-output-1"\nfull_scale_mv = 1{"0" * 400}\nceiling_mv = 10'
    )
    monkeypatch.chdir(tmp_path)

    def never(*_: object, **__: object) -> None:
        raise AssertionError("it went on")

    monkeypatch.setattr(send, "_play", never)
    monkeypatch.setattr(bench_command, "carry_out", never)
    return tmp_path


@pytest.mark.parametrize(("argv", "words"), [
    # Options that would do nothing.
    ([*REHEARSE, "--device", "3"], "--device is for the sound card"),
    ([*REHEARSE, "--channel", "2"], "--channel is for the sound card"),
    ([*REHEARSE, "--output", "out.toml"], "--output is for the sound card"),
    ([*REHEARSE, "--nominal-mhz", "27"], "--nominal-mhz goes with frequency and frequency-iq"),
    ([*REHEARSE, "--tolerance-hz", "300"], "--tolerance-hz goes with frequency and frequency-iq"),
    ([*REHEARSE, "--lower-sideband"], "--lower-sideband goes with frequency:"),
    ([*REHEARSE, "--swapped"], "--swapped goes with frequency-iq and carrier-null-hand"),
    ([*REHEARSE, "--deemphasis-us", "0"], "--deemphasis-us goes with carrier-null and"),
    ([*REHEARSE, "--start-dbm", "-100"], "--start-dbm goes with sensitivity:"),
    (["bench", "sensitivity", "--rehearse", "--start-mv", "3"], "carrier-null and drive-by-tone"),
    (["bench", "carrier-null-hand", "--rehearse", "--swapped"], "--swapped goes with --iq"),
    (["sinad", "--rehearse", "--channel", "1"], "--rehearse needs no recording, device or channel"),
    (["send", "learn", "--output", "x.toml", "--millivolt", "3"], "--millivolt does not go with learn"),
    (["send", "learn", "--output", "x.toml", "--seconds", "3"], "--seconds does not go with learn"),
    (["send", "learn", "1000", "--output", "x.toml"], "learn takes no value"),
    (["send", "keys", "12", "--seconds", "3"], "--seconds does not go with keys"),
    (["send", "tone", "440", "--ceiling-mv", "9"], "--ceiling-mv goes with learn"),
    (["send", "tone", "440", "--device", "1", "--wav", "x.wav"], "--wav writes a file"),
    # Numbers that cannot be.
    (["bench", "squelch", "--channel", "0"], "numbers start from 1"),
    (["sinad", "x.wav", "--channel", "0"], "numbers start from 1"),
    (["heard", "x.wav", "--channel", "-1"], "numbers start from 1"),
    (["bench", "limiting", "--start-mv", "1e-300"], "not from 0.001 to 20000 mV"),
    (["bench", "drive-by-tone", "--own-mv", "1e9"], "not from 0.001 to 20000 mV"),
    (["bench", "drive-by-speech", "--speech-mv", "nan"], "not from 0.001 to 20000 mV"),
    (["bench", "carrier-null", "--deemphasis-us", "1e9"], "not from 0 to 5000 µs"),
    (["iq", "x.wav", "--am", "--channel-khz", "8.9"], "AM carries audio up to 4.5 kHz on both sides: give 9"),
    (["iq", "x.wav", "--tone-hz", "1e9"], "not from 20 to 6000 Hz"),
    (["iq", "x.wav", "--tone-hz", "1e-9"], "not from 20 to 6000 Hz"),
    (["send", "voice", "english_reading", "--seconds", "0.01", "--millivolt", "1", "--output", "out.toml"],
     "0.01 s of a voice is no speech: ask for 0.1 s or more"),
    # A first level over what may be sent: refused, not turned down.
    (["bench", "drive-by-tone", "--rehearse", "--start-mv", "600"], "over what may be sent, 495 mV"),
    # Files that are none.
    (["bench", "limiting", "--output", ""], "the name of the output file is empty"),
    (["bench", "limiting", "--output", "deep.toml"], "deep.toml: no output file, it is no TOML"),
    (["bench", "limiting", "--output", "long.toml"], "long.toml: no output file, it is no TOML"),
    (["bench", "limiting", "--output", "huge.toml"], "'full_scale_mv' is 100"),
    (["bench", "carrier-null", "--rehearse", "--feed-out", ""], "is no name of a file"),
    (["bench", "carrier-null", "--rehearse", "--feed-out", "notes.txt"], "is not a feed file"),
    (["bench", "carrier-null", "--rehearse", "--feed-out", "."], "is not an ordinary file"),
    (["bench", "carrier-null", "--rehearse", "--feed-out", "gone/x.toml"], "there is no folder"),
])  # fmt: skip
def test_what_cannot_be_done_is_refused_in_one_line(
    argv: list[str], words: str, at_a_bench: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    before = sorted(path.name for path in at_a_bench.iterdir())
    assert main(argv) == 2
    said = capsys.readouterr()
    assert words in said.err
    assert said.err.count("\n") == 1
    assert len(said.err) < 300
    assert "fault of the program" not in said.err
    assert said.out == ""
    assert sorted(path.name for path in at_a_bench.iterdir()) == before


def test_the_table_of_options_names_procedures_that_there_are() -> None:
    assert {name for procedures in OPTION_OF.values() for name in procedures} <= set(PROCEDURES)


def test_a_measurement_that_fails_names_its_recording(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    made = fm_tone_iq(1000.0, 1.5, 0.1, IqReceiver(sample_rate_hz=48000), seed=1)
    sf.write(tmp_path / "short.wav", made.stereo(), 48000)
    assert main(["iq", str(tmp_path / "short.wav")]) == 2
    assert "short.wav: too short for a carrier measurement: record" in capsys.readouterr().err


def test_a_wav_file_that_cannot_be_written_to_its_end_is_not_left_there(
    at_a_bench: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    class Full(io.FileIO):
        """A file on a drive that is full."""

        def write(self, data: object, /) -> int:
            raise OSError(28, "No space left on device")

    monkeypatch.setattr(Path, "open", lambda self, mode: Full(self, "x"))
    path = at_a_bench / "tone.wav"
    argv = ["send", "tone", "440", "--millivolt", "1", "--output", "out.toml", "--wav", str(path)]
    assert main(argv) == 2
    assert "tone.wav: cannot be written: No space left on device" in capsys.readouterr().err
    assert not path.exists()


@pytest.mark.parametrize("width", [25, 30, 40, 80, 200])
def test_a_bar_is_seen_whole_on_every_terminal(width: int) -> None:
    # Cut off at its right a bar would look full from the cut on, and hide the mark to turn to.
    shown = io.StringIO()
    with LiveLine(Console(file=shown, force_terminal=True, width=width, highlight=False)) as line:
        drawn = bar(30.0, *BAR_DB, MARKS_DB, width=line.bar_width)
        line.show([drawn])
    assert drawn in shown.getvalue()
    assert drawn.endswith("| 40 dB")
    assert drawn.count("|") == 4
    assert len(drawn) <= width - 3


@pytest.mark.parametrize(
    ("argv", "words"),
    [
        (["bench", "limiting"], "learned scale"),
        (["bench", "squelch", "--limits", "nowhere"], "nowhere"),
        (["bench", "dance"], "dance"),
        (["send", "tone", "1000"], "no level"),
        (["send", "tone", "1000", "--millivolt", "3"], "not known"),
        (["send", "tone", "x", "--millivolt", "3"], "no frequencies"),
        (["send", "tone", "--millivolt", "3"], "needs 1 value"),
        (["send", "steps", "--millivolt", "3"], "one value or more"),
        (["send", "burst", "5", "--millivolt", "3"], "takes no value"),
        (["send", "noise", "7", "--millivolt", "3"], "takes no value"),
        (["bench", NULL_BY_HAND, "--rehearse", "--wanted-khz", "0.01"], "not from 0.5 to 6 kHz"),
        (["send", "learn"], "--output"),
        (["bench", "squelch", "--rehearse", "--iq"], "--iq goes with carrier-null-hand"),
        (["bench", "squelch", "--rehearse", "--wanted-khz", "2"], "--wanted-khz goes with"),
        (["bench", "squelch", "--rehearse", "--feed-out", "x.toml"], "--feed-out goes with carrier-null and"),
        (["sinad", "--rehearse", "/nowhere.wav"], "--rehearse"),
        (["heard", "/nowhere.wav"], "nowhere.wav"),
        (["iq", "/nowhere.wav"], "nowhere.wav"),
        (["iq", "a.wav", "--seconds", "5"], "--seconds is for the sound card"),
        (["iq", "a.wav", "--device", "2"], "--device is for the sound card"),
        (["iq", "a.wav", "--channel-khz", "11.9"], "give 12 or more"),
        (["sinad", "a.wav", "--device", "2"], "--device is for the sound card"),
    ],
)
def test_what_cannot_be_done_is_said_in_one_line(argv, words, capsys):
    assert main(argv) == 2
    err = capsys.readouterr().err
    assert words in err
    assert err.count("\n") == 1


@pytest.mark.parametrize("level", ["999", "-999", "nan", "1e30"])
def test_a_generator_level_that_cannot_be_is_refused(level, capsys):
    assert main(["bench", "sensitivity", f"--start-dbm={level}", "--rehearse"]) == 2
    errors = capsys.readouterr().err
    assert "--start-dbm" in errors
    assert "not from -140 to 0 dBm" in errors
    assert errors.count("\n") == 1


def test_a_channel_wider_than_any_is_refused(capsys):
    assert main(["iq", "iq.wav", "--channel-khz", "1e9"]) == 2
    assert "not from 1 to 250 kHz" in capsys.readouterr().err
