"""One switch for the recording of what is heard, a folder for each run of an input; knows nothing of Qt."""

from collections.abc import Callable
from concurrent.futures import Future, wait
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from audiotest.errors import AudiotestError
from audiotest.terminal.figures import recorded_text
from audiotest.window.chores import Chores, in_words
from audiotest.window.listening import Listening

if TYPE_CHECKING:
    from audiotest.keep.along import Along

LINGER_S = 2.5
"""For so long a recording goes on when it is switched off: the over that has just ended has still to be found
(a pause of two seconds on a feed without carrier edges), and half a second is kept around it."""
WAITS = "recording begins when an input is listened to (L); the simulated set is not recorded"


@dataclass(frozen=True, slots=True, kw_only=True)
class RecordingLine:
    """What the feed line says of it: a few words, empty when there is nothing to say, and all of it."""

    text: str = ""
    tip: str = ""
    trouble: bool = False


class Recording:
    """Every run of an input goes into a folder of its own while the switch is on.

    Every call returns at once: the disk is waited for in a thread of its own, so that one that hangs holds
    up neither the window nor the inputs.

    Parameters
    ----------
    folder : callable
        Where the next recording gets its folder.
    say : callable
        Takes what has to be said.
    """

    def __init__(self, folder: Callable[[], Path], say: Callable[[str], None]) -> None:
        self.wanted = False
        self._folder, self._say = folder, say
        self._chores = Chores("audiotest-recording")
        self._listening: Listening | None = None
        self._along: Along | None = None
        self._opening: Listening | None = None
        self._trouble = ""

    def switch(self) -> None:
        """On or off."""
        if self.wanted:
            self.stop()
        else:
            self.start()

    def start(self) -> None:
        """Record from now on, until it is stopped."""
        self.wanted, self._trouble = True, ""
        if self._along is not None and self._along.go_on():
            self._say("recording goes on")
        elif self._listening is None:
            self._say(WAITS)
        elif self._along is None:
            self._begin()

    def stop(self) -> None:
        """Record no longer than the over that has just ended needs."""
        self.wanted = False
        if self._along is None:
            self._say("recording is off")
        else:
            self._along.end_after(LINGER_S)

    def follow(self, listening: Listening | None, after: Future[Any] | None = None) -> None:
        """Another input is listened to, or none that is recorded; the one before has ended with `after`."""
        self._let_go(after)
        self._listening = listening
        if self.wanted:
            self._begin()

    def poll(self) -> None:
        """Look how it goes; called by the window's timer."""
        self._chores.poll(self._say)
        along = self._along
        if along is None:
            return
        trouble = along.state.trouble
        if trouble is not None:
            self._let_go(told=True)
            self._fail(trouble)
        elif along.ended:
            self._let_go()
            if self.wanted:
                self._begin()

    def line(self) -> RecordingLine:
        """How it stands, for the feed line."""
        along = self._along
        if along is not None:
            state = along.state
            word = "recording" if self.wanted else "finishing"
            sign, gaps = ("⚠", ", has gaps") if state.lost_n else ("●", "")
            return RecordingLine(
                text=f"{sign} {word} {hours(state.written_s)}{gaps}",
                tip=recorded_text(state, along.input_lost_n), trouble=bool(gaps),
            )  # fmt: skip
        if self._trouble:
            return RecordingLine(text="⚠ recording stopped", tip=self._trouble, trouble=True)
        if not self.wanted:
            return RecordingLine()
        if self._listening is None:
            return RecordingLine(text="○ recording waits", tip=WAITS)
        return RecordingLine(text="● recording starts")

    def close(self) -> None:
        """Finish the files; the listening has stopped by now. Safe to call twice."""
        self._chores.close()
        along, self._along = self._along, None
        if along is not None:
            # Nobody is left to be told about a disk that does not answer.
            with suppress(AudiotestError):
                along.close()

    def _begin(self) -> None:
        listening = self._listening
        if listening is None or listening is self._opening:
            return
        self._opening = listening

        def work() -> "Along | str":
            # Imported here, since who does not record does without.
            from audiotest.keep.along import Along

            try:
                return Along(self._folder(), listening.source, feed=listening.feed, limits=listening.limits)
            except Exception as error:
                return in_words(error)

        def done(made: "Along | str") -> None:
            if self._opening is listening:
                self._opening = None
            stale = listening is not self._listening or not self.wanted
            if isinstance(made, str):
                # What failed for an input that is gone says nothing of the one that came after it.
                if not stale:
                    self._fail(made)
            elif stale:
                self._chores.later(made.close, lambda _: None)
            else:
                self._along = listening.along = made
                self._say(f"recording to {made.folder}")

        self._chores.later(work, done)

    def _fail(self, trouble: str) -> None:
        self.wanted, self._trouble = False, trouble
        self._say(f"{trouble}. Listening goes on.")

    def _let_go(self, after: Future[Any] | None = None, *, told: bool = False) -> None:
        """Finish the files of the recording that runs, once what it listens to has ended.

        Its trouble is ``told`` already, or is found while the files are finished.
        """
        along, self._along = self._along, None
        if along is None:
            return

        def work() -> str | None:
            if after is not None:
                wait([after])
            try:
                along.close()
            except AudiotestError as error:
                return str(error)
            return along.state.trouble

        def done(trouble: str | None) -> None:
            if trouble is None:
                self._say(recorded_text(along.state, along.input_lost_n))
            elif not told:
                self._say(trouble)
                if not self.wanted:
                    # A sentence that goes after a while is not enough for the last seconds of a recording.
                    self._trouble = trouble

        self._chores.later(work, done)


def hours(seconds: float) -> str:
    """Hours, where there are any, minutes and seconds.

    >>> hours(83.9), hours(3725.0)
    ('1:23', '1:02:05')
    """
    minutes, second = divmod(int(seconds), 60)
    hour, minute = divmod(minutes, 60)
    return f"{hour}:{minute:02}:{second:02}" if hour else f"{minute}:{second:02}"
