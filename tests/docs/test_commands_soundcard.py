"""The documented commands that need a sound card, carried out on virtual ones as a user would.

Each is run from its page's words, with something sensible to hear, answered on its keyboard, and ended as it
is meant to be ended. They run beside one another, each on a wire of its own, because they run in real time.
"""

import json
import re
import shlex
import time
from collections.abc import Callable, Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import soundfile
from numpy.typing import NDArray
from scipy.signal import butter, sosfilt

from audiotest.feeds.feedfile import save_feed
from audiotest.radio.link import laboratory_hiss, simulate
from audiotest.radio.settings import Receiver, SoundCard, Timing, Transmitter
from audiotest.radio.transmitter import active_frames, select
from audiotest.radio.voices import load_voice
from audiotest.tones.level import OutputScale, load_output, save_output
from audiotest.tones.speechdrive import known_speech
from tests.docs.desk import Wire, new_wire
from tests.docs.reading import PAGES, calls_in, inline_calls, shell_lines
from tests.docs.test_commands_run import needs
from tests.live.conftest import RATE_HZ, WIRE_FEED, virtual_card

SCALE_KHZ = 8.0
SET_SCALE_KHZ = 4.6
"""Full scale of the feed behind a wire that is set up as a set: it saturates at 2.3 kHz."""
SET_ONSET_MV = 10.0
"""RMS at which a sine reaches such a set's limiter: 20 dB below the output's full scale."""
AT_ONCE = 8
FRAME_N = RATE_HZ // 50

LISTENING = (
    "live --text --device 2",
    "live --text --device 2 --feed bench.toml --limits uk-27fm",
    "live --text --device 2 --limits pmr446",
    "live --text --device 2 --channel 1 --feed bench.toml --limits uk-27fm --record DIR",
    "record as-left --device 2 --feed bench.toml",
)
RECORDING = "record DIR --device 2"
WINDOW = "live --record DIR"
SINAD = "sinad --device 2"
LEARN_OUTPUT = "send learn --output bench-out.toml --ceiling-mv 50"
TONE = "send tone 1000 --millivolt 5 --seconds 3 --output bench-out.toml"
CALL = "send call ZVEI-1 12345 --millivolt 3 --output bench-out.toml"
STEPS = "send steps 200 250 310 390 480 600 750 950 --output bench-out.toml --millivolt 20"
LEARN_PATH = "feed learn-path tones.wav --feed bench.toml"
BY_SPEECH = "bench drive-by-speech --output bench-out.toml --feed bench.toml --own-mv 2"
BY_TONE = "bench drive-by-tone --output bench-out.toml"
BALANCE = "bench balance --feed bench.toml"
CARRIER_NULL = "bench carrier-null --output bench-out.toml --deemphasis-us 750 --feed-out bench.toml"
SENSITIVITY = "bench sensitivity --json"
SHORT = {
    "bench limiting": " --output bench-out.toml --feed bench.toml",
    "bench distortion": " --output bench-out.toml --feed bench.toml",
    "bench frequency": "",
    "bench carrier-null-hand": "",
}
"""Procedures that the pages name alone, and what a reader of `bench.md` adds."""
RUN = {
    "inputs", *LISTENING, RECORDING, SINAD, LEARN_OUTPUT, TONE, CALL, STEPS, BY_SPEECH, BY_TONE, BALANCE,
    CARRIER_NULL, SENSITIVITY, WINDOW, *SHORT,
}  # fmt: skip
AS = {
    "live --text": LISTENING[0], "record DIR": RECORDING,
    "record as-found --device 2 --feed bench.toml": LISTENING[4], "sinad": SINAD, "send tone 1000": TONE,
    "bench balance": BALANCE, "bench drive-by-speech": BY_SPEECH, "bench drive-by-tone": BY_TONE,
    "bench sensitivity": SENSITIVITY, "record": RECORDING, "live": WINDOW,
}  # fmt: skip
"""What differs from a command that is run in small options only."""


def documented() -> set[str]:
    """Every call on the pages that needs a sound card."""
    calls = [call for page in PAGES for line in shell_lines(page) for call in calls_in(line)]
    calls += [call for page in PAGES for call in inline_calls(page)]
    return {shlex.join(call) for call in calls if needs(call) == "a sound card"}


def test_every_documented_command_is_run() -> None:
    assert documented() == RUN | AS.keys()
    assert set(AS.values()) <= RUN


def hiss(seconds: float, seed: int) -> NDArray[np.float64]:
    """An open squelch without a carrier."""
    return laboratory_hiss(
        seconds, Receiver(scale_khz_per_fs=SCALE_KHZ), SoundCard(), seed=seed
    ).audio.astype(np.float64)


def an_over(drive_db: float) -> NDArray[np.float64]:
    """Somebody talks over a set, between stretches of hiss."""
    voice, rate_hz = load_voice("english_reading")
    made = simulate(
        voice[: 6 * rate_hz], rate_hz, Transmitter(drive_db=drive_db), Receiver(scale_khz_per_fs=SCALE_KHZ),
        SoundCard(), Timing(), seed=3,
    )  # fmt: skip
    return np.concatenate([hiss(3.0, 4), made.audio.astype(np.float64), hiss(2.0, 5)])


def note(tone_hz: float, seconds: float, level: float) -> NDArray[np.float64]:
    """A steady tone in a little noise."""
    n = np.arange(round(seconds * RATE_HZ))
    noise = np.random.default_rng(1).standard_normal(n.size)
    return np.asarray(level * np.sin(2.0 * np.pi * tone_hz / RATE_HZ * n) + 2e-4 * noise)


def codes_of(raw: Path) -> NDArray[np.float64]:
    """What was heard on a wire, full scale 1.0."""
    return np.fromfile(raw, dtype="<i2") / 32768.0


def figure(text: str, words: str) -> float:
    """The figure behind its name on a card."""
    found = re.search(rf"{re.escape(words)} (-?[\d.]+)", text)
    assert found is not None, f"no {words!r} in {text}"
    return float(found[1])


def listening(wire: Wire) -> None:
    save_feed(replace(WIRE_FEED, deemphasis_us=750.0), wire.folder / "bench.toml")
    talks = [wire.start(call) for call in LISTENING]
    for talk in talks:
        talk.until(r"\d:\d\d\.\d (waiting|carrier|talking)|ecording")
    wire.play(an_over(16.0))
    for talk, call in zip(talks, LISTENING, strict=True):
        talk.until(r"Mic gain down, about \d+ dB")
        if "--feed" in call:
            talk.until(r"peak deviation \d\.\d\d kHz, \d+ % of the ±2\.5 kHz of uk-27fm")
        else:
            talk.until(r"deviation unknown|no feed scale")
        assert talk.interrupted() == 130, talk.text
    for folder in ("as-left", "DIR"):
        assert len([*(wire.folder / folder).glob("recording */over 0001.flac")]) == 1


def in_the_window(wire: Wire) -> None:
    """Off screen: what the window heard is on disk, and Ctrl-C where it was started closes it."""
    # The first time the window asks for an input; here it is told.
    talk = wire.start(f"{WINDOW} --device 2")
    kept = wire.folder / "DIR"
    talk.wait_for(lambda: any(kept.glob("recording */part 0001.flac")), "it records")
    wire.play(an_over(16.0))

    def told() -> bool:
        return any('"mic_gain": "lower"' in file.read_text("utf-8") for file in kept.glob("*/over *.json"))

    talk.wait_for(told, "an over is kept with its advice")
    assert talk.interrupted() == 130, talk.text


def scale(wire: Wire) -> None:
    """The README's third step: the tone is recorded with the program itself."""
    player = wire.play(note(1000.0, 70.0, 1.5 / SCALE_KHZ))
    talk = wire.start(RECORDING)
    talk.until(r"0:1[0-9]\.\d")
    assert player.poll() is None
    assert talk.interrupted() == 130, talk.text
    (part,) = (wire.folder / "DIR").glob("recording */part 0001.flac")
    part.rename(wire.folder / "tone.flac")
    learn = "feed learn tone.flac --tone-hz 1000 --deviation-khz 1.5 --deemphasis-us 750 -o bench.toml"
    assert figure(wire.run(learn).text, "full scale is") == pytest.approx(SCALE_KHZ, rel=0.01)


def sinad(wire: Wire) -> None:
    wire.play(receiver_audio(20.0))
    talk = wire.start(SINAD)
    said = talk.until(r"SINAD +([\d.]+)", 15)
    assert float(said) == pytest.approx(20.0, abs=1.0), talk.text
    assert talk.interrupted() == 130, talk.text


def sending(wire: Wire) -> None:
    raw = wire.folder / "heard.raw"
    learn = wire.start(LEARN_OUTPUT)
    learn.say("yes")
    learn.until("(?i)volt(s|meter)?.*(read|say)")
    learn.say("5")
    assert learn.ended() == 0, learn.text
    output = load_output(wire.folder / "bench-out.toml")
    assert output.full_scale_mv == pytest.approx(50.0, rel=0.01)

    with wire.card.recorded(raw, wire.name):
        assert "Silent again" in wire.run(TONE, "yes").text
    heard = codes_of(raw)
    frames = heard[: len(heard) // FRAME_N * FRAME_N].reshape(-1, FRAME_N)
    sounding = frames[np.std(frames, axis=1) > 0.01]
    # On a busy computer it may be broken off for a moment: what is heard of it is as long all the same.
    assert len(sounding) * FRAME_N / RATE_HZ == pytest.approx(3.0, abs=0.1)
    assert np.sqrt(2.0) * np.median(np.std(sounding, axis=1)) == pytest.approx(5.0 / 50.0, rel=0.02)
    spectrum = np.median(np.abs(np.fft.rfft(sounding, axis=1)), axis=0)
    assert int(np.argmax(spectrum)) * RATE_HZ / FRAME_N == 1000.0

    with wire.card.recorded(raw, wire.name):
        wire.run(CALL, "yes")
    soundfile.write(wire.folder / "call.wav", codes_of(raw), RATE_HZ)
    assert "12345" in wire.run("heard call.wav").text

    wire.set_up_as_a_set(mic_gain_db=30.0, deviation_db=-6.0)
    save_feed(replace(WIRE_FEED, scale_khz_per_fs=SET_SCALE_KHZ), wire.folder / "bench.toml")
    with wire.card.recorded(raw, wire.name):
        wire.run(STEPS, "yes")
    splatter = butter(4, 3000.0, fs=RATE_HZ, output="sos")
    soundfile.write(wire.folder / "tones.wav", sosfilt(splatter, codes_of(raw)), RATE_HZ)
    learnt = wire.run(LEARN_PATH).text
    heights = re.search(r" dB " + r"([-+][\d.]+) " * 7, learnt)
    assert heights is not None, learnt
    # What was put behind the limiter: -3 dB at 3 kHz, nothing up to half of it.
    assert [float(height) for height in heights.groups()] == pytest.approx(
        [0.0, 0.0, 0.0, 0.0, -0.2, -0.9, -3.0], abs=0.3
    )


def as_a_set(wire: Wire) -> None:
    """Files and volumes for a wire that clips at `SET_ONSET_MV` and swings 2.3 kHz then."""
    wire.set_up_as_a_set(mic_gain_db=20.0, deviation_db=-6.0)
    save_feed(replace(WIRE_FEED, scale_khz_per_fs=SET_SCALE_KHZ), wire.folder / "bench.toml")
    output = OutputScale(name="wire", full_scale_mv=100.0, ceiling_mv=150.0)
    save_output(output, wire.folder / "bench-out.toml")


def limiting(wire: Wire) -> None:
    as_a_set(wire)
    call = "bench limiting"
    text = wire.run(call + SHORT[call], "yes", "", "", "", "").text
    assert "Modulation limiting: complete" in text
    assert figure(text, "limiting sets in at") == pytest.approx(SET_ONSET_MV, rel=0.035)
    # 60 % of 2.5 kHz, on a slope of 2.3 kHz at the onset.
    assert figure(text, "input for 60 % of the limit") == pytest.approx(SET_ONSET_MV * 1.5 / 2.3, rel=0.035)


def distortion(wire: Wire) -> None:
    as_a_set(wire)
    call = "bench distortion"
    text = wire.run(call + SHORT[call], "yes", "", "").text
    assert "Transmitter distortion: complete" in text
    assert figure(text, "distortion, flat") < 0.1


def by_speech(wire: Wire) -> None:
    as_a_set(wire)
    text = wire.run(BY_SPEECH, "yes", "", "", "").text
    assert "Limiter drive by a known speech: complete" in text
    speech = known_speech(seconds=9.0)
    active = select(speech.samples, active_frames(speech.samples, speech.rate_hz), speech.rate_hz)
    peak_mv = 2.0 * np.quantile(np.abs(active), 0.999) / np.std(active)
    # A wire has no pre-emphasis, which the fit takes for granted in a set: it says so by a poor fit.
    drive_db = 20.0 * np.log10(peak_mv / SET_ONSET_MV / np.sqrt(2.0))
    assert figure(text, "drive at 2 mV") == pytest.approx(drive_db, abs=2.0)


def by_tone(wire: Wire) -> None:
    """Ended by Ctrl-C once the onset at 400 Hz is found: the second half takes as long again."""
    as_a_set(wire)
    talk = wire.start(BY_TONE)
    for line in ("yes", "", "", ""):
        talk.say(line)
    talk.until("1000 Hz, ")
    assert talk.interrupted() == 130, talk.text
    assert "NOT COMPLETE" in talk.text
    assert figure(talk.text, "onset at 400 Hz") == pytest.approx(SET_ONSET_MV, rel=0.035)


def balance(wire: Wire) -> None:
    save_feed(replace(WIRE_FEED, deemphasis_us=750.0), wire.folder / "bench.toml")
    talk = wire.start(BALANCE)
    talk.say("yes")
    talk.until("Press Enter, then key up and talk")
    talk.say()
    wire.play(an_over(16.0))
    talk.until("turn mic gain down .*? dB")
    assert talk.interrupted() == 130, talk.text
    assert "NOT COMPLETE" in talk.text
    assert re.search(r"over 1: Mic gain down, about \d+ dB", talk.text), talk.text


def carrier_null(wire: Wire) -> None:
    """A wire has no receiver for CW: the question for its note is asked again, then it stops, silent."""
    as_a_set(wire)
    talk = wire.start(CARRIER_NULL)
    for line in ("yes", "", "", "", ""):
        talk.say(line)
    assert talk.ended() == 2, talk.text
    assert talk.text.endswith("audiotest: there is no steady note: tune for a clear note of about 1.2 kHz")


def frequency(wire: Wire) -> None:
    talk = wire.start("bench frequency")
    talk.say("yes")
    talk.until("reference carrier on the nominal frequency.*?Then press Enter")
    player = wire.play(note(1200.0, 30.0, 0.2))
    talk.say()
    talk.say()
    talk.until("Reference off")
    player.kill()
    wire.play(note(1150.0, 30.0, 0.2))
    talk.say()
    talk.say()
    assert talk.ended() == 0, talk.text
    assert abs(figure(talk.text, "frequency error")) == pytest.approx(50.0, abs=0.5)


def carrier_null_hand(wire: Wire) -> None:
    """A receiver for CW on a set whose deviation is turned up past the null, and back to it; then for FM."""
    tone_hz = 1500.0 / 2.4048
    talk = wire.start("bench carrier-null-hand")
    talk.say("yes")
    talk.say()
    talk.until("tune to a note of about")
    plain = wire.play(note(1200.0, 60.0, 0.2))
    talk.say()
    talk.until(r"Tone of 623\.7 Hz on")
    plain.kill()
    index = np.concatenate([np.linspace(0.1, 2.6, 8 * RATE_HZ), np.full(20 * RATE_HZ, 2.4048)])
    turn = 2.0 * np.pi * np.arange(len(index)) / RATE_HZ
    turned = wire.play(0.2 * np.sin(1200.0 * turn + index * np.sin(tone_hz * turn)))
    talk.until("Null. Touch nothing; receiver back to FM")
    turned.kill()
    wire.play(note(tone_hz, 20.0, 1.5 / SCALE_KHZ))
    talk.say()
    talk.say()
    assert talk.ended() == 0, talk.text
    assert figure(talk.text, "deviation at the null") == pytest.approx(1.5, abs=0.01)
    assert figure(talk.text, "full scale of the FM feed") == pytest.approx(SCALE_KHZ, rel=0.02)


def receiver_audio(sinad_db: float) -> NDArray[np.float64]:
    """A receiver's 1 kHz at this SINAD: of white noise to 24 kHz, 300 to 3400 Hz are counted."""
    power = 10.0 ** (min(sinad_db, 40.0) / 10.0)
    rms = 0.3 / np.sqrt(2.0) / np.sqrt((power - 1.0) * 3100.0 / 24000.0)
    noise = np.random.default_rng(2).standard_normal(20 * RATE_HZ)
    return note(1000.0, 20.0, 0.3) + rms * noise


def sensitivity(wire: Wire) -> None:
    """Generator and receiver are played: at each level asked for, its SINAD. Ended below the 12 dB mark."""
    at_12_db = level_dbm = -113.0
    talk = wire.start(SENSITIVITY)
    talk.say("yes")
    for _ in range(3):
        talk.say()
    player = wire.play(receiver_audio(40.0))
    asked = 0
    while level_dbm >= at_12_db - 1.0:
        asked += 1
        level_dbm = float(talk.until(r"set the generator's level: (-?[\d.]+) dBm", asked))
        player.kill()
        player = wire.play(receiver_audio(12.0 + level_dbm - at_12_db))
        time.sleep(0.3)
        talk.say()
    assert talk.interrupted() == 130, talk.text
    found = json.loads(talk.text[talk.text.index("{") :])
    assert found["complete"] is False
    values = [each["value"] for each in found["figures"] if each["label"] == "12 dB SINAD"]
    assert values == [pytest.approx(at_12_db, abs=0.3)], found["figures"]


SCENARIOS: dict[str, Callable[[Wire], None]] = {
    each.__name__: each
    for each in (
        limiting, sensitivity, by_speech, sending, by_tone, listening, scale, carrier_null, balance,
        carrier_null_hand, frequency, distortion, sinad, in_the_window,
    )
}  # fmt: skip


@pytest.fixture(scope="module")
def going_on(tmp_path_factory: pytest.TempPathFactory) -> Iterator[dict[str, "Future[None]"]]:
    """All of them, begun beside one another."""
    folder = tmp_path_factory.mktemp("desk")
    with virtual_card(folder) as card, ThreadPoolExecutor(AT_ONCE) as pool:
        first = new_wire(card, "first", folder / "first", "?")
        listed = first.run("inputs").text
        found = re.search(r"(\d+) pulse\b", listed)
        assert found is not None, listed
        yield {
            name: pool.submit(scenario, new_wire(card, name, folder / name, found[1]))
            for name, scenario in SCENARIOS.items()
        }


@pytest.mark.soundcard
@pytest.mark.parametrize(
    "name",
    [pytest.param(name, marks=pytest.mark.window) if name == "in_the_window" else name for name in SCENARIOS],
)
def test_does_what_its_page_says(going_on: dict[str, "Future[None]"], name: str) -> None:
    if name == "in_the_window":
        pytest.importorskip("PySide6")
    going_on[name].result()
