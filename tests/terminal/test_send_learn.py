"""``send learn``: a wrong name for the output file is refused before a sound is made."""

from pathlib import Path

import numpy as np
import pytest

from audiotest.__main__ import main
from audiotest.terminal import send


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
