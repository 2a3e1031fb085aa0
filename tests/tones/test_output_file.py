"""What a learned output is never written over: whatever is no output file of ours."""

import os
from pathlib import Path

import pytest

from audiotest.errors import FileError
from audiotest.feeds.feedfile import save_feed
from audiotest.records import Feed
from audiotest.tones.level import OutputScale, load_output, save_output

SCALE = OutputScale(name="bench", full_scale_mv=77.5, ceiling_mv=50.0)
FEED = Feed(
    name="bench", method="tone", scale_khz_per_fs=6.25, scale_uncertainty_db=0.2, deemphasis_us=750.0,
    tone_hz=1000.0, deviation_khz=1.5, if_bandwidth_khz=None, hiss_dbfs=-14.5, learned="2024-02-29",
)  # fmt: skip


@pytest.mark.parametrize(
    "content",
    [b"RIFF....WAVE", b"notes of the day", b"\xff\xfe\x00", b'schema = "audiotest-feed-1"\n', b"x" * 70_000],
)
def test_a_file_that_is_no_output_stays_as_it_is(tmp_path: Path, content: bytes) -> None:
    path = tmp_path / "short.wav"
    path.write_bytes(content)
    with pytest.raises(FileError, match="is not an output file: name another"):
        save_output(SCALE, path)
    assert path.read_bytes() == content
    assert os.listdir(tmp_path) == ["short.wav"]


def test_neither_learned_file_takes_the_place_of_the_other(tmp_path: Path) -> None:
    save_feed(FEED, tmp_path / "feed.toml")
    save_output(SCALE, tmp_path / "out.toml")
    with pytest.raises(FileError, match="is not an output file"):
        save_output(SCALE, tmp_path / "feed.toml")
    with pytest.raises(FileError, match="is not a feed file"):
        save_feed(FEED, tmp_path / "out.toml")


@pytest.mark.parametrize(
    "content", [b"", b'schema = "audiotest-output-2"\n', b'schema = "audiotest-output-1"\n']
)
def test_an_empty_file_and_an_output_file_of_any_state_are_replaced(tmp_path: Path, content: bytes) -> None:
    path = tmp_path / "out.toml"
    path.write_bytes(content)
    save_output(SCALE, path)
    assert load_output(path) == SCALE


def test_a_link_is_followed_and_one_to_nothing_is_refused(tmp_path: Path) -> None:
    here, link, dangling = tmp_path / "out.toml", tmp_path / "link.toml", tmp_path / "dangling.toml"
    save_output(SCALE, here)
    link.symlink_to(here)
    dangling.symlink_to(tmp_path / "gone.toml")
    save_output(OutputScale(name="bench", full_scale_mv=10.0), link)
    assert link.is_symlink()
    assert load_output(here).full_scale_mv == 10.0
    with pytest.raises(FileError, match="a link to a file that is not there"):
        save_output(SCALE, dangling)


def test_the_longest_name_works(tmp_path: Path) -> None:
    longest = os.pathconf(tmp_path, "PC_NAME_MAX") if hasattr(os, "pathconf") else 255
    path = tmp_path / ("n" * (longest - 5) + ".toml")
    save_output(SCALE, path)
    assert load_output(path) == SCALE
