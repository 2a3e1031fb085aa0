"""What running text and tables mention is carried out too, and no documented command is left over."""

import os
import shlex
import shutil
import signal
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
import soundfile
from scipy.signal import butter, sosfilt

from audiotest.__main__ import main
from audiotest.feeds.feedfile import save_feed
from audiotest.radio.scenario import demo_simulation, demo_steps
from audiotest.tones.level import OutputScale, save_output
from docs.make_examples import make_recordings
from tests.docs import test_commands_run as by_page
from tests.docs import test_commands_soundcard as on_cards
from tests.docs.reading import PAGES, ROOT, calls_in, inline_calls, shell_lines
from tests.docs.test_commands import _is_name_only
from tests.live.conftest import WIRE_FEED

RATE_HZ = 48000
PATH_TONES_HZ = (200, 250, 310, 390, 480, 600, 750, 950)

MENTIONED: dict[str, dict[str, str]] = {
    "bench balance --rehearse": {},
    "bench balance --rehearse --json": {},
    "check DIR": {"DIR/first.flac": "found.flac", "DIR/second.flac": "left.flac"},
    "check before.wav after.wav --feed bench.toml": {"before.wav": "found.wav", "after.wav": "left.wav"},
    "check clip.ogg": {"clip.ogg": "found.ogg"},
    "check clip.wav --feed bench.toml --limits uk-27fm --channel 1 --json": {"clip.wav": "found.wav"},
    "compare FIRST SECOND": {"FIRST": "found.flac", "SECOND": "left.flac"},
    "demo --text --seconds 1": {},
    "feed learn REF --tone-hz 1000 --deviation-khz 1.5 --deemphasis-us 750 -o FEED.toml": {"REF": "tone.wav"},
    "feed learn-path REF --feed FEED.toml": {"REF": "limited.wav", "FEED.toml": "bench.toml"},
    "feed learn-path tones.wav --feed bench.toml": {"tones.wav": "limited.wav"},
    "feed learn-path tones.wav --feed bench.toml --keep-ceiling": {"tones.wav": "limited.wav"},
    "heard FILE": {"FILE": "found.wav"},
    "iq FILE": {"FILE": "iq.wav"},
    "limits": {},
    "send voice english_reading --seconds 9 --millivolt 3 --output bench-out.toml --wav sent.wav": {},
    "sheet attach 1 found FILE": {"FILE": "found.flac"},
    "sheet check": {},
    "sheet copy FILE": {},
    "sheet list WORDS": {},
    "sinad clip.wav": {"clip.wav": "tone.wav"},
}
"""Each with the files that it names, and what they are made of."""
WINDOW = "demo"
NOT_RUN = {
    "feed hiss REF --if-bandwidth-khz 1.5 --deemphasis-us 750 -o FEED.toml": "scale.md has a bandwidth in it",
    "demo --text": "is run for some seconds only, and whole by the README's first block",
    "sheet measure 1 left sensitivity.json": "takes what a generator gave: tests/keep/test_benchresult.py",
}


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Overs, tones and hiss, as the pages take them for granted."""
    folder = tmp_path_factory.mktemp("made")
    make_recordings(folder)
    for name, number in (("found", 0), ("left", 1)):
        over = demo_simulation(demo_steps()[number])
        for kind in ("wav", "flac", "ogg"):
            soundfile.write(folder / f"{name}.{kind}", over.audio, over.sample_rate_hz)
    second = 2.0 * np.pi * np.arange(RATE_HZ) / RATE_HZ
    gap = np.zeros(RATE_HZ // 20)
    tones = np.concatenate([part for hz in PATH_TONES_HZ for part in (10.0 * np.sin(hz * second), gap)])
    behind = sosfilt(butter(4, 3000.0, fs=RATE_HZ, output="sos"), np.clip(tones, -1.0, 1.0))
    noise = np.random.default_rng(1).standard_normal(behind.size)
    soundfile.write(folder / "limited.wav", 0.4 * behind + 1e-4 * noise, RATE_HZ)
    turn = 2.0 * np.pi * np.arange(5 * RATE_HZ) / RATE_HZ
    carrier = 0.5 * np.exp(1j * (300.0 * turn + 2.0 * np.sin(1000.0 * turn)))
    soundfile.write(folder / "iq.wav", np.column_stack([carrier.real, carrier.imag]), RATE_HZ)
    save_feed(WIRE_FEED, folder / "bench.toml")
    output = OutputScale(name="output", full_scale_mv=100.0, ceiling_mv=80.0)
    save_output(output, folder / "bench-out.toml")
    return folder


@pytest.mark.parametrize("call", MENTIONED)
def test_a_mentioned_command_does_what_it_is_mentioned_for(
    call: str, made: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    for variable in ("HOME", "XDG_CACHE_HOME"):
        monkeypatch.setenv(variable, str(tmp_path))
    monkeypatch.setenv("AUDIOTEST_SHEETS", str(tmp_path / "sheets.sqlite"))
    for name in ("bench.toml", "bench-out.toml"):
        shutil.copy(made / name, name)
    for name, source in MENTIONED[call].items():
        Path(name).parent.mkdir(exist_ok=True)
        shutil.copy(made / source, name)
    if call.startswith("sheet"):
        assert (
            main(["sheet", "new", "Invented", "Words", "--service", "uk-27fm"])
            == main(["sheet", "open", "1"])
            == 0
        )
    assert main(shlex.split(call)) == 0
    assert capsys.readouterr().out.strip()


@pytest.mark.window
def test_the_window_opens_on_the_simulated_set(tmp_path: Path) -> None:
    """``demo``, off screen, ended by Ctrl-C where it was started."""
    pytest.importorskip("PySide6")
    environment = os.environ | {"QT_QPA_PLATFORM": "offscreen", "HOME": str(tmp_path)}
    printed = tmp_path / "printed"
    with printed.open("wb") as file:
        window = subprocess.Popen(
            [sys.executable, "-m", "audiotest", WINDOW],
            env=environment, cwd=ROOT, stdin=subprocess.DEVNULL, stdout=file, stderr=subprocess.STDOUT,
        )  # fmt: skip
    try:
        with pytest.raises(subprocess.TimeoutExpired):
            window.wait(6.0)
        window.send_signal(signal.SIGINT)
        assert window.wait(30.0) == 130, printed.read_text("utf-8")
    finally:
        window.kill()
        window.wait(10.0)
    assert "Traceback" not in printed.read_text("utf-8")


def test_no_documented_command_is_left_over() -> None:
    shown = {shlex.join(call) for page in PAGES for line in shell_lines(page) for call in calls_in(line)}
    running_text = {
        shlex.join(call) for page in PAGES for call in inline_calls(page) if not _is_name_only(call)
    }
    carried_out = {
        shlex.join(call)
        for page in by_page.PAGES_WITH_COMMANDS
        for line in by_page.to_carry_out(page)
        for call in calls_in(line)
    }
    known = carried_out | on_cards.RUN | on_cards.AS.keys() | MENTIONED.keys() | {WINDOW}
    assert (shown | running_text) - known - NOT_RUN.keys() == set()
    assert (MENTIONED.keys() | NOT_RUN.keys()) - {"limits", "sheet check"} <= shown | running_text
