"""The whole way on a real X display: sound server, PortAudio, engine, window, keys; then the card goes."""

import importlib.util
import json
import os
import shutil
import subprocess
import sys
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile
from PySide6.QtGui import QImage

from audiotest.feeds.feedfile import save_feed
from audiotest.feeds.file import open_recording
from audiotest.radio.link import laboratory_hiss, simulate_session
from audiotest.radio.settings import Receiver, SoundCard, Timing, Transmitter
from audiotest.radio.voices import load_voice
from audiotest.records import Feed
from audiotest.session.engine import Engine
from audiotest.standards.limits import get_limits
from audiotest.window.settings import Settings, save_settings
from tests.window.processes import Told, x_display


def _load_card() -> Any:
    """The virtual sound card of the live tests."""
    path = Path(__file__).parents[1] / "live" / "conftest.py"
    spec = importlib.util.spec_from_file_location("live_card", path)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules["live_card"] = module
    spec.loader.exec_module(module)
    return module


card = _load_card().card

pytestmark = [pytest.mark.window, pytest.mark.soundcard]

RATE_HZ = 48000
SCALE_KHZ = 8.0
FEED = Feed(
    name="bench", method="tone", scale_khz_per_fs=SCALE_KHZ, scale_uncertainty_db=0.2, deemphasis_us=750.0,
    tone_hz=1000.0, deviation_khz=1.5, if_bandwidth_khz=None, hiss_dbfs=None, learned="for the test",
)  # fmt: skip


@pytest.fixture
def display() -> Iterator[str]:
    """An X server of the test's own on a free display."""
    if shutil.which("Xvfb") is None:
        if os.environ.get("CI"):
            pytest.fail("Xvfb not found: the real display must run here")
        pytest.skip("Xvfb not found")
    with x_display("1280x720x24") as name:
        yield name


def event(name: str) -> Callable[[dict[str, Any]], bool]:
    """What is waited for of the window."""
    return lambda told: told["event"] == name


def peak_of(path: Path) -> float:
    """Peak deviation in kHz of the one over in a file, as the engine measures it."""
    source = open_recording(path)
    engine = Engine(source.sample_rate_hz, feed=FEED, limits=get_limits("uk-27fm"))
    overs = [over for block in source.blocks() for over in engine.push(block.samples)] + engine.finish()
    source.close()
    (over,) = overs
    assert over.deviation.peak_khz is not None
    return over.deviation.peak_khz


def recording(path: Path) -> None:
    """Hiss, one over driven far too hard, hiss."""
    voice, rate_hz = load_voice("english_reading")
    sent = (voice[: 6 * rate_hz], rate_hz, Transmitter(drive_db=20.0, ceiling_khz=2.0))
    receiver = Receiver(scale_khz_per_fs=SCALE_KHZ)
    session = simulate_session([sent], receiver, SoundCard(), Timing(), seed=11)
    hiss = laboratory_hiss(2.0, receiver, SoundCard(), seed=12).audio
    whole = np.clip(np.concatenate([hiss, session.audio, hiss]), -1.0, 32767 / 32768)
    soundfile.write(path, np.round(whole * 32768.0).astype(np.int16), RATE_HZ)


@pytest.fixture
def window(card: Any, display: str, tmp_path: Path) -> Iterator[Told]:
    """The window on that display, listening to the virtual card, its files in the test's own folder."""
    feed, settings = tmp_path / "bench.toml", tmp_path / "window.toml"
    save_feed(FEED, feed)
    remembered = Settings(
        set_up=True, appearance="light", clips_folder=str(tmp_path / "clips"),
        recordings_folder=str(tmp_path / "tapes"),
    )  # fmt: skip
    save_settings(remembered, settings)
    script = str(Path(__file__).with_name("livewindow.py"))
    variables = card.environment | {"DISPLAY": display, "QT_QPA_PLATFORM": "xcb"}
    command = [sys.executable, script, "pulse", str(feed), str(settings)]
    made = Told(command, variables, tmp_path / "window.log")
    try:
        assert made.wait_for(event("listening"))["platform"] == "xcb"
        yield made
    finally:
        made.end()


def voice_over(window: Told) -> dict[str, Any]:
    """The next over with a voice.

    The null sink is digitally silent before: its change to hiss may be taken for a carrier of its own.
    """
    over = window.wait_for(event("over"))
    return over if over["drive_db"] is not None else window.wait_for(event("over"))


def said(words: str) -> Callable[[dict[str, Any]], bool]:
    """A message of the window."""
    return lambda told: told["event"] == "message" and words in told["text"]


def test_what_the_window_records_is_what_check_measures(card: Any, window: Told, tmp_path: Path) -> None:
    played = tmp_path / "played.wav"
    recording(played)
    window.order("key Ctrl+R")
    started = window.wait_for(said("recording to "))
    card.play(played)
    over = voice_over(window)
    picture = tmp_path / "screen.png"
    window.order(f"grab {picture}")
    window.wait_for(event("grabbed"))
    window.order("key Ctrl+R")
    ended = window.wait_for(said("recorded"))
    (folder,) = (tmp_path / "tapes").glob("recording *")
    assert started["text"] == f"recording to {folder}"
    assert ended["text"].endswith(f": {folder}")
    besides = [json.loads(path.read_text()) for path in sorted(folder.glob("over *.json"))]
    (beside,) = [beside for beside in besides if beside["over"]["kind"] == "voice"]
    assert beside["advice"]["sentence"] == over["sentence"]
    assert beside["over"]["limiter"]["drive_db"] == over["drive_db"]
    # The whole stream and the over by itself, measured again by the command that knows nothing of windows.
    files = [str(folder / "part 0001.flac"), str(folder / beside["clip"])]
    command = [sys.executable, "-m", "audiotest", "check", *files, "--feed", str(tmp_path / "bench.toml")]
    done = subprocess.run([*command, "--json"], capture_output=True, text=True, check=True)
    measured = json.loads(done.stdout)["files"]
    for file in measured:
        (found,) = [found for found in file["overs"] if found["kind"] == "voice"]
        assert file["sample_rate_hz"] == beside["sample_rate_hz"]
        assert found["advice"]["mic_gain"] == "lower"
        # Both begin on the engine's own beat; but less hiss is around the over than was heard.
        assert found["deviation"]["p999_khz"] == pytest.approx(
            beside["over"]["deviation"]["p999_khz"], rel=0.03
        )
        assert found["limiter"]["drive_db"] == pytest.approx(over["drive_db"], abs=0.5)
        if file["file"] == files[0]:
            # The single highest peak is told less exactly where there is less hiss to take the noise from.
            assert found["deviation"]["peak_khz"] == pytest.approx(over["peak_khz"], rel=0.03)
    window.order("close")
    assert window.process.wait(60.0) == 0


def test_from_the_sound_server_to_the_screen_and_on_without_the_card(
    card: Any, window: Told, tmp_path: Path
) -> None:
    played, clips, picture = tmp_path / "played.wav", tmp_path / "clips", tmp_path / "screen.png"
    recording(played)
    file_khz = peak_of(played)
    card.play(played)
    over = voice_over(window)
    assert over["mic"] == "lower"
    assert over["sentence"].startswith("Mic gain down")
    # What the file gives, but for where in the hiss the window came in.
    assert over["peak_khz"] == pytest.approx(file_khz, rel=0.03)
    assert over["lost"] == "no drop-outs"

    window.order(f"grab {picture}")
    window.wait_for(event("grabbed"))
    image = QImage(str(picture))
    assert (image.width(), image.height()) == (1280, 720)
    seen = {image.pixel(x, y) for x in range(0, 1280, 4) for y in range(0, 720, 4)}
    assert len(seen) > 20, "the screen shows the window"
    window.order("key F")
    assert window.wait_for(event("pressed"))["far"]
    window.order("key Esc")
    assert not window.wait_for(event("pressed"))["far"]

    card.vanish()
    assert "stopped delivering" in window.wait_for(event("trouble"))["state"]
    window.order("key K")
    assert "kept as" in window.wait_for(event("message"))["text"]
    assert len(list(clips.glob("*.flac"))) == 1
    window.order("close")
    assert window.process.wait(60.0) == 0
