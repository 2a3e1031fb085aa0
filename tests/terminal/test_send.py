"""``audiotest send``: nothing sounds without a plain yes, nor over the ceiling."""

import io
import wave
from typing import ClassVar

import numpy as np
import pytest

from audiotest.__main__ import main
from audiotest.terminal import send as send_command
from audiotest.tones.level import OutputScale, save_output


@pytest.fixture
def learned(tmp_path):
    path = tmp_path / "out.toml"
    save_output(OutputScale(name="out", full_scale_mv=100.0, ceiling_mv=20.0), path)
    return path


class Played:
    """Stands for the sound card's output."""

    made: ClassVar = []

    def __init__(self, device, rate_hz):
        self.rate_hz, self.samples, self.playing, self.closed = rate_hz, None, False, False
        Played.made.append(self)

    def play(self, samples):
        self.samples = samples

    def stop(self):
        self.playing = False

    def close(self):
        self.closed = True


@pytest.fixture
def card(monkeypatch):
    Played.made = []
    monkeypatch.setattr(send_command, "SoundOutput", Played)
    return Played.made


def test_nothing_sounds_without_a_yes(learned, card, capsys, monkeypatch):
    argv = ["send", "tone", "1000", "--millivolt", "5", "--output", str(learned)]
    for typed in ("no\n", ""):
        monkeypatch.setattr("sys.stdin", io.StringIO(typed))
        assert main(argv) == 2
        assert card == []
    out = capsys.readouterr().out
    for word in ("will be transmitted", "dummy load", "licence", "headphones", "Key down only"):
        assert word in out
    monkeypatch.setattr("sys.stdin", io.StringIO("yes\n"))
    assert main(argv) == 0
    assert len(card) == 1
    assert card[0].closed
    assert np.max(np.abs(card[0].samples)) == pytest.approx(0.05, rel=0.01)


def test_over_the_ceiling_is_refused_even_when_confirmed(learned, card, capsys):
    argv = ["send", "tone", "1000", "--millivolt", "19", "--output", str(learned), "--confirmed"]
    assert main(argv) == 2
    assert "ceiling" in capsys.readouterr().err
    assert card == []


def test_an_output_is_learned_with_a_meter(tmp_path, card, monkeypatch, capsys):
    monkeypatch.setattr("sys.stdin", io.StringIO("yes\n7,75\n"))
    path = tmp_path / "new.toml"
    assert main(["send", "learn", "--output", str(path)]) == 0
    assert "77.5 mV" in capsys.readouterr().out
    assert np.max(np.abs(card[0].samples)) == pytest.approx(0.1, rel=0.01)


def test_a_wav_file_instead_of_sound(learned, tmp_path, card):
    path = tmp_path / "keys.wav"
    argv = ["send", "keys", "123", "--millivolt", "5", "--output", str(learned), "--wav", str(path)]
    assert main(argv) == 0
    assert card == []
    with wave.open(str(path)) as file:
        assert file.getframerate() == 48000
    assert main(argv) == 2  # it is there already
