"""What the user can do with the overs on the tape: replay, keep, discard, compare, step through."""

from typing import TYPE_CHECKING

from audiotest.window.comparison import Comparison

if TYPE_CHECKING:
    from audiotest.window.mainwindow import MainWindow


class OverDeeds:
    """Deeds on the chosen overs, or on the last one when none is chosen."""

    def __init__(self, window: "MainWindow") -> None:
        self._window = window
        self._sitting = window.sitting

    def replay(self) -> None:
        """Play the chosen over, or the last."""
        number = self.current()
        if number is None:
            return
        self.play(number)

    def play(self, number: int) -> None:
        """Play an over, unless it might get into a keyed transmitter."""
        why = self._sitting.why_silent()
        if why:
            self._sitting.message = why
            return
        audio = self._sitting.audio(number)
        if len(audio) == 0:
            self._sitting.message = f"over {number} is more than ten minutes old: its audio is gone"
            return
        self._window.player.play(audio, self._sitting.rate_hz(number))

    def hush(self) -> None:
        """Stop the replay."""
        self._window.player.stop()

    def keep(self) -> None:
        """Write the chosen overs, or the last, to disk."""
        for number in self._window.bench.tape.chosen() or (self.current(),):
            if number is not None:
                self._sitting.keep(number)

    def discard(self) -> None:
        """Take the chosen overs, or the last, off the tape."""
        for number in self._window.bench.tape.chosen() or (self.current(),):
            if number is not None:
                self._sitting.discard(number)
        self._window.bench.tape.drop_missing({heard.number for heard in self._sitting.log.heard})
        self._window.show_advice(self._sitting.log.latest)
        self._window.show_trail()

    def compare(self) -> None:
        """Say what changed between two overs: the two chosen, or the last two."""
        numbers = self._window.bench.tape.chosen()
        if len(numbers) != 2:
            numbers = tuple(heard.number for heard in list(self._sitting.log.heard)[-2:])
        found = [heard for number in numbers if (heard := self._sitting.log.find(number)) is not None]
        if len(found) < 2:
            self._sitting.message = "two overs are needed to compare"
            return
        self._window.bench.map.show_points(self._sitting.log.trail(), numbers)
        sitting = self._sitting
        self._window.box = Comparison(
            found[0], found[1], audio=lambda n: (sitting.audio(n, around=False), sitting.rate_hz(n)),
            replay=self.play, play=self._window.player.play, hush=self._window.player.stop,
            carrier_up=sitting.carrier_up, later=sitting.later, theme=self._window.theme,
            no_transmitter=sitting.settings.output_feeds_no_transmitter,
            told=lambda said: self._window.remember(output_feeds_no_transmitter=said), parent=self._window,
        )  # fmt: skip
        self._window.box.show()

    def earlier(self) -> None:
        """Choose the over before."""
        self._step(-1)

    def newer(self) -> None:
        """Choose the over after."""
        self._step(1)

    def _step(self, way: int) -> None:
        tape = self._window.bench.tape
        if tape.count():
            tape.setCurrentRow(min(max(tape.currentRow() + way, 0), tape.count() - 1))

    def current(self) -> int | None:
        """Number of the chosen over, or of the last; None, with a word, when there is none."""
        chosen = self._window.bench.tape.chosen()
        if chosen:
            return chosen[-1]
        latest = self._sitting.log.latest
        if latest is None:
            self._sitting.message = "no over yet"
        return None if latest is None else latest.number
