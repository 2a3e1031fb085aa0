"""One sitting at the bench: what is listened to, the overs heard, what is kept; knows nothing of Qt."""

from collections.abc import Callable
from concurrent.futures import Executor, Future, wait
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from audiotest.errors import MeasureError
from audiotest.feeds.protocol import Source
from audiotest.feeds.scale import learn_from_hiss, learn_from_tone, save_feed
from audiotest.keep.clips import AROUND_S, clip_name, clip_start_n, save_clip
from audiotest.measure.drivemodel import load_model
from audiotest.records import Feed, LimitSet
from audiotest.session.worker import Ended, OverHeard
from audiotest.window.chores import Chores, in_words
from audiotest.window.envelope import outline
from audiotest.window.listening import Listening
from audiotest.window.practice import PRACTICE_FEED, Adjustment, PracticeRadio, start_renderer
from audiotest.window.presenter import Heard, OverLog
from audiotest.window.recording import Recording
from audiotest.window.settings import Settings, clips_folder, recordings_folder

OUTLINE_COLUMNS = 96
LEARN_S = 5.0
PAUSE_ENDS_OVER_S = 2.0
CARRIER_IS_UP = "⚠ a carrier is up: not played. The output might feed the transmitter that is keyed"
IS_LENT = "the bench is measuring: the input is listened to again when it has ended"
LENT_SILENT = "⚠ the bench is measuring: not played. It would get into what is measured"
LET_GO_S = 10.0
"""For so long whoever borrows the input waits for it; then it is tried all the same."""
OpenSource = Callable[[], Source]


@dataclass(frozen=True, slots=True, kw_only=True)
class Fresh:
    """An over that has just come in, with its outline for the tape."""

    heard: Heard
    outline: NDArray[np.float32]


class Sitting:
    """What the window drives. Every call returns at once; slow work is done in a thread and polled.

    Parameters
    ----------
    limits, feed
        What deviation is held against, and the learned scale of the input.
    settings : Settings
        What is remembered.
    now : callable
        The clock on the wall.
    renderer : Executor or None
        Where the practice set is simulated; None starts a process when it is needed.
    """

    def __init__(
        self,
        *,
        limits: LimitSet,
        feed: Feed | None = None,
        settings: Settings | None = None,
        now: Callable[[], datetime] = datetime.now,
        renderer: Executor | None = None,
    ) -> None:
        self.settings = settings or Settings()
        self.limits = limits
        self.input_feed = feed
        self.log = OverLog(limits, feed)
        self.listening: Listening | None = None
        self.practice: PracticeRadio | None = None
        self.trouble: str | None = None
        self.message = ""
        self.kept: dict[int, Path] = {}
        self._now = now
        self._renderer = renderer
        self._own_renderer = renderer is None
        self._chores = Chores("audiotest-chores")
        self.recording = Recording(lambda: recordings_folder(self.settings), self._say)
        self._run_of: dict[int, Listening] = {}
        self._open: OpenSource | None = None
        self._switches = 0
        self.lent = False
        self.wake: Callable[[], None] = lambda: None
        self._source: Source | None = None
        self._adjustment = Adjustment()
        self._closed = False

    # -- what is listened to ----------------------------------------------------------------------

    @property
    def feed(self) -> Feed | None:
        """The scale that is in use."""
        return PRACTICE_FEED if self.practice is not None else self.input_feed

    def open_practice(self) -> None:
        """Listen to the simulated set."""
        if self._renderer is None:
            self._renderer = start_renderer()
        self._open = None
        renderer, adjustment = self._renderer, self._adjustment
        self._switch(lambda: PracticeRadio(renderer, adjustment))

    def open_source(self, make: OpenSource) -> None:
        """Listen to what `make` opens; it runs in a thread and may raise `AudiotestError`."""
        self._open = make
        if self.lent:
            self.message = IS_LENT
        self._switch(None if self.lent else make)

    def restart(self) -> None:
        """Open the same again, after an error or with other limits or another scale."""
        if self._open is not None:
            self.open_source(self._open)
        elif self.practice is not None:
            self.open_practice()

    def lend(self) -> Callable[[], None]:
        """Let go of the input for another; what is returned waits in the other's thread until it is free.

        The simulated set goes on: it holds no input.
        """
        self.lent = True
        if self.practice is not None or self._open is None:
            return lambda: None
        letting_go = self._switch(None)

        def until_free() -> None:
            if letting_go is not None:
                wait([letting_go], LET_GO_S)

        return until_free

    @property
    def lent_now(self) -> bool:
        """Whether another has the input that would be listened to; the simulated set goes on meanwhile."""
        return self.lent and self.practice is None

    def take_back(self) -> None:
        """Listen to the input again once the other has done with it; safe to call twice."""
        if self.lent:
            self.lent = False
            if self._open is not None:
                self._switch(self._open)

    def _switch(self, make: OpenSource | None) -> Future[Any] | None:
        """Stop what is listened to and open what `make` opens, if anything, in a thread."""
        before, self.listening = self.listening, None
        if self.practice is not None:
            self._adjustment = self.practice.adjustment
        self.practice = None
        self.trouble = None
        self._switches += 1
        number = self._switches

        def work() -> Source | None:
            if before is not None:
                before.stop()
            # One that was opened for a switch which another overtook has no listener to close it.
            if self._source is not None:
                self._source.close()
            self._source = None
            if number == self._switches and make is not None:
                self._source = make()
            return self._source

        ended = self._chores.later(work, lambda source: self._opened(source, number))
        self.recording.follow(None, ended)
        return ended

    def _opened(self, source: Source | None, number: int) -> None:
        if source is None or number != self._switches:
            return
        self._chores.later(load_model, lambda _: None)
        self.practice = source if isinstance(source, PracticeRadio) else None
        self.log.feed = self.feed
        self.log.begin()
        self.listening = Listening(
            source, feed=self.feed, limits=self.limits, pause_ends_over_s=PAUSE_ENDS_OVER_S,
            wake=lambda: self.wake(),
        )  # fmt: skip
        self.listening.start()
        # The simulated set can be heard again at any time: there is nothing of it to keep.
        self.recording.follow(self.listening if self.practice is None else None)

    def turn(self, *, mic_gain_db: float | None = None, ceiling_khz: float | None = None) -> None:
        """Turn a control of the simulated set; the next over shows it."""
        if mic_gain_db is not None:
            self._adjustment = replace(self._adjustment, mic_gain_db=mic_gain_db)
        if ceiling_khz is not None:
            self._adjustment = replace(self._adjustment, ceiling_khz=ceiling_khz)
        if self.practice is not None:
            self.practice.adjustment = self._adjustment

    @property
    def adjustment(self) -> Adjustment:
        """Where the controls of the simulated set stand."""
        return self._adjustment

    def set_limits(self, limits: LimitSet) -> None:
        """Hold everything against other limits, overs already heard included."""
        self.limits = limits
        self.log.rejudge(limits)
        self.restart()

    def set_feed(self, feed: Feed | None) -> None:
        """Use another scale from now on."""
        self.input_feed = feed
        self.restart()

    # -- what came in -----------------------------------------------------------------------------

    def poll(self) -> list[Fresh]:
        """Take in what the threads have finished; called by the window's timer."""
        self._chores.poll(self._say_trouble)
        self.recording.poll()
        fresh: list[Fresh] = []
        listening = self.listening
        while listening is not None and not listening.events.empty():
            event = listening.events.get()
            if isinstance(event, OverHeard):
                heard = self.log.take(event.over, f"{self._now():%H:%M:%S}")
                self._run_of[heard.number] = listening
                fresh.append(Fresh(heard=heard, outline=self._outline(heard)))
            elif isinstance(event, Ended):
                self.trouble = "the input has ended" if event.error is None else in_words(event.error)
                self.recording.follow(None)
        self._forget()
        return fresh

    def _say(self, text: str) -> None:
        self.message = text

    def _say_trouble(self, text: str) -> None:
        """Say what went wrong; with nothing to listen to it stays in the feed line."""
        self.message = text
        if self.listening is None:
            self.trouble = text

    def _outline(self, heard: Heard) -> NDArray[np.float32]:
        codes = self.audio(heard.number, around=False)
        # A thousand samples a column are plenty: a five-minute over must not hold up the window.
        step = max(len(codes) // (1000 * OUTLINE_COLUMNS), 1)
        return outline(codes[::step].astype(np.float32) / 32768.0, OUTLINE_COLUMNS)

    def _forget(self) -> None:
        present = {heard.number for heard in self.log.heard}
        for number in [number for number in self._run_of if number not in present]:
            del self._run_of[number]
        # An earlier input's ten minutes are let go once another one has started to speak.
        if self.listening is not None and any(run is self.listening for run in self._run_of.values()):
            self._run_of = {n: run for n, run in self._run_of.items() if run is self.listening}

    # -- the tape ---------------------------------------------------------------------------------

    def audio(self, number: int, *, around: bool = True) -> NDArray[np.int16]:
        """Clip of an over, or it alone, shape (n,); empty when it is no longer at hand."""
        heard, run = self.log.find(number), self._run_of.get(number)
        if heard is None or run is None:
            return np.zeros(0, dtype=np.int16)
        start_n = round(heard.over.start_s * run.rate_hz)
        if start_n < run.tape.start_n:
            return np.zeros(0, dtype=np.int16)
        if not around:
            return run.tape.read(start_n, round(heard.over.end_s * run.rate_hz))
        start_n = clip_start_n(heard.over.start_s, run.rate_hz)
        return run.tape.read(start_n, round((heard.over.end_s + AROUND_S) * run.rate_hz))

    def rate_hz(self, number: int) -> int:
        """Sample rate that an over was heard at."""
        run = self._run_of.get(number)
        return 48000 if run is None else run.rate_hz

    def carrier_up(self) -> bool:
        """Whether a real carrier is up on the input, or the bench may have one keyed.

        The simulated set sends nothing.
        """
        if self.lent:
            return True
        reading = None if self.listening is None else self.listening.reading
        return self.practice is None and reading is not None and reading.over_s is not None

    def why_silent(self) -> str:
        """Why nothing may be played just now, in words; empty when it may."""
        if self.lent:
            return LENT_SILENT
        if self.carrier_up() and not self.settings.output_feeds_no_transmitter:
            return CARRIER_IS_UP
        return ""

    def source_name(self, number: int) -> str:
        """Name of the input that an over was heard on."""
        run = self._run_of.get(number)
        return "an earlier input" if run is None else run.source.name

    def keep(self, number: int) -> None:
        """Write an over to disk as FLAC; the message says where."""
        codes, rate_hz = self.audio(number), self.rate_hz(number)
        heard = self.log.find(number)
        comment = "" if heard is None else heard.advice.sentence
        folder, name = clips_folder(self.settings), clip_name(self._now(), number)

        def done(path: Path) -> None:
            self.kept[number] = path
            self.message = f"over {number} kept as {path}"

        self._chores.later(lambda: save_clip(folder, name, codes, rate_hz, comment=comment), done)

    def discard(self, number: int) -> None:
        """Take an over off the tape; what was kept on disk stays there."""
        self.log.discard(number)
        self._run_of.pop(number, None)
        self.message = f"over {number} discarded"

    # -- the scale --------------------------------------------------------------------------------

    def learn(
        self,
        file: Path,
        *,
        tone_hz: float | None = None,
        deviation_khz: float | None = None,
        if_bandwidth_khz: float | None = None,
        deemphasis_us: float | None = None,
    ) -> None:
        """Learn the scale from the last five seconds: a tone of known deviation, or open hiss.

        The feed is written to `file` and used from then on; the message says what came of it.
        """
        if self.listening is None or self.practice is not None:
            self.message = "learn the scale from an input: choose one first"
            return
        rate_hz = self.listening.rate_hz
        samples = self.listening.tape.last(min(round(LEARN_S * rate_hz), self.listening.tape.end_n))

        def work() -> Feed:
            if tone_hz is not None and deviation_khz is not None:
                feed = learn_from_tone(samples, rate_hz, tone_hz, deviation_khz, deemphasis_us, file.stem)
            elif if_bandwidth_khz is not None:
                feed = learn_from_hiss(samples, rate_hz, if_bandwidth_khz, deemphasis_us, file.stem)
            else:
                raise MeasureError("nothing to learn from", "give a tone or an IF bandwidth")
            file.parent.mkdir(parents=True, exist_ok=True)
            save_feed(feed, file)
            return feed

        self._chores.later(work, self._learned)

    def _learned(self, feed: Feed) -> None:
        self.message = (
            f"full scale is {feed.scale_khz_per_fs:.2f} kHz of deviation, "
            f"±{feed.scale_uncertainty_db:.1f} dB; it holds while volume and input level stay"
        )
        self.set_feed(feed)

    # -- the end ----------------------------------------------------------------------------------

    def later(self, work: Callable[[], Any], done: Callable[[Any], None]) -> None:
        """Do `work` in a thread and hand its result to `done` from `poll`."""
        self._chores.later(work, done)

    def close(self) -> None:
        """Stop listening, finish what is being written, let go of everything; safe to call twice."""
        if self._closed:
            return
        self._closed = True
        # A source that was opened just now has not been started by anybody: it is closed with the chores.
        self._chores.close()
        if self.listening is not None:
            self.listening.stop()
        self.recording.close()
        if self._own_renderer and self._renderer is not None:
            self._renderer.shutdown(wait=False, cancel_futures=True)
