"""``audiotest feed``: learn a scale from a simulated reference, then measure with it."""

import json
import tomllib

import pytest
import soundfile

from audiotest.__main__ import main
from audiotest.radio.link import laboratory_tone, simulate
from audiotest.radio.settings import Receiver, SoundCard, Timing, Transmitter
from audiotest.radio.voices import load_voice

RECEIVER = Receiver(if_bandwidth_khz=12.0, cnr_db=35.0, deemphasis_us=750.0, scale_khz_per_fs=8.0)
CARD = SoundCard(sample_rate_hz=48000)


@pytest.fixture
def tone(tmp_path):
    heard = laboratory_tone(1000.0, 1.5, 4.0, RECEIVER, CARD, seed=1)
    path = tmp_path / "tone.wav"
    soundfile.write(path, heard.audio, heard.sample_rate_hz)
    return path


def test_a_tone_gives_the_scale_that_check_then_uses(capsys, tmp_path, tone):
    feed = tmp_path / "bench.toml"
    request = ["feed", "learn", str(tone), "--tone-hz", "1000", "--deviation-khz", "1.5"]
    assert main([*request, "--deemphasis-us", "750", "-o", str(feed)]) == 0
    assert "8.0" in capsys.readouterr().out
    # The simulated receiver's own scale; a percent is the fit's share of the noise.
    assert tomllib.loads(feed.read_text())["scale_khz_per_fs"] == pytest.approx(8.0, rel=0.01)
    assert main(["check", "--json", str(tone), "--feed", str(feed)]) == 0
    whole = json.loads(capsys.readouterr().out)
    assert whole["feed"]["method"] == "tone"
    assert whole["files"][0]["overs"][0]["deviation"]["peak_khz"] == pytest.approx(1.5, rel=0.02)


def test_a_recording_without_the_tone_is_named(capsys, tmp_path, tone):
    request = ["feed", "learn", str(tone), "--tone-hz", "400", "--deviation-khz", "1.5"]
    assert main([*request, "-o", str(tmp_path / "bench.toml")]) == 2
    errors = capsys.readouterr().err
    assert "tone.wav" in errors
    assert errors.count("\n") == 1
    assert not (tmp_path / "bench.toml").exists()


def test_an_output_that_cannot_be_written_is_named(capsys, tmp_path, tone):
    request = ["feed", "learn", str(tone), "--tone-hz", "1000", "--deviation-khz", "1.5"]
    assert main([*request, "-o", str(tmp_path / "nowhere" / "bench.toml")]) == 2
    errors = capsys.readouterr().err
    assert "bench.toml" in errors
    assert errors.count("\n") == 1


def test_hiss_gives_a_rough_scale_and_says_so(capsys, tmp_path):
    voice, rate_hz = load_voice("english_reading")
    heard = simulate(
        voice[: 2 * rate_hz], rate_hz, Transmitter(drive_db=5.0), RECEIVER, CARD, Timing(before_s=4.0), seed=2
    )
    path, feed = tmp_path / "hiss.wav", tmp_path / "rough.toml"
    soundfile.write(path, heard.audio[: round(3.9 * 48000)], 48000)
    request = ["feed", "hiss", str(path), "--if-bandwidth-khz", "12", "--deemphasis-us", "750"]
    assert main([*request, "-o", str(feed)]) == 0
    assert "rough" in capsys.readouterr().out
    # 1.5 dB is what a scale from hiss claims.
    assert tomllib.loads(feed.read_text())["scale_khz_per_fs"] == pytest.approx(8.0, rel=0.19)
