"""Damaged and strange feed files: every figure finite and in its range, or one line that refuses."""

import tomllib
from pathlib import Path
from typing import Any

import tomli_w
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tests.robust.material import FEED_TOML, PATH_TOML, damaged, fed_or_refused

ONE_FOLDER = [HealthCheck.function_scoped_fixture, HealthCheck.too_slow]
KEYS = (
    "schema", "name", "method", "scale_khz_per_fs", "scale_uncertainty_db", "deemphasis_us", "tone_hz",
    "deviation_khz", "if_bandwidth_khz", "hiss_dbfs", "learned", "path", "other",
)  # fmt: skip
PATH_KEYS = (
    "hz", "gain_db", "phase_rad", "gain_error_db", "phase_error_rad", "drive_db", "softness_db", "even_db",
    "tones_hz", "other",
)  # fmt: skip
SCALARS = st.one_of(
    st.floats(), st.integers(-(2**63), 2**63 - 1), st.booleans(), st.text(max_size=8),
    st.sampled_from(("audiotest-feed-1", "tone", "hiss", "carrier-null")),
)  # fmt: skip
VALUES = st.one_of(
    SCALARS, st.lists(SCALARS, max_size=10), st.dictionaries(st.sampled_from(PATH_KEYS), SCALARS, max_size=9)
)


def test_the_undamaged_are_read(tmp_path: Path) -> None:
    for content in (FEED_TOML, FEED_TOML + PATH_TOML):
        path = tmp_path / "feed.toml"
        path.write_bytes(content)
        assert fed_or_refused(path) is None


@settings(max_examples=200, suppress_health_check=ONE_FOLDER)
@given(content=st.one_of(damaged((FEED_TOML, FEED_TOML + PATH_TOML)), st.binary(max_size=300)))
def test_damaged_feed_files_are_read_or_refused(tmp_path: Path, content: bytes) -> None:
    path = tmp_path / "feed.toml"
    path.write_bytes(content)
    fed_or_refused(path)


@settings(max_examples=200, suppress_health_check=ONE_FOLDER)
@given(
    changed=st.dictionaries(st.sampled_from(KEYS), VALUES, min_size=1, max_size=3),
    learnt=st.dictionaries(st.sampled_from(PATH_KEYS), VALUES, max_size=3),
)
def test_valid_toml_with_any_values_is_read_or_refused(
    tmp_path: Path, changed: dict[str, Any], learnt: dict[str, Any]
) -> None:
    path = tmp_path / "feed.toml"
    document = tomllib.loads((FEED_TOML + PATH_TOML).decode()) | changed
    if isinstance(document["path"], dict):
        document["path"] = document["path"] | learnt
    path.write_text(tomli_w.dumps(document), encoding="utf-8", errors="replace")
    fed_or_refused(path)
