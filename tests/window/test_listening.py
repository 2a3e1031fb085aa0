"""Two overs against each other by ear: equally loud, blind if wanted, never onto a keyed transmitter."""

import random
from collections.abc import Callable, Iterator
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray
from PySide6.QtCore import Qt
from PySide6.QtWidgets import QAbstractButton

from audiotest.errors import RequestError
from audiotest.keep.compare import Listened
from audiotest.keep.loudness import integrated_loudness_lufs
from audiotest.records import Over
from audiotest.window.comparison import Comparison
from audiotest.window.matched import HiddenOrder, match
from audiotest.window.presenter import OverLog
from audiotest.window.theme import LIGHT

pytestmark = pytest.mark.window
RATE_HZ = 48000
MakeOver = Callable[..., Over]


class FakeStream:
    """Stands for the output: notes what is played and when it falls silent."""

    def __init__(self) -> None:
        self.played: list[NDArray[np.float32]] = []
        self.silenced = 0

    def play(self, samples: NDArray[np.float32], rate_hz: int) -> None:
        assert rate_hz == RATE_HZ
        self.played.append(samples)

    def stop(self) -> None:
        self.silenced += 1


def voice_like(level: float, seed: int) -> NDArray[np.int16]:
    rng = np.random.default_rng(seed)
    syllables = 0.5 + 0.5 * np.sin(2 * np.pi * 3.0 * np.arange(4 * RATE_HZ) / RATE_HZ)
    return (32767 * level * syllables * rng.normal(size=4 * RATE_HZ)).clip(-32767, 32767).astype(np.int16)


QUIET, LOUD = voice_like(0.03, 1), voice_like(0.1, 2)


def test_matched_overs_are_equally_loud_and_not_too_high() -> None:
    clips = [
        Listened(name=name, samples=codes / np.float32(32768), rate_hz=RATE_HZ, over=None)
        for name, codes in (("over 1", QUIET), ("over 2", LOUD))
    ]
    matched = match(*clips)
    loud = [integrated_loudness_lufs(sound, RATE_HZ) for sound in matched.sounds]
    assert loud[0] == pytest.approx(loud[1], abs=0.1)
    # The quieter stays as it is, the louder is turned down: about 20*log10(0.1/0.03) dB.
    assert matched.gains_db[0] == pytest.approx(0.0, abs=1e-6)
    assert matched.gains_db[1] == pytest.approx(-10.5, abs=0.3)
    assert max(float(np.max(np.abs(sound))) for sound in matched.sounds) <= 10 ** (-1 / 20) + 1e-6
    silent = Listened(name="over 3", samples=np.zeros(RATE_HZ, np.float32), rate_hz=RATE_HZ, over=None)
    with pytest.raises(RequestError, match="over 3 is too short or too quiet"):
        match(clips[0], silent)


def test_the_lot_is_fair_and_the_same_for_both_letters() -> None:
    order = HiddenOrder(("over 1", "over 2"), random.Random(7))
    assert (order.label(0), order.label(1)) == ("A: over 1", "B: over 2")
    firsts = []
    for _ in range(400):
        order.hide(True)
        assert {order.source(0), order.source(1)} == {0, 1}
        assert (order.label(0), order.label(1)) == ("A: ?", "B: ?")
        firsts.append(order.source(0))
    # A fair lot lies outside 150 to 250 of 400 once in two million (binomial).
    assert 150 < sum(firsts) < 250
    said = order.tell()
    assert said == ("A is over 2; B is over 1" if firsts[-1] else "A is over 1; B is over 2")
    order.hide(False)
    assert order.label(0) == "A: over 1"


@pytest.fixture
def stream() -> FakeStream:
    return FakeStream()


@pytest.fixture
def carrier() -> dict[str, bool]:
    return {"up": False}


@pytest.fixture
def replayed() -> list[int]:
    return []


@pytest.fixture
def box(
    qtbot: Any, stream: FakeStream, carrier: dict[str, bool], over: MakeOver, limits: Any, replayed: list[int]
) -> Iterator[Comparison]:
    log = OverLog(limits, None)
    pair = (log.take(over(19.0, 2.3), "14:05:09"), log.take(over(5.0, 2.2, start_s=20.0), "14:05:29"))
    made = Comparison(
        *pair, audio=lambda n: ((QUIET, LOUD)[n - 1], RATE_HZ), replay=replayed.append, play=stream.play,
        hush=stream.stop, carrier_up=lambda: carrier["up"], later=lambda work, done: done(work()),
        theme=LIGHT,
    )  # fmt: skip
    made.listening.order._draw = random.Random(1)
    qtbot.addWidget(made)
    made.setAttribute(Qt.WidgetAttribute.WA_DeleteOnClose, False)
    made.show()
    made.activateWindow()
    qtbot.waitUntil(made.isActiveWindow)
    yield made
    made.close()


def test_a_b_the_other_and_silence_by_key(qtbot: Any, box: Comparison, stream: FakeStream) -> None:
    row = box.listening
    assert row.said.text().startswith("matched by ITU-R BS.1770: over 1 +0.0 dB, over 2 −10")
    qtbot.keyClick(box, Qt.Key.Key_A)
    qtbot.keyClick(box, Qt.Key.Key_B)
    qtbot.keyClick(box, Qt.Key.Key_Space)
    qtbot.keyClick(box, Qt.Key.Key_Space)
    loud = [integrated_loudness_lufs(sound, RATE_HZ) for sound in stream.played]
    assert max(loud) - min(loud) < 0.1
    before = [integrated_loudness_lufs(sound, RATE_HZ) for sound in (QUIET, LOUD)]
    corr = [float(np.corrcoef(sound, QUIET)[0, 1]) > 0.9 for sound in stream.played]
    assert corr == [True, False, True, False]
    assert row.said.text() == "B: over 2 plays"
    qtbot.keyClick(box, Qt.Key.Key_H)
    assert stream.silenced == 1
    assert f"{max(before) - min(before):.0f} dB" in box.text()
    assert "louder to the ear" in box.text()


def test_blind_gives_nothing_away_until_it_is_told(qtbot: Any, box: Comparison, stream: FakeStream) -> None:
    row = box.listening
    assert not row.tell.isEnabled()
    qtbot.keyClick(box, Qt.Key.Key_L)
    assert row.blind.isChecked()
    for part in (box._text, box.plot, *box.replay_buttons):
        assert not part.isVisible()
    qtbot.keyClick(box, Qt.Key.Key_A)
    shown = " ".join([row.said.text(), *(button.text() + button.accessibleName() for button in row.plays)])
    assert "over" not in shown
    first_is_quiet = float(np.corrcoef(stream.played[0], QUIET)[0, 1]) > 0.9
    qtbot.keyClick(box, Qt.Key.Key_T)
    assert row.said.text().startswith("A is over 1" if first_is_quiet else "A is over 2")
    assert box.plot.isVisible()
    assert not row.tell.isEnabled()
    qtbot.keyClick(box, Qt.Key.Key_L)
    assert row.plays[0].text() == "A: over 1"


def test_nothing_plays_onto_a_carrier_unless_the_output_feeds_no_transmitter(
    qtbot: Any, box: Comparison, stream: FakeStream, carrier: dict[str, bool]
) -> None:
    row = box.listening
    carrier["up"] = True
    qtbot.keyClick(box, Qt.Key.Key_A)
    assert stream.played == []
    assert "a carrier is up: not played" in row.said.text()
    carrier["up"] = False
    qtbot.keyClick(box, Qt.Key.Key_A)
    assert len(stream.played) == 1
    carrier["up"] = True
    qtbot.waitUntil(lambda: stream.silenced == 1, timeout=5000)
    assert "a carrier came up" in row.said.text()
    row.no_transmitter.setChecked(True)
    qtbot.keyClick(box, Qt.Key.Key_B)
    assert len(stream.played) == 2
    row.no_transmitter.setChecked(False)
    qtbot.waitUntil(lambda: stream.silenced == 2, timeout=5000)
    # What has ended by itself is not ended again.
    row.no_transmitter.setChecked(True)
    qtbot.keyClick(box, Qt.Key.Key_B)
    row._ends_s = 0.0
    row.no_transmitter.setChecked(False)
    qtbot.wait(300)
    assert stream.silenced == 2


def test_a_replay_as_it_was_heard_keeps_off_a_carrier_too(
    qtbot: Any, box: Comparison, carrier: dict[str, bool], replayed: list[int]
) -> None:
    box.replay_buttons[0].click()
    carrier["up"] = True
    box.replay_buttons[1].click()
    assert replayed == [1]
    assert "a carrier is up: not played" in box.listening.said.text()


def test_closing_falls_silent_by_either_way(qtbot: Any, box: Comparison, stream: FakeStream) -> None:
    qtbot.keyClick(box, Qt.Key.Key_A)
    qtbot.keyClick(box, Qt.Key.Key_Escape)
    assert stream.silenced == 1


def test_every_button_has_a_key_of_its_own_and_a_name(box: Comparison) -> None:
    keys = []
    for button in box.findChildren(QAbstractButton):
        own = [key for key, part in box.listening.keys.items() if part is button]
        key = own[0] if own else button.shortcut().toString()
        assert key, button.text()
        # A screen reader says the text of a button that has no name of its own.
        assert button.accessibleName() or button.text()
        keys.append(key)
    assert len(keys) == len(set(keys)), keys
