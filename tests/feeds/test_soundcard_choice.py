"""Which inputs a made-up PortAudio has, how one is chosen, and what is refused."""

import subprocess
import sys
from types import SimpleNamespace
from typing import Any

import pytest

from audiotest.errors import DeviceError
from audiotest.feeds.soundcard import list_inputs, open_input
from audiotest.tones.output import SoundOutput
from tests.feeds.fakecard import FakeCard, device

pytestmark = pytest.mark.usefixtures("fake_card")


def test_inputs_are_listed_without_outputs() -> None:
    inputs = list_inputs()
    assert [found.name for found in inputs][:2] == ["Bench Box", "Bench Box Line"]
    assert (inputs[0].index, inputs[0].channels, inputs[0].default_rate_hz) == (1, 2, 44100)
    assert (inputs[0].host_api, inputs[-1].host_api) == ("First", "Second")


def test_portaudio_is_not_started_again_under_what_is_open() -> None:
    """A list is asked for while something listens, sounds or is replayed: it goes on."""
    source = open_input(1, 48000)
    output = SoundOutput(None, 48000)
    FakeCard.calls.clear()
    list_inputs()
    source.close()
    list_inputs()
    output.close()
    output.close()
    FakeCard.replay = SimpleNamespace(active=True)
    list_inputs()
    assert FakeCard.calls == []
    # A replay that has come to its end is let go of first: PortAudio would forget it.
    FakeCard.replay = SimpleNamespace(active=False)
    list_inputs()
    assert FakeCard.calls == ["stop", "terminate"]


@pytest.mark.parametrize(
    ("wanted", "index"),
    [
        (None, 1),
        (2, 2),
        ("2", 2),
        ("bench box", 1),
        ("LINE", 2),
        ("blue stick", 3),
        ("blue stick, second", 4),
    ],
)
def test_an_input_is_found_by_number_name_or_part(wanted: str | int | None, index: int) -> None:
    open_input(wanted, 48000).close()
    assert FakeCard.streams[-1].options["device"] == index
    assert FakeCard.streams[-1].closed


@pytest.mark.parametrize(
    ("wanted", "what"),
    [
        ("attic", "no input 'attic'"),
        ("", "no input ''"),
        (17, "no input number 17"),
        (0, "no input number 0"),
        ("b", "1 Bench Box .*2 Bench Box Line"),
        ("twin", "5 Twin .*6 Twin"),
    ],
)
def test_an_unknown_or_ambiguous_name_is_refused_with_a_remedy(wanted: str | int, what: str) -> None:
    with pytest.raises(DeviceError, match=what) as caught:
        open_input(wanted, 48000)
    assert caught.value.remedy


def test_no_input_at_all_is_refused() -> None:
    FakeCard.devices = [device("Loudspeaker", 0)]
    with pytest.raises(DeviceError, match="no sound-card input"):
        open_input(None)


def test_a_refused_rate_names_the_rates_that_work() -> None:
    with pytest.raises(DeviceError, match="refuses 12345 Hz: it takes 48000, 44100 Hz"):
        open_input(1, 12345)
    assert open_input(1).sample_rate_hz == 44100
    with pytest.raises(DeviceError, match="too low"):
        open_input(1, 4000)


def test_a_busy_device_and_a_missing_channel_are_refused_in_one_line() -> None:
    with pytest.raises(DeviceError, match="has 2 input channels, no channel 3"):
        open_input(1, 48000, 3)
    FakeCard.busy = True
    with pytest.raises(DeviceError, match="Device unavailable") as caught:
        open_input(1, 48000)
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize(("error", "remedy"), [(ImportError, "pip install"), (OSError, "libportaudio2")])
def test_a_missing_library_is_said_with_its_remedy(
    monkeypatch: pytest.MonkeyPatch, error: type[Exception], remedy: str
) -> None:
    class Refuse:
        def find_spec(self, name: str, path: Any = None, target: Any = None) -> None:
            if name == "sounddevice":
                raise error("not here")

    monkeypatch.delitem(sys.modules, "sounddevice")
    monkeypatch.setattr(sys, "meta_path", [Refuse(), *sys.meta_path])
    with pytest.raises(DeviceError, match=remedy):
        list_inputs()


def test_importing_the_module_loads_no_portaudio() -> None:
    code = "import sys, audiotest.feeds.soundcard; sys.exit('sounddevice' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0
