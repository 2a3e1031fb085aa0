"""The technician at the keyboard: settings as typed, keying, and what cannot be meant asked for again."""

import io

import pytest
from rich.console import Console

from audiotest.errors import RequestError
from audiotest.terminal.consent import TerminalTechnician
from audiotest.tones.steps import GENERATOR_OFF_DBM, Ask, Step


@pytest.mark.parametrize(("ask", "typed", "taken"), [
    (Ask(setting="deviation_factor", words="turn", suggested=0.5), "-2\n0\nnan\n0,8\n", 0.8),
    (Ask(setting="mic_gain_db", words="turn", suggested=-9.0), "900\n−8\n", -8.0),
])  # fmt: skip
def test_a_turn_that_cannot_be_is_asked_for_again(
    ask: Ask, typed: str, taken: float, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("sys.stdin", io.StringIO(typed))
    screen = io.StringIO()
    answers = TerminalTechnician(Console(file=screen, width=80))(
        Step(prompt="Turn.", asks=(ask,), listen_s=0.0)
    )
    assert answers == (taken,)
    assert " is not from " in screen.getvalue()


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


def test_a_level_that_was_typed_wrong_is_asked_for_again(monkeypatch):
    screen = io.StringIO()
    monkeypatch.setattr("sys.stdin", io.StringIO("999\n-99.5\n"))
    technician = TerminalTechnician(Console(file=screen, width=200))
    asked = Ask(setting="generator_dbm", words="set the generator's level", suggested=-100.0, unit="dBm")
    assert technician(Step(prompt="SINAD.", asks=(asked,))) == (-99.5,)
    assert "999 is not from -174 to 30" in screen.getvalue()
