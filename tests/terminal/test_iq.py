"""``audiotest iq``: what an I/Q recording tells on the card and in the document."""

import numpy as np
import pytest
import soundfile as sf

from audiotest.__main__ import main
from audiotest.radio.iq import IqReceiver, am_tone_iq, fm_tone_iq
from audiotest.standards.fm import null_tone_hz
from tests.terminal.printed import document


@pytest.fixture
def bare(tmp_path):
    """A carrier without modulation."""
    made = fm_tone_iq(1000.0, 0.0, 1.0, IqReceiver(sample_rate_hz=48000, offset_hz=240.0), seed=1)
    sf.write(tmp_path / "bare.wav", made.stereo(), 48000)
    return str(tmp_path / "bare.wav")


@pytest.mark.parametrize("kind", [[], ["--am"]])
def test_a_tone_that_is_not_there_is_unknown_and_nothing_is_read_from_the_noise(kind, bare, capsys):
    assert main(["iq", bare, "--tone-hz", "1000", *kind]) == 0
    out = capsys.readouterr().out
    assert [line.split() for line in out.splitlines() if line.startswith((" tone", " note"))] == [
        ["tone", "unknown"], ["note", "no", "tone", "at", "1000", "Hz"],
    ]  # fmt: skip
    assert "distortion" not in out
    assert "carrier " not in out
    assert main(["iq", bare, "--tone-hz", "1000", "--json", *kind]) == 0
    found = document(capsys)
    assert found["notes"] == ["no tone at 1000 Hz"]
    assert (found["am"] or found["deviation"])["tone_hz"] is None
    assert found["carrier"] is None
    assert found["offset_hz"] == pytest.approx(240.0, abs=1.0)


@pytest.mark.parametrize(("cnr_db", "words"), [(60.0, "distortion 3.00 %"), (0.0, "hidden by noise")])
def test_a_distortion_below_the_noise_has_only_a_bound(cnr_db, words, tmp_path, capsys):
    t = np.arange(48000) / 48000
    swing = 1500.0 * (np.sin(2 * np.pi * 1000.0 * t) + 0.03 * np.sin(2 * np.pi * 3000.0 * t))
    iq = 0.2 * np.exp(2j * np.pi * np.cumsum(240.0 + swing) / 48000)
    noise = np.random.default_rng(1).standard_normal((48000, 2)) * 0.2 * 10.0 ** (-cnr_db / 20.0)
    sf.write(tmp_path / "tone.wav", np.stack([iq.real, iq.imag], axis=1) + noise / 2.0**0.5, 48000, "FLOAT")
    assert main(["iq", str(tmp_path / "tone.wav"), "--tone-hz", "1000"]) == 0
    (row,) = [line for line in capsys.readouterr().out.splitlines() if line.startswith(" tone")]
    assert row.endswith(words)


def test_a_tone_above_the_audio_is_refused(bare, capsys):
    assert main(["iq", bare, "--tone-hz", "5000", "--am"]) == 2
    assert "AM audio is measured up to 4500 Hz" in capsys.readouterr().err
    assert main(["iq", bare, "--tone-hz", "5000"]) == 0


def test_an_iq_recording_gives_deviation_offset_and_bandwidth(tmp_path, capsys):
    receiver = IqReceiver(sample_rate_hz=48000, offset_hz=240.0)
    tone_hz = null_tone_hz(2.5)
    made = fm_tone_iq(tone_hz, 2.5, 1.0, receiver, seed=1)
    sf.write(tmp_path / "fm.wav", made.stereo(), 48000)
    assert main(["iq", str(tmp_path / "fm.wav"), "--json", "--channel-khz", "20"]) == 0
    found = document(capsys)
    assert found["offset_hz"] == pytest.approx(240.0, abs=1.0)
    assert found["deviation"]["positive_khz"] == pytest.approx(2.5, abs=0.02)
    assert found["carrier"]["index"] == pytest.approx(2.4048, abs=0.02)
    assert found["carrier"]["carrier_db"] < -30.0
    assert found["am"] is None
    assert main(["iq", str(tmp_path / "fm.wav"), "--am"]) == 2
    assert "for FM measure the deviation" in capsys.readouterr().err
    sf.write(tmp_path / "one.wav", made.stereo()[:, 0], 48000)
    assert main(["iq", str(tmp_path / "one.wav")]) == 2
    assert "one.wav: has one channel, and I/Q needs two: record I on the left" in capsys.readouterr().err


@pytest.mark.parametrize("depth", [0.3, 0.85])
def test_an_am_recording_gives_its_depth_within_one_percent(depth, tmp_path, capsys):
    made = am_tone_iq(1000.0, depth, 1.0, IqReceiver(sample_rate_hz=48000, offset_hz=-310.0), seed=1)
    sf.write(tmp_path / "am.wav", made.stereo(), 48000)
    assert main(["iq", str(tmp_path / "am.wav"), "--am", "--json"]) == 0
    found = document(capsys)["am"]
    for key in ("positive_percent", "negative_percent", "depth_percent"):
        assert found[key] == pytest.approx(100.0 * depth, abs=1.0)
