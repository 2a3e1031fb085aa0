"""Listening to two overs against each other, equally loud: A, B, the other one, silence; blind if wanted."""

import random
import time
from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray
from PySide6.QtCore import QRect, Qt, QTimer
from PySide6.QtGui import QKeySequence, QResizeEvent, QShortcut
from PySide6.QtWidgets import QAbstractButton, QCheckBox, QGridLayout, QGroupBox, QLabel, QPushButton, QWidget

from audiotest.window.announcing import announce
from audiotest.window.matched import LETTERS, HiddenOrder, Matched
from audiotest.window.minus import with_minus

CAUTION = (
    "Start headphones low. Never let the output that plays feed a keyed transmitter: while a carrier is up, "
    "nothing is played unless you say below that it feeds none."
)
LONGEST_SAID = "⚠ stopped: a carrier came up, and the output might feed the transmitter that is keyed"
WATCH_MS = 100
"""How soon a carrier that comes up ends what plays."""


class ListeningRow(QGroupBox):
    """Buttons and keys to play two matched sounds.

    Parameters
    ----------
    names : tuple
        What the two are called.
    play : callable
        Plays samples, shape (n,), at a rate in Hz, in place of what plays now.
    hush : callable
        Falls silent.
    carrier_up : callable
        Whether a carrier is up that this computer's output might be on.
    hide_figures : callable
        Told True when nothing may give the order away, False when everything may be seen again.
    no_transmitter : bool
        Whether it is known that the output feeds none.
    told : callable
        Told what the user says of that.
    draw : Random or None
        Draws the lot of a blind order.
    """

    def __init__(
        self,
        names: tuple[str, str],
        *,
        play: Callable[[NDArray[np.float32], int], object],
        hush: Callable[[], None],
        carrier_up: Callable[[], bool],
        hide_figures: Callable[[bool], None],
        no_transmitter: bool = False,
        told: Callable[[bool], None] = lambda _: None,
        draw: random.Random | None = None,
        parent: QWidget | None = None,
    ) -> None:
        super().__init__("Listen, equally loud", parent)
        self.order = HiddenOrder(names, draw)
        self.playing: int | None = None
        self._ends_s = 0.0
        self._play, self._hush, self._carrier_up = play, hush, carrier_up
        self._hide_figures = hide_figures
        self._matched: Matched | None = None
        self.plays = tuple(QPushButton() for _ in LETTERS)
        for place, button in enumerate(self.plays):
            button.clicked.connect(lambda _=False, place=place: self.play(place))
        self.other = self._button(
            "The other one", "Space", "Play the one that is not playing, from its start"
        )
        self.other.clicked.connect(lambda *_: self.play(1 - (1 if self.playing is None else self.playing)))
        self.silence = self._button("Silence", "H", "Stop playing")
        self.silence.clicked.connect(self.stop)
        self.blind = QCheckBox("Blind: which is which is drawn by lot (L)")
        self.blind.toggled.connect(self._blind_chosen)
        self.tell = self._button("Tell", "T", "Say which is which")
        self.tell.clicked.connect(self._tell)
        self.no_transmitter = QCheckBox("The output feeds &no transmitter")
        self.no_transmitter.setChecked(no_transmitter)
        self.no_transmitter.toggled.connect(told)
        self.said = QLabel("matching the loudness …")
        self.said.setWordWrap(True)
        self.caution = QLabel(CAUTION)
        self.caution.setWordWrap(True)
        grid = QGridLayout(self)
        for column, part in enumerate((*self.plays, self.other, self.silence)):
            grid.addWidget(part, 0, column)
        grid.addWidget(self.blind, 1, 0, 1, 3)
        grid.addWidget(self.tell, 1, 3)
        grid.addWidget(self.said, 2, 0, 1, 4)
        grid.addWidget(self.caution, 3, 0, 1, 4)
        grid.addWidget(self.no_transmitter, 4, 0, 1, 4)
        self._label()
        # A button's own shortcut would wait a tenth of a second before it clicks.
        self.keys: dict[str, QAbstractButton] = {
            **dict(zip(LETTERS, self.plays, strict=True)), "Space": self.other, "H": self.silence,
            "L": self.blind, "T": self.tell,
        }  # fmt: skip
        for key, pressed in self.keys.items():
            QShortcut(QKeySequence(key), self).activated.connect(pressed.click)
        self._watch = QTimer(self)
        self._watch.timeout.connect(self.follow)
        self._watch.start(WATCH_MS)

    def resizeEvent(self, event: QResizeEvent) -> None:
        """Keep room for all lines of the wrapped texts: a grid would cut them where it is narrow."""
        super().resizeEvent(event)
        for text, words in ((self.said, LONGEST_SAID), (self.caution, CAUTION)):
            flags = int(Qt.TextFlag.TextWordWrap.value)
            box = text.fontMetrics().boundingRect(QRect(0, 0, max(text.width(), 1), 9999), flags, words)
            text.setMinimumHeight(box.height())

    def _button(self, text: str, key: str, tip: str) -> QPushButton:
        button = QPushButton(f"{text} ({key})")
        button.setToolTip(tip)
        button.setAutoDefault(False)
        return button

    def take(self, matched: Matched) -> None:
        """The sounds are ready."""
        self._matched = matched
        gains = ", ".join(
            f"{name} {gain:+.1f} dB" for name, gain in zip(self.order.names, matched.gains_db, strict=True)
        )
        self._level = f"matched by ITU-R BS.1770: {with_minus(gains)}"
        self._say(self._level)
        self._label()

    def refuse(self, words: str) -> None:
        """There is nothing to play."""
        self._say(words)

    def play(self, place: int) -> None:
        """Play A (0) or B (1) from its start."""
        if self._matched is None:
            return
        which = self.order.source(place)
        sound, rate_hz = self._matched.sounds[which], self._matched.rates_hz[which]
        if not self.may_play(len(sound) / rate_hz):
            return
        self.playing = place
        self._play(sound, rate_hz)
        self._say(f"{self.order.label(place)} plays" if self.order.told else f"{LETTERS[place]} plays")

    def may_play(self, seconds: float) -> bool:
        """Whether so long a sound may be played now; says why not, and watches over it when it may."""
        if self._in_danger():
            self._say("⚠ a carrier is up: not played. The output might feed the transmitter that is keyed")
            return False
        self.playing, self._ends_s = None, time.monotonic() + seconds
        return True

    def _in_danger(self) -> bool:
        return self._carrier_up() and not self.no_transmitter.isChecked()

    def _sounds(self) -> bool:
        return time.monotonic() < self._ends_s

    def stop(self, *_: object) -> None:
        """Fall silent."""
        if self._sounds():
            self._ends_s = 0.0
            self._hush()
            self._say("silent")

    def follow(self) -> None:
        """Called now and then: a carrier that comes up ends what plays."""
        if self._sounds() and self._in_danger():
            self._ends_s = 0.0
            self._hush()
            self.playing = None
            self._say(LONGEST_SAID)

    def _blind_chosen(self, blind: bool) -> None:
        self.stop()
        self.playing = None
        self.order.hide(blind)
        self._hide_figures(blind)
        self._say("the order has been drawn: listen, decide, then ask" if blind else self._level)
        self._label()

    def _tell(self, *_: object) -> None:
        words = self.order.tell()
        self._hide_figures(False)
        self._label()
        self._say(words)

    _level = ""

    def _label(self) -> None:
        ready = self._matched is not None
        for place, button in enumerate(self.plays):
            button.setText(self.order.label(place))
            button.setAccessibleName(self.order.label(place))
            button.setAutoDefault(False)
            button.setEnabled(ready)
        for part in (self.other, self.silence, self.blind):
            part.setEnabled(ready)
        self.tell.setEnabled(ready and self.order.blind and not self.order.told)

    def _say(self, words: str) -> None:
        self.said.setText(words)
        self.said.setAccessibleName(words)
        announce(self.said)
