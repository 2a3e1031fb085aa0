"""The commands of each page, carried out in their order by a shell, as a reader would.

What needs a sound card, a screen or an installation is not carried out here: `NEEDS` says which.
`test_commands_soundcard` carries out those for a sound card, `test_commands` sees that the program takes the
others. The files that a page takes for granted are made first.
"""

import os
import re
import shlex
import shutil
import subprocess
import sys
from pathlib import Path

import pytest
import soundfile

from audiotest.radio.link import simulate
from audiotest.radio.scenario import demo_simulation, demo_steps
from audiotest.radio.settings import Receiver, SoundCard, Timing, Transmitter
from audiotest.tones.level import OutputScale, save_output
from audiotest.tones.speechdrive import known_speech
from docs.make_examples import make_recordings, make_tone
from tests.docs.reading import PAGES, calls_in, inline_calls, page_id, shell_lines

NEEDS = {
    "a sound card": re.compile(
        r"^(live|record|inputs)\b|--device|^bench (?!.*--(rehearse|sent))|^send (?!.*--wav)|^(sinad|iq)$"
    ),
    "a screen": re.compile(r"^demo(?!.*--text)"),
}
RECORDINGS = {
    "as-found.flac": 0, "as-found/recording 2026-03-01 10-15-00/over 0001.flac": 0,
    "as-left.flac": 1, "as-left/recording 2026-03-01 16-40-00/over 0001.flac": 1,
}  # fmt: skip
"""Which over of the demo's story a recording is."""


def needs(call: list[str]) -> str | None:
    """What a call needs that there is not, if anything."""
    return next((what for what, pattern in NEEDS.items() if pattern.search(shlex.join(call))), None)


def to_carry_out(page: Path) -> list[str]:
    """Shell lines of a page's fences that are nothing but the program, then the rehearsals in its text."""
    shown = [line for line in shell_lines(page, ("sh",)) if line.startswith("audiotest ")]
    shown = [line for line in shown if not any(needs(call) for call in calls_in(line))]
    rehearsals = [call for call in inline_calls(page) if "--rehearse" in call and "balance" not in call[1:2]]
    return shown + [shlex.join(["audiotest", *call]) for call in rehearsals]


@pytest.fixture(scope="module")
def recordings(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """What the pages take for granted: recordings, a learned output."""
    folder = tmp_path_factory.mktemp("recordings")
    make_recordings(folder)
    make_tone(folder / "null.wav", 831.7)
    for name, number in RECORDINGS.items():
        (folder / name).parent.mkdir(parents=True, exist_ok=True)
        made = demo_simulation(demo_steps()[number])
        soundfile.write(folder / name, made.audio, made.sample_rate_hz)
    speech = known_speech(seconds=6.0)
    heard = simulate(
        speech.samples, speech.rate_hz, Transmitter(drive_db=11.0), Receiver(), SoundCard(),
        Timing(before_s=0.3, bare_carrier_s=0.3, after_s=0.2, end_s=0.3), seed=5, baseband_rate_hz=96000,
    )  # fmt: skip
    soundfile.write(folder / "sent.wav", 0.1 * speech.samples, speech.rate_hz)
    soundfile.write(folder / "heard.wav", heard.audio, heard.sample_rate_hz)
    output = OutputScale(name="output", full_scale_mv=100.0, ceiling_mv=80.0, device="")
    save_output(output, folder / "bench-out.toml")
    return folder


PAGES_WITH_COMMANDS = [page for page in PAGES if to_carry_out(page)]


def test_it_is_known_what_is_carried_out():
    lines = [line for page in PAGES_WITH_COMMANDS for line in to_carry_out(page)]
    assert len(lines) >= 25
    for words in ("feed learn", "feed hiss", "sheet new", "report", "compare", "--rehearse", "send noise"):
        assert any(words in line for line in lines), words
    assert needs(["live", "--text"]) == needs(["bench", "hum", "--output", "o.toml"]) == "a sound card"
    assert needs(["demo", "--text"]) is None
    assert needs(["check", "clip.wav"]) is None


@pytest.mark.skipif(shutil.which("bash") is None, reason="the pages are written for a shell")
@pytest.mark.parametrize("page", PAGES_WITH_COMMANDS, ids=page_id)
def test_the_commands_of_a_page_do_what_they_are_shown_for(page: Path, recordings: Path, tmp_path: Path):
    folder = tmp_path / "bench"
    shutil.copytree(recordings, folder)
    lines = to_carry_out(page)
    if "--feed bench.toml" in "\n".join(lines) and not any("-o bench.toml" in line for line in lines):
        lines.insert(0, "audiotest feed hiss hiss.wav --if-bandwidth-khz 8 -o bench.toml")
    if any(re.search("sheet measure 1", line) for line in lines) and not any("sheet new" in x for x in lines):
        lines[:0] = ["audiotest sheet new Invented Wren --service uk-27fm", "audiotest sheet open 1"]
    program = f'audiotest() {{ {shlex.quote(sys.executable)} -m audiotest "$@"; }}'
    script = "\n".join([program, "set -eu", *lines])
    done = subprocess.run(
        ["bash", "-c", script],
        cwd=folder,
        env=os.environ | {"HOME": str(tmp_path), "AUDIOTEST_SHEETS": str(tmp_path / "sheets.sqlite")},
        stdin=subprocess.DEVNULL,
        capture_output=True,
        text=True,
        timeout=300,
    )
    assert done.returncode == 0, done.stderr
    for made in re.findall(r"(?:-o|--feed-out|--wav|>) (\S+\.\w+)", script):
        assert (folder / made).stat().st_size > 0, made
