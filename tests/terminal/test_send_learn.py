"""``send`` and ``send learn``: what is wrong is refused, with the remedy, before a sound is made."""

import io
from pathlib import Path

import numpy as np
import pytest

from audiotest.__main__ import main
from audiotest.terminal import send
from audiotest.tones.level import OutputScale, save_output


def test_a_recording_is_not_replaced_and_nothing_is_played(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    played: list[np.ndarray] = []
    monkeypatch.setattr(send, "_play", lambda samples, *_: played.append(samples))
    monkeypatch.setattr(send, "ask_leave", lambda *_, **__: None)
    recording = tmp_path / "short.wav"
    recording.write_bytes(b"RIFF....WAVE")
    assert main(["send", "learn", "--output", str(recording)]) == 2
    error = capsys.readouterr().err.strip()
    assert "short.wav: is there already and is not an output file: name another" in error
    assert "\n" not in error
    assert recording.read_bytes() == b"RIFF....WAVE"
    assert not played


@pytest.mark.parametrize(("argv", "words"), [
    (["send", "learn", "--output", "x.toml", "--wav", "x.wav"], "--wav does not go with learn"),
    (["send", "learn", "--output", "x.toml", "--ceiling-mv", "1e9"], "not from 0.01 to 20000 mV"),
    (["send", "voice", "--millivolt", "3"], "give one of arabic_male"),
    (["send", "call", "12345", "--millivolt", "3"], "needs 2 values, not 1: give a set and the digits"),
    (["send", "keys", "1", "2", "--millivolt", "3"], "as one word"),
    (["bench", "squelch", "--rehearse", "--feed", ""], "name a feed file"),
    (["heard", "over.wav", "--feed", ""], "name a feed file"),
    (["bench", "squelch", "--output", ""], "name of the output file is empty"),
])  # fmt: skip
def test_a_slip_is_refused_with_its_remedy(
    argv: list[str], words: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(argv) == 2
    said = capsys.readouterr()
    assert words in said.err
    assert said.out == ""


def test_an_empty_name_of_a_wav_file_never_sounds_instead(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    played: list[np.ndarray] = []
    monkeypatch.setattr(send, "_play", lambda samples, *_: played.append(samples))
    output = tmp_path / "out.toml"
    save_output(OutputScale(name="out", full_scale_mv=100.0, ceiling_mv=20.0), output)
    argv = ["send", "tone", "1000", "--millivolt", "5", "--output", str(output), "--confirmed"]
    assert main([*argv, "--wav", ""]) == 2
    assert "the name of the WAV file is empty" in capsys.readouterr().err
    assert not played


def test_learning_does_not_tell_how_long_to_key(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("sys.stdin", io.StringIO("no\n"))
    assert main(["send", "learn", "--output", str(tmp_path / "out.toml")]) == 2
    out = " ".join(capsys.readouterr().out.split())
    assert "Keep the transmitter unkeyed" in out
    assert "Key down" not in out
