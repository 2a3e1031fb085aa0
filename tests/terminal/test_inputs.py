"""``audiotest inputs``: the table, whatever a device calls itself."""

import pytest

from audiotest.__main__ import main
from audiotest.feeds.inputs import InputDevice


def test_a_name_cannot_act_on_the_terminal(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    device = InputDevice(
        index=3, name="line\x1b[31m\nin [b]", channels=2, default_rate_hz=48000, host_api="ho\u202est"
    )
    monkeypatch.setattr("audiotest.terminal.inputs.list_inputs", lambda: (device,))
    assert main(["inputs"]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert len(lines) == 2
    assert "line\\x1b[31m\\nin [b]" in lines[1]
    assert "ho\\u202est" in lines[1]
