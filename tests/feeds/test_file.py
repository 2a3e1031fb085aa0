"""Recordings as they come: odd shapes, broken files and files that are no recordings."""

import os
import subprocess
import sys
from contextlib import closing
from pathlib import Path

import numpy as np
import pytest
import soundfile
from numpy.typing import NDArray

from audiotest.errors import FileError
from audiotest.feeds.file import RecordedSource, open_recording

RATE_HZ = 48000


def read_all(source: RecordedSource) -> NDArray[np.float32]:
    blocks = [block.samples for block in source.blocks()]
    source.close()
    return np.concatenate(blocks)


def noise(seconds: float, rate_hz: int = RATE_HZ, level: float = 0.1) -> NDArray[np.float32]:
    samples = level * np.random.default_rng(7).normal(size=round(seconds * rate_hz))
    return np.clip(samples, -0.99, 0.99).astype(np.float32)


@pytest.mark.parametrize(
    ("suffix", "options"),
    [("wav", {}), ("flac", {}), ("wav", {"format": "RF64"}), ("aiff", {}), ("w64", {})],
)
def test_lossless_formats_give_back_every_code(tmp_path: Path, suffix: str, options: dict[str, str]) -> None:
    codes = np.random.default_rng(1).integers(-32768, 32768, 150_001, dtype=np.int16)
    path = tmp_path / f"clip.{suffix}"
    soundfile.write(path, codes, RATE_HZ, **options)
    source = open_recording(path)
    assert (source.name, source.sample_rate_hz, source.notes) == (path.name, RATE_HZ, ())
    samples = read_all(source)
    assert samples.dtype == np.float32
    np.testing.assert_array_equal(samples * 32768.0, codes)
    assert source.notes == ()


@pytest.mark.parametrize("suffix", ["ogg", "mp3"])
def test_lossy_formats_keep_length_and_level(tmp_path: Path, suffix: str) -> None:
    tone = (0.3 * np.sin(2 * np.pi * 1000 * np.arange(RATE_HZ) / RATE_HZ)).astype(np.float32)
    path = tmp_path / f"clip.{suffix}"
    soundfile.write(path, tone, RATE_HZ)
    samples = read_all(open_recording(path))
    assert abs(len(samples) - RATE_HZ) < 0.1 * RATE_HZ
    assert np.std(samples[5000:-5000]) == pytest.approx(0.3 / np.sqrt(2), rel=0.05)


def test_eight_bit_has_the_scale_of_its_codes(tmp_path: Path) -> None:
    path = tmp_path / "eight.wav"
    soundfile.write(path, np.array([-1.0, 0.0, 0.5]), 8000, subtype="PCM_U8")
    np.testing.assert_allclose(read_all(open_recording(path)), [-1.0, 0.0, 0.5], atol=1 / 128)


def test_one_sample_is_a_recording(tmp_path: Path) -> None:
    path = tmp_path / "one.wav"
    soundfile.write(path, np.array([0.25], dtype=np.float32), RATE_HZ, subtype="FLOAT")
    np.testing.assert_array_equal(read_all(open_recording(path)), [0.25])


def test_384_khz_is_read_as_it_is(tmp_path: Path) -> None:
    path = tmp_path / "fast.wav"
    soundfile.write(path, noise(0.5, 384_000), 384_000)
    source = open_recording(path)
    assert source.sample_rate_hz == 384_000
    assert len(read_all(source)) == 192_000


def test_all_zero_is_a_recording_of_silence(tmp_path: Path) -> None:
    path = tmp_path / "zero.wav"
    soundfile.write(path, np.zeros((RATE_HZ, 2), dtype=np.float32), RATE_HZ)
    source = open_recording(path)
    assert source.channel == 1
    assert "silent" in source.notes[0]
    assert not np.any(read_all(source))


@pytest.mark.parametrize("live", [1, 2, 3])
def test_the_live_one_of_three_channels_is_taken(tmp_path: Path, live: int) -> None:
    signal = noise(1.0)
    t = np.arange(len(signal)) / RATE_HZ
    frames = np.stack([0.4 * np.sin(2 * np.pi * 50 * t) + 0.2, 1e-4 * signal, 1e-5 * signal], axis=1)
    frames[:, live - 1] = signal
    path = tmp_path / "three.wav"
    soundfile.write(path, frames, RATE_HZ, subtype="FLOAT")
    source = open_recording(path)
    assert source.channel == live
    assert f"channel {live} of 3" in source.notes[0]
    np.testing.assert_array_equal(read_all(source), signal)


def test_channels_alike_give_the_first_and_are_never_mixed(tmp_path: Path) -> None:
    signal = noise(1.0)
    path = tmp_path / "inverted.wav"
    soundfile.write(path, np.stack([signal, -1.2 * signal], axis=1), RATE_HZ, subtype="FLOAT")
    source = open_recording(path)
    assert source.channel == 1
    np.testing.assert_array_equal(read_all(source), signal)


def test_a_named_channel_is_taken_even_if_quiet(tmp_path: Path) -> None:
    signal = noise(0.2)
    path = tmp_path / "two.wav"
    soundfile.write(path, np.stack([signal, 0.001 * signal], axis=1), RATE_HZ, subtype="FLOAT")
    assert np.std(read_all(open_recording(path, 2))) == pytest.approx(1e-4, rel=0.02)
    with pytest.raises(FileError, match="has 2 channels, no channel 3: name one from 1 to 2"):
        open_recording(path, 3)


def test_a_second_channel_is_not_in_a_recording_of_one(tmp_path: Path) -> None:
    soundfile.write(tmp_path / "one.wav", noise(0.2), RATE_HZ)
    with pytest.raises(FileError, match="has one channel, no channel 2: leave --channel out"):
        open_recording(tmp_path / "one.wav", 2)


@pytest.mark.parametrize(
    ("suffix", "options"), [("wav", {}), ("wav", {"format": "RF64"}), ("flac", {}), ("aiff", {}), ("w64", {})]
)
def test_a_file_cut_in_the_middle_is_measured_and_said_so(
    tmp_path: Path, suffix: str, options: dict[str, str]
) -> None:
    signal = noise(4.0)
    path = tmp_path / f"cut.{suffix}"
    soundfile.write(path, signal, RATE_HZ, **options)
    path.write_bytes(path.read_bytes()[: path.stat().st_size // 2])
    source = open_recording(path)
    samples = read_all(source)
    assert 1.7 < len(samples) / RATE_HZ < 2.05
    np.testing.assert_allclose(samples, signal[: len(samples)], atol=2 / 32768)
    assert "breaks off: it promises 4.0 s" in source.notes[-1]


def test_a_streamed_wav_without_a_length_is_whole(tmp_path: Path) -> None:
    path = tmp_path / "pipe.wav"
    soundfile.write(path, noise(1.0), RATE_HZ)
    data = bytearray(path.read_bytes())
    at = data.find(b"data")
    data[4:8] = data[at + 4 : at + 8] = b"\xff\xff\xff\xff"
    path.write_bytes(data)
    source = open_recording(path)
    assert len(read_all(source)) == RATE_HZ
    assert source.notes == ()


@pytest.mark.parametrize(("subtype", "channels"), [("PCM_16", 1), ("PCM_24", 2), ("FLOAT", 1)])
def test_a_header_that_was_never_finished_is_read_over(tmp_path: Path, subtype: str, channels: int) -> None:
    path = tmp_path / "crashed.wav"
    samples = np.column_stack([noise(1.5)] * channels)
    soundfile.write(path, samples, RATE_HZ, subtype=subtype)
    whole = read_all(open_recording(path))
    content = bytearray(path.read_bytes())
    at_n = content.index(b"data") + 4
    content[4:8] = content[at_n : at_n + 4] = bytes(4)
    path.write_bytes(content)
    source = open_recording(path)
    assert "never finished" in source.notes[0]
    np.testing.assert_array_equal(read_all(source), whole)


def test_a_finished_file_without_audio_stays_refused(tmp_path: Path) -> None:
    path = tmp_path / "nothing.wav"
    soundfile.write(path, np.zeros(0, dtype=np.float32), RATE_HZ)
    content = bytearray(path.read_bytes()) + b"LIST\x04\x00\x00\x00INFO"
    content[4:8] = (len(content) - 8).to_bytes(4, "little")
    path.write_bytes(content)
    with pytest.raises(FileError, match="no audio"):
        open_recording(path)


@pytest.mark.parametrize("bad", [np.nan, np.inf, -np.inf])
def test_samples_that_are_no_numbers_are_refused_with_their_place(tmp_path: Path, bad: float) -> None:
    signal = noise(3.0)
    signal[120_000] = bad
    path = tmp_path / "nan.wav"
    soundfile.write(path, signal, RATE_HZ, subtype="FLOAT")
    with pytest.raises(FileError, match=r"2\.500 s of channel 1 is no finite number"):
        read_all(open_recording(path))


def test_a_spoilt_channel_that_is_not_taken_does_no_harm(tmp_path: Path) -> None:
    frames = np.stack([np.full(4800, np.nan, dtype=np.float32), noise(0.1)], axis=1)
    path = tmp_path / "half.wav"
    soundfile.write(path, frames, RATE_HZ, subtype="FLOAT")
    assert len(read_all(open_recording(path))) == 4800


def test_another_scale_than_full_scale_is_noted(tmp_path: Path) -> None:
    path = tmp_path / "codes.wav"
    soundfile.write(path, noise(0.1) * 20, RATE_HZ, subtype="FLOAT")
    source = open_recording(path)
    read_all(source)
    assert "times full scale" in source.notes[-1]


def refused(path: Path) -> str:
    with pytest.raises(FileError) as caught:
        read_all(open_recording(path))
    message = str(caught.value)
    assert message.startswith(str(path))
    assert "\n" not in message
    assert caught.value.remedy
    return message


def test_what_is_no_recording_is_refused_in_one_line(tmp_path: Path) -> None:
    text = tmp_path / "text.wav"
    text.write_text("a letter, not a recording\n" * 50)
    assert "not a recording" in refused(text)
    empty = tmp_path / "empty.wav"
    empty.touch()
    assert "empty" in refused(empty)
    bare = tmp_path / "bare.wav"
    soundfile.write(bare, np.zeros(0, dtype=np.float32), RATE_HZ)
    assert "no audio" in refused(bare)
    head = tmp_path / "head.flac"
    soundfile.write(head, noise(1.0), RATE_HZ)
    head.write_bytes(head.read_bytes()[:200])
    assert "no audio" in refused(head)
    raw = tmp_path / "headerless.raw"
    raw.write_bytes(bytes(1000))
    assert "not a recording" in refused(raw)


def test_places_that_hold_no_file_are_refused_in_one_line(tmp_path: Path) -> None:
    assert "directory" in refused(tmp_path)
    assert "no such file" in refused(tmp_path / "missing.wav")
    pipe = tmp_path / "pipe.wav"
    os.mkfifo(pipe)
    assert "ordinary file" in refused(pipe)
    with pytest.raises(FileError, match="cannot be read"):
        open_recording("nul\0byte.wav")


def test_a_rate_too_low_for_speech_is_refused(tmp_path: Path) -> None:
    slow = tmp_path / "slow.wav"
    soundfile.write(slow, noise(1.0, 5500), 5500)
    assert "5500 Hz" in refused(slow)


@pytest.mark.skipif(sys.platform == "win32", reason="file permissions of POSIX")
def test_a_file_without_permission_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "locked.wav"
    soundfile.write(path, noise(0.1), RATE_HZ)
    path.chmod(0)
    if os.geteuid() != 0:
        assert "permission denied" in refused(path)
        return
    # Root may read everything: ask as somebody else, in a place that somebody else may enter.
    for directory in (tmp_path, tmp_path.parent, tmp_path.parent.parent):
        directory.chmod(0o755)
    code = (
        "import os, sys\n"
        "from audiotest.errors import FileError\n"
        "from audiotest.feeds.file import open_recording\n"
        "os.setuid(65534)\n"
        "try: open_recording(sys.argv[1])\n"
        "except FileError as error: print(error)\n"
    )
    done = subprocess.run([sys.executable, "-c", code, str(path)], capture_output=True, text=True, check=True)
    assert "permission denied" in done.stdout


def test_closing_twice_is_safe(tmp_path: Path) -> None:
    path = tmp_path / "clip.wav"
    soundfile.write(path, noise(0.1), RATE_HZ)
    source = open_recording(path)
    source.close()
    source.close()
    with closing(open_recording(path)) as again:
        assert sum(len(block.samples) for block in again.blocks()) == round(0.1 * RATE_HZ)
