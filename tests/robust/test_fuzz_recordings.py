"""Damaged recordings: a record with finite figures or one line that refuses, never anything else."""

from pathlib import Path

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from audiotest.terminal.check import Checked
from tests.robust.material import checked_or_refused, damaged, recordings

# One folder serves all examples of a test: each writes its file anew.
ONE_FOLDER = [HealthCheck.function_scoped_fixture, HealthCheck.too_slow, HealthCheck.data_too_large]


def test_the_undamaged_are_measured(tmp_path: Path) -> None:
    for content in recordings():
        path = tmp_path / "clip"
        path.write_bytes(content)
        found = checked_or_refused(path)
        assert isinstance(found, Checked), found
        assert [over.kind for over, _ in found.judged] == ["voice"]


@settings(max_examples=60, suppress_health_check=ONE_FOLDER)
@given(content=damaged(recordings()))
def test_damaged_files_are_measured_or_refused(tmp_path: Path, content: bytes) -> None:
    path = tmp_path / "clip.wav"
    path.write_bytes(content)
    checked_or_refused(path)


@settings(max_examples=60, suppress_health_check=ONE_FOLDER)
@given(
    head=st.sampled_from((b"", b"RIFF", b"fLaC", b"OggS", b"RF64", b"ID3", b"\xff\xfb", b"FORM", b"caff")),
    rest=st.binary(max_size=2000),
)
def test_rubbish_is_refused_or_measured(tmp_path: Path, head: bytes, rest: bytes) -> None:
    path = tmp_path / "rubbish"
    path.write_bytes(head + rest)
    checked_or_refused(path)
