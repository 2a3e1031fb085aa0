"""Recordings at the edge: names that are no UTF-8, samples that no sound card gives, a talkative decoder."""

import os
import sys
from pathlib import Path

import numpy as np
import pytest
import soundfile

from audiotest.errors import FileError
from audiotest.feeds.chatter import decoder_silenced
from audiotest.feeds.file import LOSSY_FORMATS, open_recording

RATE_HZ = 48000
TONE = 0.5 * np.sin(2 * np.pi * 1000.0 * np.arange(RATE_HZ) / RATE_HZ)


def read(path: str | Path) -> np.ndarray:
    source = open_recording(path)
    try:
        return np.concatenate([block.samples for block in source.blocks()])
    finally:
        source.close()


@pytest.mark.skipif(sys.platform in ("win32", "darwin"), reason="names are text there")
def test_a_name_that_is_no_utf_8_is_read(tmp_path: Path) -> None:
    plain = tmp_path / "plain.wav"
    soundfile.write(plain, TONE, RATE_HZ)
    odd = os.fsencode(tmp_path) + b"/lat\xe9in.wav"
    os.rename(plain, odd)
    assert len(read(os.fsdecode(odd))) == RATE_HZ


@pytest.mark.parametrize("codes", [2**15, 2**23, 1e30])
def test_integer_codes_kept_as_floats_are_refused(tmp_path: Path, codes: float) -> None:
    path = tmp_path / "codes.wav"
    soundfile.write(path, codes * TONE, RATE_HZ, subtype="FLOAT")
    with pytest.raises(FileError, match="not the codes of a sound card: write it again"):
        read(path)


def test_headroom_of_a_float_recorder_is_read_with_a_note(tmp_path: Path) -> None:
    path = tmp_path / "float.wav"
    soundfile.write(path, 8.0 * TONE, RATE_HZ, subtype="FLOAT")
    source = open_recording(path)
    assert sum(len(block.samples) for block in source.blocks()) == RATE_HZ
    assert any("4 times full scale" in note for note in source.notes)
    source.close()


def test_a_lossy_file_far_over_full_scale_is_called_damaged(tmp_path: Path) -> None:
    # What a decoder makes of damaged data, here by honest coding of such samples.
    wild, whole = tmp_path / "wild.ogg", tmp_path / "whole.ogg"
    soundfile.write(wild, 40.0 * TONE, RATE_HZ, format="OGG")
    with pytest.raises(FileError, match="times full scale: the file is damaged"):
        read(wild)
    soundfile.write(whole, TONE, RATE_HZ, format="OGG")
    assert np.max(np.abs(read(whole))) < 1.0


def test_the_decoder_keeps_its_remarks_to_itself(tmp_path: Path, capfd: pytest.CaptureFixture[str]) -> None:
    rng = np.random.default_rng(1)
    path = tmp_path / "damaged.mp3"
    soundfile.write(path, 0.2 * rng.standard_normal(4 * RATE_HZ), RATE_HZ, format="MP3")
    content = bytearray(path.read_bytes())
    for at_n in rng.integers(len(content) // 10, len(content), 3000):
        content[at_n] = rng.integers(256)
    path.write_bytes(content)
    with soundfile.SoundFile(path) as sound:
        assert sound.format in LOSSY_FORMATS
        sound.read(RATE_HZ // 2)
    assert capfd.readouterr().err, "this decoder says nothing: the test shows nothing"
    assert len(read(path)) > 0
    assert capfd.readouterr().err == ""
    os.write(2, b"heard again\n")
    assert capfd.readouterr().err == "heard again\n"


def test_standard_error_comes_back_after_a_failure(capfd: pytest.CaptureFixture[str]) -> None:
    def fail() -> None:
        with decoder_silenced(True):
            os.write(2, b"unheard\n")
            raise ValueError("fault")

    with pytest.raises(ValueError, match="fault"):
        fail()
    os.write(2, b"heard\n")
    assert capfd.readouterr().err == "heard\n"


def test_a_recording_without_a_name_is_refused() -> None:
    with pytest.raises(FileError, match="name of the recording is empty"):
        open_recording("")
