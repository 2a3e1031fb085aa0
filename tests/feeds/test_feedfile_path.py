"""The [path] table of a feed file: it comes back, does no harm to the scale, and is checked key by key."""

import tomllib
from collections.abc import Callable
from dataclasses import asdict, replace
from pathlib import Path

import pytest
import tomli_w
from hypothesis import given
from hypothesis import strategies as st

from audiotest.errors import FileError
from audiotest.feeds.feedfile import load_feed, save_feed
from audiotest.records import Feed, PathResponse

FEED = Feed(
    name="bench", method="tone", scale_khz_per_fs=6.25, scale_uncertainty_db=0.2, deemphasis_us=750.0,
    tone_hz=1000.0, deviation_khz=1.5, if_bandwidth_khz=None, hiss_dbfs=-14.5, learned="2024-02-29",
)  # fmt: skip
HZ = tuple(float(hz) for hz in range(150, 3301, 50))
RESPONSE = PathResponse(
    hz=HZ, gain_db=tuple(-0.002 * hz for hz in HZ), phase_rad=tuple(1e-4 * hz for hz in HZ),
    gain_error_db=(0.5,) * len(HZ), phase_error_rad=(0.08,) * len(HZ), drive_db=24.0, softness_db=0.05,
    even_db=-48.2, tones_hz=(200.0, 250.0, 310.0, 390.0),
)  # fmt: skip


@pytest.mark.parametrize(
    "response", [RESPONSE, replace(RESPONSE, even_db=None), replace(RESPONSE, ceiling_fs=0.287)]
)
def test_scale_and_path_come_back_as_they_were(tmp_path: Path, response: PathResponse) -> None:
    path = tmp_path / "bench.toml"
    save_feed(replace(FEED, path=response), path)
    assert load_feed(path) == replace(FEED, path=response)


def test_a_file_without_a_path_holds_none_and_saving_without_takes_it_out(tmp_path: Path) -> None:
    path = tmp_path / "bench.toml"
    save_feed(FEED, path)
    assert load_feed(path).path is None
    save_feed(replace(FEED, path=RESPONSE), path)
    save_feed(FEED, path)
    assert load_feed(path).path is None


def test_the_scale_stands_where_it_stood_and_the_schema_is_the_same(tmp_path: Path) -> None:
    plain, with_path = tmp_path / "plain.toml", tmp_path / "path.toml"
    save_feed(FEED, plain)
    save_feed(replace(FEED, path=RESPONSE), with_path)
    one, other = (tomllib.loads(file.read_text()) for file in (plain, with_path))
    assert other.pop("path")
    assert other == one
    assert with_path.read_text().startswith(plain.read_text())


def test_a_table_of_a_later_version_is_left_alone(tmp_path: Path) -> None:
    path = tmp_path / "bench.toml"
    save_feed(replace(FEED, path=RESPONSE), path)
    path.write_text(path.read_text() + "\n[receiver]\nname = 'monitor'\n")
    assert load_feed(path) == replace(FEED, path=RESPONSE)


finite = st.floats(-100.0, 100.0)


@given(count=st.integers(8, 60), data=st.data())
def test_any_valid_path_comes_back(
    tmp_path_factory: pytest.TempPathFactory, count: int, data: st.DataObject
) -> None:
    hz = tuple(sorted(data.draw(st.sets(st.floats(20.0, 9e4), min_size=count, max_size=count))))
    draw = {
        key: tuple(data.draw(st.lists(values, min_size=count, max_size=count)))
        for key, values in {
            "gain_db": finite, "phase_rad": finite,
            "gain_error_db": st.floats(0.0, 99.0), "phase_error_rad": st.floats(0.0, 99.0),
        }.items()
    }  # fmt: skip
    response = replace(RESPONSE, hz=hz, **draw)
    path = tmp_path_factory.getbasetemp() / "any-path.toml"
    save_feed(replace(FEED, path=response), path)
    assert load_feed(path).path == response


def document(**changes: object) -> dict[str, object]:
    table = {key: list(v) if isinstance(v, tuple) else v for key, v in asdict(RESPONSE).items()} | changes
    scale = {key: value for key, value in asdict(FEED).items() if value is not None}
    kept = {key: value for key, value in table.items() if value is not None}
    return {"schema": "audiotest-feed-1", **scale, "path": kept}


@pytest.mark.parametrize(
    ("changes", "what"),
    [
        ({"hz": None}, "'path.hz' is missing"),
        ({"gain": 1.0}, "'path.gain' is unknown"),
        ({"gain_db": 3.0}, "'path.gain_db' is not a list"),
        ({"gain_db": [0.0] * 3}, "'path.gain_db' has not one value per point"),
        ({"gain_db": ["0"] * len(HZ)}, "'path.gain_db' is not a number"),
        ({"gain_db": [True] * len(HZ)}, "'path.gain_db' is not a number"),
        ({"gain_db": [float("nan")] * len(HZ)}, "'path.gain_db' is nan, outside"),
        ({"phase_error_rad": [-0.1] * len(HZ)}, "'path.phase_error_rad' is -0.1, outside"),
        ({"hz": list(HZ[::-1])}, "'path.hz' does not rise"),
        ({"hz": [300.0]}, "'path.hz' has 1 points"),
        ({"drive_db": "much"}, "'path.drive_db' is not a number"),
        ({"drive_db": 10**400}, "'path.drive_db' is a huge number"),
        ({"tones_hz": 200}, "'path.tones_hz' is not a list"),
    ],
)
def test_a_wrong_path_is_refused_with_the_key(tmp_path: Path, changes: dict[str, object], what: str) -> None:
    path = tmp_path / "feed.toml"
    path.write_text(tomli_w.dumps(document(**changes)))
    with pytest.raises(FileError) as caught:
        load_feed(path)
    assert what in caught.value.what
    assert str(path) in caught.value.what
    assert "learn-path" in caught.value.remedy


def test_a_path_that_is_no_table_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "feed.toml"
    path.write_text(tomli_w.dumps(document() | {"path": "bench"}))
    with pytest.raises(FileError, match="'path' is not a table"):
        load_feed(path)


def one_line_or(kind: type | tuple[type, ...], load: Callable[[Path], object], path: Path) -> bool:
    """Whether `load` gives a record of this kind or refuses in one line; any other error passes through."""
    try:
        return isinstance(load(path), kind)
    except FileError as error:
        return len(str(error).splitlines()) == 1


leaf = st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=8)
value = st.recursive(leaf, lambda inner: st.lists(inner, max_size=4), max_leaves=8).filter(
    lambda v: v is not None
)


def without_none(v: object) -> object:
    return [without_none(item) for item in v if item is not None] if isinstance(v, list) else v


@given(
    st.dictionaries(
        st.sampled_from([*asdict(RESPONSE), "a\nb"]) | st.text(max_size=4),
        value.map(without_none),
        min_size=1,
        max_size=4,
    )
)
def test_whatever_stands_in_the_table_ends_in_a_path_or_one_line(
    tmp_path_factory: pytest.TempPathFactory, changes: dict[str, object]
) -> None:
    path = tmp_path_factory.getbasetemp() / "malformed.toml"
    path.write_text(tomli_w.dumps(document(**changes)), encoding="utf-8")
    assert one_line_or(Feed, load_feed, path)


@given(st.integers(0, 5000), st.binary(max_size=6))
def test_a_damaged_file_ends_in_a_feed_or_one_line(
    tmp_path_factory: pytest.TempPathFactory, at: int, damage: bytes
) -> None:
    whole = tomli_w.dumps(document()).encode()
    at %= len(whole)
    path = tmp_path_factory.getbasetemp() / "damaged.toml"
    path.write_bytes(whole[:at] + damage + whole[at + len(damage) + 1 :])
    assert one_line_or(Feed, load_feed, path)
