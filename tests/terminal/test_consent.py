"""Answers of a technician that cannot be meant are asked for again."""

import io

import pytest
from rich.console import Console

from audiotest.terminal.consent import TerminalTechnician
from audiotest.tones.steps import Ask, Step


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
