"""``audiotest heard``: what "not heard" is worth, and how what was heard is known."""

import json
from pathlib import Path

import numpy as np
import pytest
import soundfile as sf

from audiotest.__main__ import main
from audiotest.measure.dtmf import DtmfKey
from audiotest.measure.sequences import Burst, SelectiveCall
from audiotest.measure.signalling import Signalling
from audiotest.standards.tones import FIVE_TONE_SETS
from audiotest.terminal.heard import heard_rows

RATE = 16000


@pytest.mark.parametrize(
    ("seconds", "size", "notes"),
    [
        (3.0, 0.1, []),
        (0.9, 0.1, ["a sub-audible tone needs 1 s of recording, this has 0.9 s: not heard means nothing"]),
        (0.5, 0.1, ["a sub-audible tone needs 1 s", "a digital code needs 0.68 s of recording"]),
        (3.0, 0.0, ["there is no audio in the recording"]),
    ],
)
def test_what_could_not_be_heard_is_not_called_absent(
    seconds: float, size: float, notes: list[str], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "over.wav"
    rng = np.random.default_rng(1)
    sf.write(path, size * rng.standard_normal(round(seconds * RATE)).clip(-3, 3) / 3, RATE)
    assert main(["heard", str(path), "--json"]) == 0
    found = json.loads(capsys.readouterr().out)["notes"]
    assert len(found) == len(notes)
    assert all(note.startswith(start) for note, start in zip(found, notes, strict=True))
    assert main(["heard", str(path)]) == 0
    assert capsys.readouterr().out.count(" note ") == len(notes)


def call(name: str) -> SelectiveCall:
    source = next(found.source for found in FIVE_TONE_SETS if found.name == name)
    return SelectiveCall(
        set_name=name,
        set_source=source,
        digits="12345",
        start_s=0.0,
        end_s=0.35,
        tone_s=0.07,
        off_percent=0.1,
    )


def test_a_verdict_on_the_card_says_where_its_limits_come_from() -> None:
    key = DtmfKey(
        key="5", start_s=0.0, end_s=0.1, row_hz=790.0, column_hz=1336.0, row_off_percent=2.6,
        column_off_percent=0.0, twist_db=0.0, in_tolerance=False,
    )  # fmt: skip
    burst = Burst(frequency_hz=1800.0, start_s=0.0, end_s=0.3, peak_fs=0.1, good=False)
    heard = Signalling(
        subaudible=None, digital=None, keys=(key,), calls=(call("ZVEI-1"), call("CCIR")), burst=burst,
        end_beep=None,
    )  # fmt: skip
    text = " ".join(text for _, text in heard_rows(heard, None))
    assert "OUT of ±1.8 % (ITU-T Q.23, second hand)" in text
    assert "(ZVEI-1, 70 ms a tone, +0.1 %; table second hand; group tone from memory)" in text
    # Published: nothing to be said about it.
    assert "(CCIR, 70 ms a tone, +0.1 %)" in text
    assert "NOT within ±25 Hz and 200-400 ms (as repeaters list it)" in text
