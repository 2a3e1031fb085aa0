"""``audiotest heard``: what was sent is named, the end beep too."""

import numpy as np
import pytest
import soundfile as sf

from audiotest.__main__ import main
from audiotest.radio.link import simulate
from audiotest.radio.settings import Receiver, SoundCard, Timing, Transmitter
from audiotest.radio.voices import load_voice
from audiotest.tones.level import OutputScale, prepare
from audiotest.tones.signals import dtmf, speech, subaudible
from tests.terminal.printed import document


def test_what_was_sent_is_heard(tmp_path, capsys):
    scale = OutputScale(name="out", full_scale_mv=100.0)
    rate = 48000
    keys, voice = dtmf("59#"), speech("english_reading", 3.0)
    x = np.concatenate([np.zeros(rate // 4), prepare(keys, 10.0, scale), prepare(voice, 5.0, scale)])
    x = x + 0.02 * subaudible(103.5, len(x) / rate).samples[: len(x)]
    sf.write(tmp_path / "over.wav", x, rate)
    assert main(["heard", str(tmp_path / "over.wav"), "--json"]) == 0
    found = document(capsys)
    assert [key["key"] for key in found["keys"]] == ["5", "9", "#"]
    assert found["subaudible"]["table_hz"] == 103.5
    assert found["subaudible"]["deviation_khz"] is None
    assert found["burst"] is None
    assert found["calls"] == []
    assert main(["heard", str(tmp_path / "over.wav")]) == 0
    assert "the table's 103.5" in capsys.readouterr().out


def test_an_end_beep_is_heard_before_the_hiss_that_follows(tmp_path, capsys):
    # 'check' finds it there, and 'record' cuts its files half a second beyond the carrier.
    voice, rate_hz = load_voice("english_reading")
    sender = Transmitter(end_beep_hz=1750.0)
    heard = simulate(voice[: 5 * rate_hz], rate_hz, sender, Receiver(), SoundCard(), Timing(), seed=5)
    path = str(tmp_path / "over.wav")
    sf.write(path, heard.audio, heard.sample_rate_hz)
    assert main(["check", path, "--json"]) == 0
    (over,) = document(capsys)["files"][0]["overs"]
    assert main(["heard", path, "--json"]) == 0
    assert document(capsys)["end_beep"] == {
        key: pytest.approx(over["end_beep"][key], abs=1e-3) for key in ("frequency_hz", "start_s", "end_s")
    }
    assert main(["heard", path]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert any(line.startswith(" end beep    175") for line in lines)
    # A label as wide as its column would run into the text.
    assert all(line[12] == " " for line in lines)
