"""DEVELOPERS.md names files, modules and markers that there are."""

import importlib.util
import re
import tomllib
from itertools import chain

from tests.docs.reading import ROOT

PAGE = (ROOT / "DEVELOPERS.md").read_text("utf-8")
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))
QUOTED = re.findall(r"`([^`\n]+)`", PAGE)


def test_the_files_are_there():
    paths = [word for word in QUOTED if re.fullmatch(r"[\w./-]+\.(py|md|toml|cff)|[\w./-]+/", word)]
    assert len(paths) >= 25
    missing = [path for path in paths if not any((top / path).exists() for top in (ROOT, ROOT / "audiotest"))]
    assert missing == []


def test_the_links_lead_somewhere():
    for link in re.findall(r"\]\(([^)#:]+)\)", PAGE):
        assert (ROOT / link).exists(), link


def test_the_modules_can_be_run():
    modules = set(re.findall(r"-m (tests\.[\w.]+)", PAGE))
    assert len(modules) >= 2
    assert [name for name in modules if importlib.util.find_spec(name) is None] == []


def test_the_folders_of_tests_are_there():
    for folder in re.findall(r"pytest (tests/[\w/]+)", PAGE):
        assert (ROOT / folder).is_dir(), folder


def test_the_markers_are_those_of_the_tests():
    markers = {marker.partition(":")[0] for marker in PROJECT["tool"]["pytest"]["ini_options"]["markers"]}
    assert set(re.findall(r'-m "not (\w+)"', PAGE)) == markers


def test_every_dependency_has_its_reason():
    extras = PROJECT["project"]["optional-dependencies"].values()
    wanted = chain(PROJECT["project"]["dependencies"], *extras)
    declared = {re.split(r"[^\w-]", package)[0] for package in wanted} - {"audiotest"}
    table = PAGE.partition("## Why each dependency")[2]
    rows = re.findall(r"^\| ([^|]+?) \| [^|]+ \|$", table, re.MULTILINE)
    named = {name for row in rows for name in re.findall(r"[A-Za-z][\w-]+", re.sub(r"\(.*?\)", "", row))}
    assert named - {"package", "with"} == declared


def test_the_names_in_the_recipes_are_in_their_modules():
    for name, path in {
        "CONDITIONS": "measure/conditions.py", "sound_conditions": "measure/conditions.py",
        "speech_conditions": "measure/conditions.py", "GATES": "advise/rules.py", "DOUBTS": "advise/rules.py",
        "real_cause": "advise/wording.py", "_CHANNELS_MHZ": "standards/limits.py",
        "rx_distortion": "tones/rxaudio.py", "LimitSet": "records.py",
    }.items():  # fmt: skip
        assert f"`{name}`" in PAGE
        text = (ROOT / "audiotest" / path).read_text("utf-8")
        assert re.search(rf"^(def |class )?{name}\b", text, re.MULTILINE), name
