"""``audiotest bench``, ``send``, ``heard`` and ``iq`` from the command line."""

import io
import json
import wave
from typing import ClassVar

import numpy as np
import pytest
import soundfile as sf
from rich.console import Console

from audiotest.__main__ import main
from audiotest.errors import FileError, RequestError
from audiotest.feeds.scale import load_feed
from audiotest.radio.bench import receive_levels
from audiotest.radio.iq import IqReceiver, am_tone_iq, fm_tone_iq
from audiotest.radio.link import simulate
from audiotest.radio.settings import Receiver, SoundCard, Timing, Transmitter
from audiotest.radio.voices import load_voice
from audiotest.standards.fm import null_tone_hz
from audiotest.terminal import bench as bench_command
from audiotest.terminal import send as send_command
from audiotest.terminal.benchoptions import PROCEDURES as NAMED
from audiotest.terminal.consent import TerminalTechnician
from audiotest.tones.byhand import NULL_BY_HAND
from audiotest.tones.catalogue import PROCEDURES
from audiotest.tones.level import OutputScale, prepare, save_output
from audiotest.tones.rehearsal import DEMO_RECEIVER, DEMO_SET, SCALE_KHZ_PER_FS, Rehearsal
from audiotest.tones.signals import dtmf, speech, subaudible
from audiotest.tones.steps import GENERATOR_OFF_DBM, Ask, Step

QUICK = ("distortion", "hum", "two-tone", "frequency", "frequency-iq", "rx-distortion", "rx-hum", "squelch")


def document(capsys):
    out = capsys.readouterr().out
    return json.loads(out)


def test_the_list_in_the_help_is_the_catalogue():
    assert set(NAMED) == set(PROCEDURES) | {NULL_BY_HAND}


@pytest.mark.parametrize("procedure", QUICK)
def test_every_procedure_rehearses(procedure, capsys):
    assert main(["bench", procedure, "--rehearse", "--json"]) == 0
    found = document(capsys)
    assert found["schema"] == "audiotest-bench-1"
    assert found["rehearsed"] is True
    assert found["complete"] is True
    assert all(
        figure["value"] is not None for figure in found["figures"] if not figure["key"].endswith("order_db")
    )


def test_a_rehearsal_says_once_what_each_step_would_have_one_do(capsys):
    assert main(["bench", "squelch", "--rehearse", "--json"]) == 0
    shown = capsys.readouterr()
    assert json.loads(shown.out)["complete"]
    assert [line.strip() for line in shown.err.splitlines()] == [
        "set the squelch as it is used",
        "set the generator's level: -130 dBm",
        "The squelch has to be shut now.",
        "Level by level.",
    ]


def test_a_rehearsal_of_the_balance_draws_drive_and_peak(capsys):
    assert main(["bench", "balance", "--rehearse"]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert lines[0].startswith("  Over 1: key up")
    assert " o drive   dB" in lines
    assert " o peak   kHz" in lines
    assert sum(line[9:11].strip() == "|" for line in lines) == 12


def test_a_rehearsal_reads_on_80_columns(capsys):
    assert main(["bench", "response", "--rehearse"]) == 0
    out = capsys.readouterr().out
    assert "complete, rehearsed on the simulated radio" in out
    assert "least margin" in out
    assert max(len(line) for line in out.splitlines()) <= 80


def test_frequency_has_ppm_and_a_verdict(capsys):
    argv = ["bench", "frequency", "--rehearse", "--json", "--nominal-mhz", "27.6", "--tolerance-hz", "100"]
    assert main(argv) == 0
    figures = {figure["key"]: figure for figure in document(capsys)["figures"]}
    assert figures["frequency_error_hz"]["value"] == pytest.approx(DEMO_SET.offset_hz, abs=0.5)
    assert figures["frequency_error_hz"]["passed"] is False
    assert figures["frequency_error_ppm"]["value"] == pytest.approx(DEMO_SET.offset_hz / 27.6, abs=0.05)


def test_without_a_tolerance_no_limit_is_named(capsys):
    assert main(["bench", "frequency", "--rehearse"]) == 0
    assert "limit" not in capsys.readouterr().out


@pytest.mark.parametrize("more", [[], ["--iq"], ["--wanted-khz", "1.2"]])
def test_the_carrier_null_by_hand_is_caught_and_gives_a_feed(more, tmp_path, capsys):
    path = tmp_path / "null.toml"
    argv = [
        "bench",
        NULL_BY_HAND,
        "--rehearse",
        "--json",
        "--deemphasis-us",
        "0",
        "--feed-out",
        str(path),
        *more,
    ]
    assert main(argv) == 0
    found = document(capsys)
    figures = {figure["key"]: figure["value"] for figure in found["figures"]}
    wanted_khz = 1.2 if "--wanted-khz" in more else 1.5
    assert found["complete"]
    assert figures["tone_hz"] == pytest.approx(1e3 * wanted_khz / 2.404826, abs=0.01)
    # Caught at 30 dB down or more the deviation is within 2.5 % of the one sought.
    assert figures["scale_khz_per_fs"] == pytest.approx(SCALE_KHZ_PER_FS, rel=0.025)
    assert load_feed(path).scale_khz_per_fs == pytest.approx(SCALE_KHZ_PER_FS, rel=0.025)
    assert {curve["name"] for curve in found["curves"]} == {"carrier", "first sidebands", "|J0|", "|J1|"}


def test_an_interruption_prints_what_was_measured_and_exits_130(capsys, monkeypatch):
    def stop(step):
        stop.left -= 1
        if stop.left == 0:
            raise KeyboardInterrupt

    stop.left = 8
    monkeypatch.setattr(bench_command, "rehearsal_for", lambda name, given: Rehearsal(on_step=stop))
    assert main(["bench", "rx-response", "--rehearse", "--json"]) == 130
    found = document(capsys)
    assert found["complete"] is False
    assert len(found["curves"][0]["points"]) == 7
    assert any("stopped early" in note for note in found["notes"])


@pytest.mark.parametrize(
    ("argv", "words"),
    [
        (["bench", "limiting"], "learned scale"),
        (["bench", "squelch", "--limits", "nowhere"], "nowhere"),
        (["bench", "dance"], "dance"),
        (["send", "tone", "1000"], "no level"),
        (["send", "tone", "1000", "--millivolt", "3"], "not known"),
        (["send", "tone", "x", "--millivolt", "3"], "no frequencies"),
        (["send", "tone", "--millivolt", "3"], "needs 1 value"),
        (["send", "steps", "--millivolt", "3"], "one value or more"),
        (["send", "burst", "5", "--millivolt", "3"], "takes no value"),
        (["send", "noise", "7", "--millivolt", "3"], "takes no value"),
        (["bench", NULL_BY_HAND, "--rehearse", "--wanted-khz", "0.01"], "not from 0.5 to 6 kHz"),
        (["send", "learn"], "--output"),
        (["bench", "squelch", "--rehearse", "--iq"], "--iq goes with carrier-null-hand"),
        (["bench", "squelch", "--rehearse", "--wanted-khz", "2"], "--wanted-khz goes with"),
        (["bench", "squelch", "--rehearse", "--feed-out", "x.toml"], "--feed-out goes with carrier-null and"),
        (["sinad", "--rehearse", "/nowhere.wav"], "--rehearse"),
        (["heard", "/nowhere.wav"], "nowhere.wav"),
        (["iq", "/nowhere.wav"], "nowhere.wav"),
        (["iq", "a.wav", "--seconds", "5"], "--seconds is for the sound card"),
        (["iq", "a.wav", "--device", "2"], "--device is for the sound card"),
        (["iq", "a.wav", "--channel-khz", "11.9"], "give 12 or more"),
        (["sinad", "a.wav", "--device", "2"], "--device is for the sound card"),
    ],
)
def test_what_cannot_be_done_is_said_in_one_line(argv, words, capsys):
    assert main(argv) == 2
    err = capsys.readouterr().err
    assert words in err
    assert err.count("\n") == 1


@pytest.fixture
def learned(tmp_path):
    path = tmp_path / "out.toml"
    save_output(OutputScale(name="out", full_scale_mv=100.0, ceiling_mv=20.0), path)
    return path


class Played:
    """Stands for the sound card's output."""

    made: ClassVar = []

    def __init__(self, device, rate_hz):
        self.rate_hz, self.samples, self.playing, self.closed = rate_hz, None, False, False
        Played.made.append(self)

    def play(self, samples):
        self.samples = samples

    def stop(self):
        self.playing = False

    def close(self):
        self.closed = True


@pytest.fixture
def card(monkeypatch):
    Played.made = []
    monkeypatch.setattr(send_command, "SoundOutput", Played)
    return Played.made


def test_nothing_sounds_without_a_yes(learned, card, capsys, monkeypatch):
    argv = ["send", "tone", "1000", "--millivolt", "5", "--output", str(learned)]
    for typed in ("no\n", ""):
        monkeypatch.setattr("sys.stdin", io.StringIO(typed))
        assert main(argv) == 2
        assert card == []
    out = capsys.readouterr().out
    for word in ("will be transmitted", "dummy load", "licence", "headphones", "Key down only"):
        assert word in out
    monkeypatch.setattr("sys.stdin", io.StringIO("yes\n"))
    assert main(argv) == 0
    assert len(card) == 1
    assert card[0].closed
    assert np.max(np.abs(card[0].samples)) == pytest.approx(0.05, rel=0.01)


def test_over_the_ceiling_is_refused_even_when_confirmed(learned, card, capsys):
    argv = ["send", "tone", "1000", "--millivolt", "19", "--output", str(learned), "--confirmed"]
    assert main(argv) == 2
    assert "ceiling" in capsys.readouterr().err
    assert card == []


def test_an_output_is_learned_with_a_meter(tmp_path, card, monkeypatch, capsys):
    monkeypatch.setattr("sys.stdin", io.StringIO("yes\n7,75\n"))
    path = tmp_path / "new.toml"
    assert main(["send", "learn", "--output", str(path)]) == 0
    assert "77.5 mV" in capsys.readouterr().out
    assert np.max(np.abs(card[0].samples)) == pytest.approx(0.1, rel=0.01)


def test_a_wav_file_instead_of_sound(learned, tmp_path, card):
    path = tmp_path / "keys.wav"
    argv = ["send", "keys", "123", "--millivolt", "5", "--output", str(learned), "--wav", str(path)]
    assert main(argv) == 0
    assert card == []
    with wave.open(str(path)) as file:
        assert file.getframerate() == 48000
    assert main(argv) == 2  # it is there already


def test_what_was_sent_is_heard(tmp_path, capsys):
    scale = OutputScale(name="out", full_scale_mv=100.0)
    rate = 48000
    keys, voice = dtmf("59#"), speech("english_reading", 3.0)
    x = np.concatenate([np.zeros(rate // 4), prepare(keys, 10.0, scale), prepare(voice, 5.0, scale)])
    x = x + 0.02 * subaudible(103.5, len(x) / rate).samples[: len(x)]
    sf.write(tmp_path / "over.wav", x, rate)
    assert main(["heard", str(tmp_path / "over.wav"), "--json"]) == 0
    found = document(capsys)
    assert [key["key"] for key in found["keys"]] == ["5", "9", "#"]
    assert found["subaudible"]["table_hz"] == 103.5
    assert found["subaudible"]["deviation_khz"] is None
    assert found["burst"] is None
    assert found["calls"] == []
    assert main(["heard", str(tmp_path / "over.wav")]) == 0
    assert "the table's 103.5" in capsys.readouterr().out


def test_an_iq_recording_gives_deviation_offset_and_bandwidth(tmp_path, capsys):
    receiver = IqReceiver(sample_rate_hz=48000, offset_hz=240.0)
    tone_hz = null_tone_hz(2.5)
    made = fm_tone_iq(tone_hz, 2.5, 1.0, receiver, seed=1)
    sf.write(tmp_path / "fm.wav", made.stereo(), 48000)
    assert main(["iq", str(tmp_path / "fm.wav"), "--json", "--channel-khz", "20"]) == 0
    found = document(capsys)
    assert found["offset_hz"] == pytest.approx(240.0, abs=1.0)
    assert found["deviation"]["positive_khz"] == pytest.approx(2.5, abs=0.02)
    assert found["carrier"]["index"] == pytest.approx(2.4048, abs=0.02)
    assert found["carrier"]["carrier_db"] < -30.0
    assert found["am"] is None
    assert main(["iq", str(tmp_path / "fm.wav"), "--am"]) == 2
    assert "for FM measure the deviation" in capsys.readouterr().err
    sf.write(tmp_path / "one.wav", made.stereo()[:, 0], 48000)
    assert main(["iq", str(tmp_path / "one.wav")]) == 2
    assert "one.wav: has one channel, and I/Q needs two: record I on the left" in capsys.readouterr().err


@pytest.mark.parametrize("depth", [0.3, 0.85])
def test_an_am_recording_gives_its_depth_within_one_percent(depth, tmp_path, capsys):
    made = am_tone_iq(1000.0, depth, 1.0, IqReceiver(sample_rate_hz=48000, offset_hz=-310.0), seed=1)
    sf.write(tmp_path / "am.wav", made.stereo(), 48000)
    assert main(["iq", str(tmp_path / "am.wav"), "--am", "--json"]) == 0
    found = document(capsys)["am"]
    for key in ("positive_percent", "negative_percent", "depth_percent"):
        assert found[key] == pytest.approx(100.0 * depth, abs=1.0)


def test_a_carrier_null_teaches_a_feed(tmp_path, capsys):
    path = tmp_path / "null.toml"
    argv = ["bench", "carrier-null", "--rehearse", "--json", "--deemphasis-us", "0", "--feed-out", str(path)]
    assert main(argv) == 0
    assert document(capsys)["complete"] is True
    feed = load_feed(path)
    assert feed.method == "carrier-null"
    assert feed.scale_khz_per_fs == pytest.approx(8.0, rel=0.02)
    assert main(["bench", "squelch", "--rehearse", "--feed-out", str(path)]) == 2


class Keyboard:
    """Typed lines, one after the other, with what was shown before each."""

    def __init__(self, monkeypatch, *lines):
        monkeypatch.setattr("sys.stdin", io.StringIO("".join(f"{line}\n" for line in lines)))
        self.screen = io.StringIO()
        self.technician = TerminalTechnician(Console(file=self.screen, width=200))


def test_settings_are_taken_as_typed_or_as_suggested(monkeypatch):
    keyboard = Keyboard(monkeypatch, "", "ten", "-101,5", "")
    step = Step(
        prompt="Level by level.",
        asks=(
            Ask(setting="generator_tone_hz", words="modulate", suggested=1000.0, unit="Hz"),
            Ask(setting="generator_dbm", words="level", suggested=-100.0, unit="dBm"),
            Ask(setting="generator_dbm", words="off", suggested=GENERATOR_OFF_DBM),
        ),
    )
    assert keyboard.technician(step) == (1000.0, -101.5, GENERATOR_OFF_DBM)
    assert "not a number" in keyboard.screen.getvalue()


def test_the_set_is_keyed_once_and_let_go(monkeypatch):
    keyboard = Keyboard(monkeypatch, "", "")
    keyed, quiet = Step(prompt="tone", keyed=True), Step(prompt="quiet")
    for step in (keyed, keyed, quiet):
        keyboard.technician(step)
    shown = keyboard.screen.getvalue()
    assert shown.count("Key the set") == 1
    assert shown.count("Unkey the set") == 1
    keyboard.technician.let_go()
    assert "Let the set go" not in keyboard.screen.getvalue()


def test_a_long_carrier_is_broken_for_the_set_to_cool(monkeypatch):
    keyboard = Keyboard(monkeypatch, "", "", "")
    keyboard.technician(Step(prompt="tone", keyed=True))
    keyboard.technician.keying.since_s -= 100.0
    keyboard.technician(Step(prompt="tone", keyed=True))
    assert "cool for 100 s" in keyboard.screen.getvalue()
    keyboard.technician.let_go()
    assert "Let the set go" in keyboard.screen.getvalue()


def test_nobody_at_the_keyboard_is_no_answer(monkeypatch):
    keyboard = Keyboard(monkeypatch)
    with pytest.raises(RequestError, match="nobody answers"):
        keyboard.technician(Step(prompt="tone", keyed=True))


def test_an_end_beep_is_heard_before_the_hiss_that_follows(tmp_path, capsys):
    # 'check' finds it there, and 'record' cuts its files half a second beyond the carrier.
    voice, rate_hz = load_voice("english_reading")
    sender = Transmitter(end_beep_hz=1750.0)
    heard = simulate(voice[: 5 * rate_hz], rate_hz, sender, Receiver(), SoundCard(), Timing(), seed=5)
    path = str(tmp_path / "over.wav")
    sf.write(path, heard.audio, heard.sample_rate_hz)
    assert main(["check", path, "--json"]) == 0
    (over,) = document(capsys)["files"][0]["overs"]
    assert main(["heard", path, "--json"]) == 0
    assert document(capsys)["end_beep"] == {
        key: pytest.approx(over["end_beep"][key], abs=1e-3) for key in ("frequency_hz", "start_s", "end_s")
    }
    assert main(["heard", path]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert any(line.startswith(" end beep    175") for line in lines)
    # A label as wide as its column would run into the text.
    assert all(line[12] == " " for line in lines)


@pytest.fixture(scope="module")
def falling(tmp_path_factory):
    """A receiver's audio while the generator falls through the mark."""
    heard = receive_levels([-100.0, -125.0], 2.0, 1000.0, 1.5, DEMO_RECEIVER, seed=3)
    path = tmp_path_factory.mktemp("sinad") / "falling.wav"
    sf.write(path, heard.audio, heard.sample_rate_hz)
    return str(path)


def test_sinad_five_times_a_second(falling, capsys):
    assert main(["sinad", falling, "--json"]) == 0
    rows = document(capsys)["readings"]
    assert np.diff([row["time_s"] for row in rows]) == pytest.approx(0.2)
    # The first window holds the squelch as it opens; at the end the tone has gone under in the noise.
    read = [row for row in rows if row["note"] is None]
    assert max(row["sinad_db"] for row in read) > 20.0
    assert read[-1]["sinad_db"] < 12.0
    assert rows[-1]["note"] == "no steady tone near 1000 Hz"
    assert all(row["sinad_sd_db"] > 0.0 for row in read)
    assert main(["sinad", falling, "--seconds", "2"]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert len(lines) == 6
    assert max(len(line) for line in lines) <= 80


@pytest.mark.parametrize("level", ["999", "-999", "nan", "1e30"])
def test_a_generator_level_that_cannot_be_is_refused(level, capsys):
    assert main(["bench", "sensitivity", f"--start-dbm={level}", "--rehearse"]) == 2
    errors = capsys.readouterr().err
    assert "--start-dbm" in errors
    assert "not from -140 to 0 dBm" in errors
    assert errors.count("\n") == 1


def test_a_level_that_was_typed_wrong_is_asked_for_again(monkeypatch):
    screen = io.StringIO()
    monkeypatch.setattr("sys.stdin", io.StringIO("999\n-99.5\n"))
    technician = TerminalTechnician(Console(file=screen, width=200))
    asked = Ask(setting="generator_dbm", words="set the generator's level", suggested=-100.0, unit="dBm")
    assert technician(Step(prompt="SINAD.", asks=(asked,))) == (-99.5,)
    assert "999 is not from -174 to 30" in screen.getvalue()


def test_a_channel_wider_than_any_is_refused(capsys):
    assert main(["iq", "iq.wav", "--channel-khz", "1e9"]) == 2
    assert "not from 1 to 250 kHz" in capsys.readouterr().err


def test_a_feed_that_cannot_be_written_does_not_take_the_report_along(tmp_path, capsys, monkeypatch):
    place = tmp_path / "null.toml"

    def full(feed, path):
        raise FileError(f"{path}: cannot be written: No space left on device", "name another place")

    monkeypatch.setattr(bench_command, "save_feed", full)
    call = ["bench", "carrier-null", "--rehearse", "--deemphasis-us", "0", "--feed-out", str(place)]
    assert main(call) == 2
    said = capsys.readouterr()
    assert "Carrier null: complete" in said.out
    assert "null.toml: cannot be written" in said.err
