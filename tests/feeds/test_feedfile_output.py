"""What a feed is never written over: the recording it is learned from, and whatever else is no feed file."""

import os
from pathlib import Path

import pytest

from audiotest.errors import FileError
from audiotest.feeds.feedfile import load_feed, refuse_output, save_feed
from audiotest.records import Feed

FEED = Feed(
    name="bench", method="tone", scale_khz_per_fs=6.25, scale_uncertainty_db=0.2, deemphasis_us=750.0,
    tone_hz=1000.0, deviation_khz=1.5, if_bandwidth_khz=None, hiss_dbfs=-14.5, learned="2024-02-29",
)  # fmt: skip


@pytest.mark.parametrize("way", ["itself", "hard link", "symbolic link"])
def test_the_recording_is_not_written_over_by_any_of_its_names(tmp_path: Path, way: str) -> None:
    recording, output = tmp_path / "tone.wav", tmp_path / "bench.toml"
    recording.write_bytes(b"RIFF....WAVE")
    if way == "itself":
        output = recording
    elif way == "hard link":
        os.link(recording, output)
    else:
        output.symlink_to(recording)
    with pytest.raises(FileError, match="the recording to learn from"):
        refuse_output(output, recording)
    with pytest.raises(FileError, match="is not a feed file"):
        save_feed(FEED, output)
    assert recording.read_bytes() == b"RIFF....WAVE"


@pytest.mark.parametrize(
    "content",
    [b"notes of the day", b"\xff\xfe\x00", b'schema = "audiotest-level-1"\n', b"schema = 1\n", b"x" * 70_000],
)
def test_a_file_that_is_no_feed_stays_as_it_is(tmp_path: Path, content: bytes) -> None:
    path = tmp_path / "bench.toml"
    path.write_bytes(content)
    with pytest.raises(FileError, match="is not a feed file: name another"):
        save_feed(FEED, path)
    assert path.read_bytes() == content


@pytest.mark.parametrize("content", [b"", b'schema = "audiotest-feed-2"\n', b'schema = "audiotest-feed-1"\n'])
def test_an_empty_file_and_a_feed_file_of_any_state_are_replaced(tmp_path: Path, content: bytes) -> None:
    path = tmp_path / "bench.toml"
    path.write_bytes(content)
    save_feed(FEED, path)
    assert load_feed(path) == FEED


def test_links_to_nothing_are_refused(tmp_path: Path) -> None:
    dangling, loop = tmp_path / "dangling.toml", tmp_path / "loop.toml"
    dangling.symlink_to(tmp_path / "gone.toml")
    loop.symlink_to(loop)
    with pytest.raises(FileError, match="a link to a file that is not there"):
        save_feed(FEED, dangling)
    with pytest.raises(FileError, match=r"loop\.toml: cannot be written"):
        save_feed(FEED, loop)
    assert not (tmp_path / "gone.toml").exists()
    assert loop.is_symlink()


@pytest.mark.parametrize("name", ["", "-"])
def test_a_name_that_is_none_is_refused(name: str) -> None:
    with pytest.raises(FileError, match="is no name of a file"):
        save_feed(FEED, name)


def test_names_up_to_the_longest_work_and_longer_ones_are_refused(tmp_path: Path) -> None:
    longest = os.pathconf(tmp_path, "PC_NAME_MAX") if hasattr(os, "pathconf") else 255
    path = tmp_path / ("n" * (longest - 5) + ".toml")
    save_feed(FEED, path)
    assert load_feed(path) == FEED
    with pytest.raises(FileError, match="cannot be written"):
        save_feed(FEED, tmp_path / ("n" * (longest + 1)))


def test_a_byte_order_mark_does_not_matter(tmp_path: Path) -> None:
    path = tmp_path / "bench.toml"
    save_feed(FEED, path)
    path.write_bytes(b"\xef\xbb\xbf" + path.read_bytes())
    assert load_feed(path) == FEED
    save_feed(FEED, path)
    assert not path.read_bytes().startswith(b"\xef\xbb\xbf")


def test_a_number_beyond_all_measure_is_named(tmp_path: Path) -> None:
    path = tmp_path / "bench.toml"
    save_feed(FEED, path)
    text = path.read_text()
    for zeros, named in ((400, "scale_khz_per_fs"), (5000, "bench.toml")):
        path.write_text(text.replace("= 6.25", "= 1" + "0" * zeros))
        with pytest.raises(FileError, match=named):
            load_feed(path)


def test_a_feed_without_a_name_is_refused() -> None:
    with pytest.raises(FileError, match="name of the feed file is empty"):
        load_feed("")
