"""The main window: passes what the user wants to the sitting, and what the sitting has to the panes."""

import time
from collections.abc import Callable
from dataclasses import replace
from functools import partial
from pathlib import Path

from PySide6.QtCore import QByteArray, Qt, QTimer, Signal
from PySide6.QtGui import QAction, QCloseEvent, QKeyEvent
from PySide6.QtWidgets import QApplication, QDialog, QLabel, QMainWindow, QStackedWidget

from audiotest.feeds.soundcard import open_input
from audiotest.window.actions import CAUTIONS, DEEDS, key_help
from audiotest.window.announcing import announce
from audiotest.window.bench import Bench
from audiotest.window.benchdeeds import BenchDeeds
from audiotest.window.fartext import far_view
from audiotest.window.farview import FarPane
from audiotest.window.menus import fill_menus
from audiotest.window.minus import with_minus
from audiotest.window.overdeeds import OverDeeds
from audiotest.window.playback import CUE_RATE_HZ, Player, cue_tones
from audiotest.window.practicepane import PracticePane
from audiotest.window.presenter import LENT_WORDS, Heard, cue_error_db, feed_line, hiss_words
from audiotest.window.scope import VIEWS
from audiotest.window.settings import Settings, save_settings
from audiotest.window.setupdialog import SetUpDialog
from audiotest.window.sheetdeeds import SheetDeeds
from audiotest.window.sitting import Fresh, Sitting
from audiotest.window.textpage import TextPage
from audiotest.window.theme import apply_theme, choose_theme, dress_marks
from audiotest.window.viewdeeds import ViewDeeds

FRAME_MS = 22
SLOW_EVERY = 8
"""Texts of the feed line and the far view follow at every eighth frame."""
MESSAGE_MS = 12000
HINT = "F far view   S set up   P practise   ? all keys"


class MainWindow(QMainWindow):
    """Bench page and far view; one timer pulls, nothing waits."""

    woken = Signal()
    """An over has come in: it is shown at once, not with the next frame."""

    def __init__(self, sitting: Sitting, settings_file: Path | None = None) -> None:
        super().__init__()
        self.sitting = sitting
        self.settings_file = settings_file
        self.remembered_instead: dict[str, object] = {}
        """What stays in the file where something else counts for this run only, by the setting's name."""
        self.player = Player(lambda: self.settings.output_device)
        self.frames = 0
        self.setWindowTitle("audiotest")
        self.practice = PracticePane(
            lambda value: sitting.turn(mic_gain_db=value),
            lambda value: sitting.turn(ceiling_khz=value),
            self.talk,
            self._set_automatic,
        )
        self.bench = Bench(sitting.limits, sitting.feed, self.practice)
        self.far_pane = FarPane()
        self.pages = QStackedWidget()
        self.pages.addWidget(self.bench)
        self.pages.addWidget(self.far_pane)
        self.setCentralWidget(self.pages)
        self.dialog: SetUpDialog | None = None
        self.box: QDialog | None = None
        self.over_deeds, self.view_deeds = OverDeeds(self), ViewDeeds(self)
        self.sheet_deeds, self.bench_deeds = SheetDeeds(self), BenchDeeds(self)
        self.deeds: dict[str, QAction] = fill_menus(self, DEEDS, lambda name: self.deed(name)())
        self._shown_message, self._message_ends_s = "", 0.0
        self._truths_seen = 0
        self._dressed_for: object = None
        # Made now: a line that appears with the first message would shift everything above it.
        self.statusBar().setSizeGripEnabled(False)
        hint = QLabel(HINT)
        hint.setContentsMargins(0, 0, 8, 0)
        self.statusBar().addPermanentWidget(hint)
        self.bench.tape.itemSelectionChanged.connect(self._choice_changed)
        self.bench.tape.itemDoubleClicked.connect(lambda _: self.over_deeds.replay())
        for name, button in self.bench.tape_buttons.buttons.items():
            button.clicked.connect(partial(self._press, name))
        self.practice.show_adjustment(sitting.adjustment)
        self.apply_settings()
        self.woken.connect(self._take_fresh, Qt.ConnectionType.QueuedConnection)
        sitting.wake = self.woken.emit
        self.timer = QTimer(self)
        self.timer.setTimerType(Qt.TimerType.PreciseTimer)
        self.timer.setInterval(FRAME_MS)
        self.timer.timeout.connect(self.tick)
        if self.settings.geometry:
            self.restoreGeometry(QByteArray.fromBase64(self.settings.geometry.encode("ascii", "ignore")))
        else:
            self.resize(1280, 720)

    @property
    def settings(self) -> Settings:
        """What is remembered, as it stands."""
        return self.sitting.settings

    def remember(self, **changes: object) -> None:
        """Change what is remembered, and write it down."""
        self.sitting.settings = replace(self.settings, **changes)  # type: ignore[arg-type]
        for name in changes:
            self.remembered_instead.pop(name, None)
        lasting = replace(self.settings, **self.remembered_instead)  # type: ignore[arg-type]
        if self.settings_file is not None and not save_settings(lasting, self.settings_file):
            self.sitting.message = f"{self.settings_file}: cannot be written; this choice is not remembered"

    def deed(self, name: str) -> Callable[[], None]:
        """What carries out a deed of the table in `actions`: a method here, or of the other deeds."""
        for holder in (self.over_deeds, self.view_deeds, self.sheet_deeds, self.bench_deeds, self):
            found: Callable[[], None] | None = getattr(holder, name, None)
            if found is not None:
                return found
        raise KeyError(name)

    def _press(self, name: str, *_: object) -> None:
        self.deeds[name].trigger()

    def apply_settings(self) -> None:
        """Dress everything as the settings say."""
        app = QApplication.instance()
        self.theme = choose_theme(self.settings.appearance)
        if isinstance(app, QApplication):
            apply_theme(app, self.theme, self.settings.size_percent)
        scope, spectrum = self.bench.scope, self.bench.spectrum
        scope.view = self.settings.scope_view if self.settings.scope_view in VIEWS else "both"
        scope.persistence, spectrum.average = self.settings.persistence, self.settings.spectrum_average
        self.bench.pictures_wanted = self.settings.pictures
        for name in ("persistence", "sound_cue", "pictures"):
            self.deeds[name].setChecked(bool(getattr(self.settings, name)))
        self.deeds["average"].setChecked(self.settings.spectrum_average)
        self.deeds["freeze"].setChecked(self.bench.frozen)
        self._dress()

    def _dress(self) -> None:
        self._dressed_for = (self.theme, self.sitting.limits, self.sitting.feed, self.settings.size_percent)
        self.bench.dress(self.theme, self.sitting.limits, self.sitting.feed)
        self.practice.setVisible(self.sitting.practice is not None)
        self.show_trail()
        self.show_far()
        if self.sheet_deeds.page is not None:
            self.sheet_deeds.page.dress(self.theme)
        if self.dialog is not None:
            dress_marks(self.dialog, self.theme)

    # -- the timer --------------------------------------------------------------------------------

    def tick(self) -> None:
        """One frame."""
        self.frames += 1
        # The advice is painted before the pictures are drawn again: half a second is all there is for it.
        drawing = not self._take_fresh()
        wanted = (self.theme, self.sitting.limits, self.sitting.feed, self.settings.size_percent)
        if wanted != self._dressed_for or self.practice.isHidden() == (self.sitting.practice is not None):
            self._dress()
        self._hush_in_danger()
        listening = self.sitting.listening
        far = self.pages.currentWidget() is self.far_pane
        if drawing and listening is not None and not far and not self.isMinimized():
            self.bench.draw(listening, listening.reading)
        if self.frames % SLOW_EVERY == 0:
            self._slow_tick()

    def _take_fresh(self) -> bool:
        """Show the overs that have come in; whether there were any."""
        found = self.sitting.poll()
        for fresh in found:
            self._take(fresh)
        return bool(found)

    def _slow_tick(self) -> None:
        listening = self.sitting.listening
        reading = None if listening is None else listening.reading
        name = "no input" if listening is None else listening.source.name
        hiss, feed = "", self.sitting.feed
        if listening is not None:
            feed = listening.feed_now
            hiss = hiss_words(listening.hiss_drift, self.sitting.feed is not None)
        self.bench.show_feed(
            feed_line(name, feed, reading, hiss, self.sitting.trouble, lent=self.sitting.lent_now)
        )
        self.bench.feed.show_recording(self.sitting.recording.line(), self.theme)
        self.deeds["record"].setChecked(self.sitting.recording.wanted)
        if self.player.trouble is not None:
            self.sitting.message, self.player.trouble = str(self.player.trouble), None
        if self.sitting.message != self._shown_message:
            self._shown_message = self.sitting.message
            self._message_ends_s = time.monotonic() + MESSAGE_MS / 1000.0
            self.statusBar().showMessage(self._shown_message, MESSAGE_MS)
            announce(self.statusBar(), self._shown_message)
            for number in self.sitting.kept:
                self.bench.tape.mark_kept(number)
        if self.pages.currentWidget() is self.far_pane:
            self.show_far()
        self.bench.meters.describe()
        self._show_truth()
        if self.dialog is not None and self.dialog.isVisible():
            self.dialog.follow(listening)

    def _take(self, fresh: Fresh) -> None:
        self.bench.tape.add(fresh.heard, fresh.outline)
        self.bench.tape.drop_missing({heard.number for heard in self.sitting.log.heard})
        self.show_advice(self.sitting.log.latest)
        self.show_trail()
        self.show_far()
        self._mark_limiter(fresh.heard)
        if fresh.heard.over.overload_runs:
            self.bench.meters.latch()
        if self.settings.sound_cue:
            self._sound(fresh.heard)

    def show_advice(self, heard: Heard | None) -> None:
        """Show the advice on an over, or what to do first."""
        self.bench.advice.show_over(heard, self.theme)

    def show_trail(self) -> None:
        """Draw the last overs on the map."""
        self.bench.map.show_points(self.sitting.log.trail(), self.bench.tape.chosen())

    def show_far(self) -> None:
        """Write the far view."""
        listening = self.sitting.listening
        reading = None if listening is None else listening.reading
        said = self._shown_message if time.monotonic() < self._message_ends_s else ""
        if not said and self.sitting.lent_now:
            said = LENT_WORDS
        view = far_view(self.sitting.log.latest, self.sitting.limits, reading, said=said)
        recording = self.sitting.recording.line().text
        self.far_pane.show_view(replace(view, recording=recording), self.theme)

    def _mark_limiter(self, heard: Heard) -> None:
        limiter, deviation = heard.over.limiter, heard.over.deviation
        self.bench.scope.mark_limiter(deviation.p999_khz if limiter.reached else None)

    def _show_truth(self) -> None:
        practice = self.sitting.practice
        if practice is None or len(practice.truths) == self._truths_seen:
            return
        self._truths_seen = len(practice.truths)
        if practice.truths:
            truth = practice.truths[-1][1]
            self.practice.truth.setText(
                with_minus(
                    f"That over really had drive {truth.drive_db:+.1f} dB, peak {truth.peak_khz:.2f} kHz."
                )
            )

    def _sound(self, heard: Heard) -> None:
        """Sound the cue, unless a carrier is up again: it must not get into a keyed microphone."""
        listening = self.sitting.listening
        reading = None if listening is None else listening.reading
        if reading is None or reading.state != "waiting":
            return
        self.player.play(cue_tones(cue_error_db(heard), CUE_RATE_HZ), CUE_RATE_HZ)

    def _hush_in_danger(self) -> None:
        """A carrier that comes up ends what plays: the output might feed the transmitter that is keyed."""
        if self.player.sounding and (why := self.sitting.why_silent()):
            self.player.stop()
            self.sitting.message = why.replace("not played", "stopped")

    def _choice_changed(self) -> None:
        chosen = self.bench.tape.chosen()
        if len(chosen) == 1:
            self.show_advice(self.sitting.log.find(chosen[0]))
        self.show_trail()

    # -- deeds, feed ------------------------------------------------------------------------------

    def set_up(self) -> None:
        """Open the set-up beside the bench."""
        if self.dialog is None:
            self.dialog = SetUpDialog(self.sitting, self)
            self.dialog.resize(self.dialog.sizeHint())
        self.dialog.refresh()
        self.dialog.show()
        self.dialog.raise_()

    def practise(self) -> None:
        """Listen to the simulated set."""
        self._truths_seen = 0
        self.sitting.open_practice()

    def listen(self) -> None:
        """Listen to the remembered input."""
        device, channel = self.settings.device or None, self.settings.channel or None
        self.sitting.open_source(lambda: open_input(device, None, channel))

    def record(self) -> None:
        """Keep all that is heard on disk, on and off; never the simulated set."""
        self.sitting.recording.switch()
        self._slow_tick()

    def talk(self) -> None:
        """Key the simulated set."""
        if self.sitting.practice is not None:
            self.sitting.practice.talk()
        else:
            self.sitting.message = "only the simulated set can be keyed from here; P practises on it"

    def _set_automatic(self, automatic: bool) -> None:
        if self.sitting.practice is not None:
            self.sitting.practice.automatic = automatic

    def leave(self) -> None:
        """Quit."""
        self.close()

    # -- deeds, help ------------------------------------------------------------------------------

    def keys(self) -> None:
        """Show all keys."""
        self._tell("Keys", key_help())

    def cautions(self) -> None:
        """Show what to mind."""
        self._tell("Cautions", "<br><br>".join(CAUTIONS))

    def _tell(self, title: str, html: str) -> None:
        self.box = TextPage(title, html, self)
        self.box.show()

    # -- Qt ---------------------------------------------------------------------------------------

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """Esc leaves the far view."""
        if event.key() == Qt.Key.Key_Escape and self.pages.currentWidget() is self.far_pane:
            self.view_deeds.far()
            return
        super().keyPressEvent(event)

    def closeEvent(self, event: QCloseEvent) -> None:
        """Stop in order: timer, sound, worker; then the widgets go."""
        self.timer.stop()
        self.sitting.wake = lambda: None
        self.player.stop()
        self.bench_deeds.shut()
        if self.pages.currentWidget() is self.bench:
            self.remember(geometry=bytes(self.saveGeometry().toBase64().data()).decode("ascii"))
        self.sitting.close()
        super().closeEvent(event)
