"""The documents: every command line they show is one that the program takes, every link leads somewhere."""

import re
from pathlib import Path

import numpy as np
import pytest
import soundfile

from audiotest.__main__ import main
from audiotest.errors import RequestError
from audiotest.standards.limits import LIMIT_SETS
from audiotest.terminal.parser import build_parser
from docs.make_examples import EXAMPLE, renewed
from tests.docs.reading import PAGES, ROOT, calls_in, inline_calls, page_id, shell_lines, without_fences

LINK = re.compile(r"!?\[[^\]]*\]\(([^)\s]+)\)")
HEADING = re.compile(r"^#+ +(.*)$", re.MULTILINE)

SHOWN = [
    pytest.param(call, id=f"{page_id(page)}: {' '.join(call)}")
    for page in PAGES
    for call in (call for line in shell_lines(page) for call in calls_in(line))
]
MENTIONED = [
    pytest.param(call, id=f"{page_id(page)}: {' '.join(call)}")
    for page in PAGES
    for call in inline_calls(page)
]


def _parse(call: list[str]) -> None:
    try:
        build_parser().parse_args(call)
    except SystemExit as end:  # --help and --version end here
        if end.code:
            pytest.fail(f"{call} ends with {end.code}")
    except RequestError as refusal:
        pytest.fail(str(refusal))


def _is_name_only(call: list[str]) -> bool:
    """Whether running text names a command without its arguments."""
    return all(re.fullmatch(r"[a-z]+(-[a-z]+)*", word) for word in call)


def test_finds_the_commands_there_are():
    assert len(SHOWN) >= 20
    assert ["demo", "--text"] in [param.values[0] for param in SHOWN]
    assert len(MENTIONED) >= 20


@pytest.mark.parametrize("call", SHOWN)
def test_shown_command_is_understood(call):
    _parse(call)


@pytest.mark.parametrize("call", MENTIONED)
def test_mentioned_command_is_understood(call):
    _parse([*call, "--help"] if _is_name_only(call) else call)


def test_a_stale_command_is_caught():
    with pytest.raises(pytest.fail.Exception):
        _parse(["live", "--no-such-option"])
    with pytest.raises(pytest.fail.Exception):
        _parse(["no-such-command", "--help"])


def test_every_command_is_in_the_readme():
    text = (ROOT / "README.md").read_text("utf-8")
    names = _command_names()
    assert {"demo", "live", "check", "limits"} <= set(names)
    for name in names:
        assert re.search(rf"`(audiotest )?{name}\b", text), name


def _command_names() -> list[str]:
    lines = build_parser().format_help().partition("commands:")[2].splitlines()
    return [found[1] for line in lines if (found := re.match(r" {4}([a-z]+) ", line))]


def _anchors(page: Path) -> set[str]:
    """The anchors of a page's headings, as the usual renderers of Markdown make them."""
    plain = (
        re.sub(r"[`*]", "", heading).strip().lower() for heading in HEADING.findall(without_fences(page))
    )
    return {re.sub(r"[^\w\- ]", "", heading).replace(" ", "-") for heading in plain}


@pytest.mark.parametrize("page", PAGES, ids=page_id)
def test_links_and_pictures_are_there(page):
    for link in LINK.findall(without_fences(page)):
        if re.match(r"[a-z]+:", link):
            continue
        name, _, anchor = link.partition("#")
        target = (page.parent / name).resolve() if name else page
        assert target.exists(), link
        if anchor:
            assert anchor in _anchors(target), link


def test_every_page_is_reachable_from_the_readme():
    reached, waiting = set(), [ROOT / "README.md"]
    while waiting:
        page = waiting.pop()
        if page in reached or page.suffix != ".md":
            continue
        reached.add(page)
        links = [link.partition("#")[0] for link in LINK.findall(page.read_text("utf-8")) if ":" not in link]
        waiting += [target for link in links if link and (target := (page.parent / link).resolve()).exists()]
    assert {page_id(page) for page in PAGES} <= {page_id(page) for page in reached}


def _run(capsys, *call: str) -> str:
    assert main(list(call)) == 0
    return capsys.readouterr().out


def test_demo_in_the_terminal_runs(capsys):
    assert "Simulated radio" in _run(capsys, "demo", "--text", "--seconds", "3")


def _without_figures(text: str) -> str:
    words = " ".join(re.sub("[┃┏┓┗┛━]", " ", text).split())
    return re.sub(r"[+-]?\d[\d.]*", "0", words)


@pytest.mark.parametrize(
    "page", [page for page in PAGES if EXAMPLE.search(page.read_text("utf-8"))], ids=page_id
)
def test_printed_examples_are_what_the_program_prints(page):
    """Word for word; figures may differ a little from one machine to another (docs/make_examples.py)."""
    text = page.read_text("utf-8")
    assert _without_figures(renewed(text)) == _without_figures(text)


def test_inputs_runs_with_or_without_a_card(capsys):
    status = main(["inputs"])
    said = capsys.readouterr()
    if status == 0:
        assert said.out.strip()
    else:
        # No PortAudio: one line says so and how to get it.
        assert status == 2
        assert re.fullmatch(r"audiotest: [^\n]+\n", said.err)


@pytest.fixture
def tone(tmp_path):
    """Five seconds of 1 kHz, 0.3 of full scale, with a little noise."""
    n = np.arange(5 * 48000)
    noise = np.random.default_rng(1).standard_normal(n.size)
    path = tmp_path / "tone.wav"
    soundfile.write(path, 0.3 * np.sin(2 * np.pi * 1000 / 48000 * n) + 0.001 * noise, 48000)
    return path


def test_learning_and_checking_as_the_pages_show(capsys, tmp_path, tone):
    feed = tmp_path / "bench.toml"
    options = ("--tone-hz", "1000", "--deviation-khz", "1.5", "--deemphasis-us", "750", "-o", str(feed))
    # 1.5 kHz is 0.3 of full scale, so full scale is 5 kHz: the example of scale.md.
    learned = " ".join(_run(capsys, "feed", "learn", str(tone), *options).split())
    assert "full scale is 5.00 kHz of deviation" in learned
    text = _run(capsys, "check", str(tone), "--feed", str(feed))
    assert "1.50 kHz, 60 % of ±2.5 kHz" in " ".join(text.split())


def test_limits_page_agrees_with_the_program(capsys):
    listed = " ".join(_run(capsys, "limits").split())
    page = (ROOT / "docs" / "limits.md").read_text("utf-8")
    for limits in LIMIT_SETS:
        assert limits.source in listed
        row = f"| `{limits.id}` | {limits.title} | ±{limits.deviation_khz:g} | {limits.spacing_khz:g} |"
        assert row in page
        assert f"| `{limits.id}` | {limits.channels} | {limits.source} |" in page
    rows = re.findall(r"^\| `([a-z0-9-]+)` \|", page, re.MULTILINE)
    assert set(rows) == {limits.id for limits in LIMIT_SETS}
