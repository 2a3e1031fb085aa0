"""Drive by a known speech and by a stepped tone from the command line, and onto a sheet."""

import json

import numpy as np
import pytest
import soundfile as sf

from audiotest.__main__ import main
from audiotest.keep.benchresult import read_bench_result
from audiotest.radio.link import simulate
from audiotest.radio.settings import Receiver, SoundCard, Timing, Transmitter
from audiotest.terminal import bench as bench_command
from audiotest.tones.rehearsal import Rehearsal
from audiotest.tones.speechdrive import known_speech

TIMING = Timing(before_s=0.3, bare_carrier_s=0.3, after_s=0.2, end_s=0.3)


@pytest.fixture(scope="module")
def files(tmp_path_factory):
    """What was sent, what was heard, and recordings that are of no use; the truth beside them."""
    folder = tmp_path_factory.mktemp("known")
    signal = known_speech(seconds=6.0)
    made = simulate(
        signal.samples, signal.rate_hz, Transmitter(drive_db=11.0), Receiver(), SoundCard(), TIMING,
        seed=5, baseband_rate_hz=96000,
    )  # fmt: skip
    rng = np.random.default_rng(6)
    sounds = {
        "sent": 0.1 * signal.samples, "heard": made.audio,
        "other": 0.1 * known_speech("italian_male").samples, "silent": np.zeros(6 * 48000),
        "short": made.audio[: 2 * 48000], "hiss": 0.1 * rng.standard_normal(300000),
        "loud": np.clip(8.0 * made.audio, -1.0, 1.0),
    }  # fmt: skip
    for name, samples in sounds.items():
        sf.write(folder / f"{name}.wav", samples, 48000, subtype="PCM_16")
    (folder / "text.wav").write_text("no sound at all")
    return folder, made.truth[0]


def test_two_recordings_give_the_drive_and_it_goes_onto_a_sheet(files, capsys):
    folder, truth = files
    argv = [
        "bench",
        "drive-by-speech",
        "--sent",
        str(folder / "sent.wav"),
        "--heard",
        str(folder / "heard.wav"),
    ]
    assert main([*argv, "--speech-mv", "4", "--own-mv", "2", "--json"]) == 0
    out = capsys.readouterr().out
    document = json.loads(out)
    assert document["rehearsed"] is False
    assert document["complete"] is True
    figures = {figure["key"]: figure for figure in document["figures"]}
    # Half the millivolts of what was played: 6.02 dB less.
    assert figures["drive_db"]["value"] == pytest.approx(truth.drive_db - 6.02, abs=1.0)
    assert figures["drive_db"]["low"] <= truth.drive_db - 6.02 <= figures["drive_db"]["high"]
    lines = {line.quantity: line for line in read_bench_result(out.encode(), "drive.json").figures}
    assert lines["drive"].value == figures["drive_db"]["value"]
    assert lines["clipped"].value == figures["clipped_percent"]["value"]


@pytest.mark.parametrize(
    ("sent", "heard", "words"),
    [
        ("sent", "other", "not in the recording"),
        ("other", "heard", "not in the recording"),
        ("sent", "hiss", "not in the recording"),
        ("sent", "short", "not in the recording"),
        ("sent", "silent", "silent"),
        ("sent", "loud", "overloads"),
        ("sent", "text", "text.wav"),
        ("sent", "nowhere", "nowhere.wav"),
        ("nowhere", "heard", "nowhere.wav"),
    ],
)
def test_what_cannot_be_compared_is_refused_in_one_line(files, sent, heard, words, capsys):
    folder, _ = files
    argv = ["bench", "drive-by-speech", "--sent", f"{folder / sent}.wav", "--heard", f"{folder / heard}.wav"]
    assert main(argv) == 2
    captured = capsys.readouterr()
    assert words in captured.err
    assert captured.err.count("\n") == 1
    assert captured.out == ""


@pytest.mark.parametrize(
    ("argv", "words"),
    [
        (["drive-by-speech", "--sent", "a.wav"], "go together"),
        (["drive-by-speech", "--sent", "a.wav", "--heard", "b.wav", "--rehearse"], "--rehearse does not go"),
        (["drive-by-speech", "--rehearse", "--voice", "nobody"], "no voice named 'nobody'"),
        (["drive-by-speech"], "learned output"),
        (["drive-by-tone"], "learned output"),
        (["drive-by-tone", "--rehearse", "--tone-hz", "3000"], "3000 Hz"),
        (["squelch", "--rehearse", "--own-mv", "2"], "--own-mv goes with"),
        (["limiting", "--rehearse", "--voice", "english_reading"], "--voice goes with"),
    ],
)
def test_what_does_not_go_together_is_refused(argv, words, capsys):
    assert main(["bench", *argv]) == 2
    err = capsys.readouterr().err
    assert words in err
    assert err.count("\n") == 1


@pytest.mark.parametrize("procedure", ["drive-by-speech", "drive-by-tone"])
def test_an_interruption_prints_what_there_is_and_exits_130(procedure, capsys, monkeypatch):
    def stop(step):
        raise KeyboardInterrupt

    monkeypatch.setattr(bench_command, "rehearsal_for", lambda name, given: Rehearsal(on_step=stop))
    assert main(["bench", procedure, "--rehearse", "--json"]) == 130
    document = json.loads(capsys.readouterr().out)
    assert document["complete"] is False
    assert any("stopped early" in note for note in document["notes"])


def test_both_rehearsals_read_on_80_columns(capsys):
    for procedure, words in (
        ("drive-by-speech", "Mic gain down"),
        ("drive-by-tone", "the limiter clips, hard"),
    ):
        assert main(["bench", procedure, "--rehearse"]) == 0
        out = capsys.readouterr().out
        assert words in out
        assert max(len(line) for line in out.splitlines()) <= 80
