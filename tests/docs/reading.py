"""What stands on the pages: fences, command lines and the calls of the program in them."""

import re
import shlex
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
PAGES = (ROOT / "README.md", *sorted((ROOT / "docs").glob("*.md")))
FENCE = re.compile(r"^( *)```(\w*)\n(.*?)^ *```", re.MULTILINE | re.DOTALL)
INLINE = re.compile(r"`(audiotest [^`]+)`")
PLACEHOLDERS = {
    "D": "2", "F": "bench.toml", "L": "uk-27fm", "N": "1", "HZ": "1000", "KHZ": "1.5", "US": "750",
    "FILE|DIR...": "clip.wav", "FILE...": "clip.wav", "[FILE]": "clip.wav",
    "SIGNAL": "tone 1000", "SHEET": "1", "found|left": "found", "PROCEDURE": "balance",
}  # fmt: skip
"""What the tables write for a value, and a value."""
WORD_ENDS = {";", "|", "||", "&&", ">", "&"}


def page_id(page: Path) -> str:
    """A page's name from the top."""
    return page.relative_to(ROOT).as_posix()


def without_fences(page: Path) -> str:
    """A page's running text and tables."""
    return FENCE.sub("", page.read_text("utf-8"))


def shell_lines(page: Path, languages: tuple[str, ...] = ("sh", "powershell")) -> list[str]:
    """The lines of a page's fences of commands, continued lines joined."""
    return [
        line.strip()
        for _, language, body in FENCE.findall(page.read_text("utf-8"))
        if language in languages
        for line in body.replace("\\\n", " ").splitlines()
    ]


def calls_in(line: str) -> list[list[str]]:
    """The argument lists of the calls of the program in one shell line."""
    lexer = shlex.shlex(line.replace("\\audiotest", "/audiotest"), posix=True, punctuation_chars=";|&>")
    lexer.whitespace_split = True
    lexer.commenters = "#"
    calls: list[list[str]] = []
    words = iter([*lexer, ";"])
    for word in words:
        if word == "audiotest" or word.endswith("/audiotest"):
            call = []
            for argument in words:
                if argument in WORD_ENDS:
                    break
                call.append(argument)
            calls.append(call)
    return calls


def inline_calls(page: Path) -> list[list[str]]:
    """Whole command lines in running text and tables, placeholders filled in."""
    calls = []
    for shown in INLINE.findall(without_fences(page).replace("\\|", "|")):
        if "..." in shown.replace("...]", "").replace("FILE...", "").replace("DIR...", ""):
            continue
        bare = re.sub(r"\[(-[^\]]*)\]", r"\1", shown)
        words = [PLACEHOLDERS.get(word, word) for word in bare.split()[1:]]
        calls.append(shlex.split(" ".join(words)))
    return calls
