"""Feed files: what is written comes back, what is wrong is refused by name."""

import os
from dataclasses import replace
from pathlib import Path

import pytest
import tomli_w
from hypothesis import given
from hypothesis import strategies as st

from audiotest.errors import FileError
from audiotest.feeds.feedfile import load_feed, save_feed
from audiotest.records import Feed

TONE = Feed(
    name="bench", method="tone", scale_khz_per_fs=6.25, scale_uncertainty_db=0.2, deemphasis_us=750.0,
    tone_hz=1000.0, deviation_khz=1.5, if_bandwidth_khz=None, hiss_dbfs=-14.5, learned="2024-02-29",
)  # fmt: skip
HISS = replace(TONE, method="hiss", tone_hz=None, deviation_khz=None, if_bandwidth_khz=8.5, deemphasis_us=0.0)


@pytest.mark.parametrize("feed", [TONE, HISS, replace(TONE, deemphasis_us=None, hiss_dbfs=None)])
def test_a_feed_comes_back_as_it_was(tmp_path: Path, feed: Feed) -> None:
    path = tmp_path / "bench.toml"
    save_feed(feed, path)
    assert load_feed(path) == feed
    assert [found.name for found in tmp_path.iterdir()] == ["bench.toml"]


@given(
    name=st.text(st.characters(codec="utf-8"), max_size=30),
    scale=st.floats(1e-3, 1e5),
    uncertainty=st.floats(0.0, 20.0),
    hiss=st.none() | st.floats(-200.0, 20.0),
)
def test_any_valid_feed_comes_back(
    tmp_path_factory: pytest.TempPathFactory, name: str, scale: float, uncertainty: float, hiss: float | None
) -> None:
    feed = replace(TONE, name=name, scale_khz_per_fs=scale, scale_uncertainty_db=uncertainty, hiss_dbfs=hiss)
    path = tmp_path_factory.getbasetemp() / "any.toml"
    save_feed(feed, path)
    assert load_feed(path) == feed


def test_saving_again_replaces_and_follows_a_link(tmp_path: Path) -> None:
    path, link = tmp_path / "bench.toml", tmp_path / "link.toml"
    save_feed(TONE, path)
    link.symlink_to(path)
    save_feed(HISS, link)
    assert link.is_symlink()
    assert load_feed(path) == HISS


def test_a_place_that_cannot_be_written_is_refused_and_left_alone(tmp_path: Path) -> None:
    with pytest.raises(FileError, match="not an ordinary file"):
        save_feed(TONE, tmp_path)
    with pytest.raises(FileError, match="not an ordinary file"):
        save_feed(TONE, os.devnull)
    with pytest.raises(FileError, match="cannot be written"):
        save_feed(TONE, tmp_path / "missing" / "bench.toml")
    bad = replace(TONE, scale_khz_per_fs=float("nan"))
    with pytest.raises(FileError, match="'scale_khz_per_fs' is nan"):
        save_feed(bad, tmp_path / "bad.toml")
    assert list(tmp_path.iterdir()) == []


def written(path: Path, **changes: object) -> Path:
    document: dict[str, object] = {
        "schema": "audiotest-feed-1", "name": "bench", "method": "tone", "scale_khz_per_fs": 6.0,
        "scale_uncertainty_db": 0.2, "tone_hz": 1000, "deviation_khz": 1.5, "learned": "2024-02-29",
    }  # fmt: skip
    document |= changes
    path.write_text(tomli_w.dumps({key: value for key, value in document.items() if value is not None}))
    return path


def test_whole_numbers_are_numbers_and_missing_options_are_none(tmp_path: Path) -> None:
    feed = load_feed(written(tmp_path / "feed.toml", scale_khz_per_fs=6))
    assert (feed.scale_khz_per_fs, feed.tone_hz) == (6.0, 1000.0)
    assert feed.deemphasis_us is None
    assert isinstance(feed.tone_hz, float)


@pytest.mark.parametrize(
    ("changes", "what"),
    [
        ({"schema": "audiotest-feed-2"}, "schema is 'audiotest-feed-2'"),
        ({"schema": None}, "schema is None"),
        ({"scale_khz_per_fs": None}, "'scale_khz_per_fs' is missing"),
        ({"tone_hz": None}, "'tone_hz' is missing"),
        ({"method": "hiss"}, "'if_bandwidth_khz' is missing"),
        ({"method": "guess"}, "method 'guess' is not one of"),
        ({"method": 3}, "'method' is not a text"),
        ({"method": ["tone"]}, "'method' is not a text"),
        ({"name": 7}, "'name' is not a text"),
        ({"scale_khz_per_fs": "6.0"}, "'scale_khz_per_fs' is not a number"),
        ({"scale_khz_per_fs": True}, "'scale_khz_per_fs' is not a number"),
        ({"scale_khz_per_fs": 0.0}, "'scale_khz_per_fs' is 0, outside"),
        ({"scale_khz_per_fs": -6.0}, "'scale_khz_per_fs' is -6, outside"),
        ({"scale_khz_per_fs": float("inf")}, "'scale_khz_per_fs' is inf, outside"),
        ({"scale_uncertainty_db": float("nan")}, "'scale_uncertainty_db' is nan, outside"),
        ({"deemphasis_us": -1.0}, "'deemphasis_us' is -1, outside"),
        ({"scale_khz": 6.0}, "unknown key 'scale_khz'"),
    ],
)
def test_a_wrong_file_is_refused_with_the_key(tmp_path: Path, changes: dict[str, object], what: str) -> None:
    path = written(tmp_path / "feed.toml", **changes)
    with pytest.raises(FileError) as caught:
        load_feed(path)
    assert str(path) in caught.value.what
    assert what in caught.value.what
    assert caught.value.remedy


def test_what_is_no_feed_file_is_refused_in_one_line(tmp_path: Path) -> None:
    path = tmp_path / "feed.toml"
    for content in (b"not = [toml", b"\xff\xfe\x00", b"", b"x" * 100_000, b"a = 1\n" * 3, b"[" * 5000):
        path.write_bytes(content)
        with pytest.raises(FileError) as caught:
            load_feed(path)
        assert "\n" not in str(caught.value)
    for place in (tmp_path, tmp_path / "missing.toml", "nul\0byte"):
        with pytest.raises(FileError):
            load_feed(place)


def test_a_recording_given_for_a_feed_file_is_named_in_plain_words(tmp_path: Path) -> None:
    (tmp_path / "tone.wav").write_bytes(b"RIFF\x80\xff")
    with pytest.raises(FileError, match=r"tone\.wav: not a feed file, it is no text: learn the feed again"):
        load_feed(tmp_path / "tone.wav")
