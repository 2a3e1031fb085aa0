"""Bench measurements in a window of their own: choose, agree, measure, keep."""

import json
from collections.abc import Callable
from concurrent.futures import Future, ThreadPoolExecutor, wait
from pathlib import Path
from typing import Any, Protocol

from PySide6.QtCore import QSize, Qt, QTimer
from PySide6.QtGui import QCloseEvent, QKeyEvent
from PySide6.QtWidgets import QFileDialog, QPushButton, QStackedWidget, QVBoxLayout, QWidget

from audiotest.errors import AudiotestError
from audiotest.feeds.inputs import InputDevice
from audiotest.feeds.scale import save_feed
from audiotest.feeds.soundcard import list_inputs
from audiotest.keep.benchresult import read_bench_result
from audiotest.keep.sheetfile import sheets_path
from audiotest.tones.byhand import GIVES_A_FEED
from audiotest.tones.live import Technician
from audiotest.tones.opening import announcement, cautions_for, null_feed, open_bench
from audiotest.tones.reported import bench_document
from audiotest.window.benchchoice import ChoicePane
from audiotest.window.benchconsent import ConsentPane
from audiotest.window.benchfields import Fields, Filled
from audiotest.window.benchkeep import KeepDialog
from audiotest.window.benchlist import ALL_NEEDS, Prepared, listed, prepare_run
from audiotest.window.benchoutcome import OutcomePane
from audiotest.window.benchplot import lines_for
from audiotest.window.benchrun import BenchRun, HaltableBench, OpenBench, RehearsalBench
from audiotest.window.benchrunning import RunningPane
from audiotest.window.playback import SYSTEMS_OWN
from audiotest.window.settings import Settings
from audiotest.window.theme import choose_theme

POLL_MS = 60
LISTING_S = 20.0
Remember = Callable[..., None]


class InputOwner(Protocol):
    """Whoever listens to the input otherwise: two at once would disturb each other."""

    def lend(self) -> Callable[[], None]:
        """Let go of it; what is returned waits, in any thread, until it is free."""

    def take_back(self) -> None:
        """Listen again."""


class BenchWindow(QWidget):
    """Four pages: choice, consent, running, outcome. Measuring is done in a thread; nothing here waits.

    Parameters
    ----------
    settings, remember : callable
        What is remembered as it stands, and how to change it.
    folder : Path
        Where files of feeds and outputs are looked for first.
    open_live : callable
        Opens the real instruments; see `audiotest.tones.opening.open_bench`.
    inputs : callable
        Lists the inputs, in a thread; None asks the sound system.
    owner : InputOwner or None
        Lends the input for as long as something is measured on it.
    """

    def __init__(
        self,
        settings: Callable[[], Settings],
        remember: Remember,
        folder: Path,
        *,
        open_live: Callable[..., HaltableBench] = open_bench,
        inputs: Callable[[], tuple[InputDevice, ...]] | None = None,
        owner: InputOwner | None = None,
        parent: QWidget | None = None,
    ) -> None:
        super().__init__(parent, Qt.WindowType.Window)
        self.setWindowTitle("Bench measurements")
        self._settings, self._remember, self._folder = settings, remember, folder
        self._open_live, self._inputs = open_live, inputs or list_inputs
        self._owner = owner
        self.run: BenchRun | None = None
        self.prepared: Prepared | None = None
        self.rehearsed = True
        self.box: QWidget | None = None
        self._filled: Filled | None = None
        self._chores = ThreadPoolExecutor(1, thread_name_prefix="audiotest-bench-chores")
        self._listing: Future[tuple[InputDevice, ...]] | None = None
        self._dressed_for: object = None
        self.choice = ChoicePane(listed(), Fields(lambda: self._folder), self.begin)
        self.consent = ConsentPane(self._agreed, self.back)
        self.running = RunningPane(self._answer, self.stop)
        self.outcome = OutcomePane(
            (
                ("feed", "Store as a &feed …", self.store_feed),
                ("keep", "&Keep on the sheet file …", self.keep),
                ("json", "Save as &JSON …", self.save),
                ("again", "&Again", self.begin),
                ("list", "Back to the &list", self.back),
            )
        )
        self.pages = QStackedWidget()
        for page in (self.choice, self.consent, self.running, self.outcome):
            self.pages.addWidget(page)
        layout = QVBoxLayout(self)
        layout.setContentsMargins(8, 8, 8, 8)
        layout.addWidget(self.pages)
        self.timer = QTimer(self)
        self.timer.setInterval(POLL_MS)
        self.timer.timeout.connect(self.tick)
        self._take_settings()
        self.dress()

    def sizeHint(self) -> QSize:
        """As the first page wants, within the screen."""
        room = self.screen().availableSize()
        wanted = self.choice.sizeHint()
        return QSize(
            min(wanted.width(), round(0.95 * room.width())), min(wanted.height(), round(0.9 * room.height()))
        )

    def open_up(self) -> None:
        """Show the window, on the page where it was left."""
        if not self.isVisible():
            self.resize(self.sizeHint())
        if self.run is None:
            self._look_for_inputs()
        self.timer.start()
        self.show()
        self.raise_()
        self.activateWindow()

    def _take_settings(self) -> None:
        now = self._settings()
        self.choice.fields.take(
            limits=now.limits, device=now.device, channel=now.channel, feed_file=now.feed_file,
            output_file=now.output_file,
        )  # fmt: skip
        self.choice.refresh()

    def dress(self) -> None:
        """Colours and letters as the settings say."""
        now = self._settings()
        wanted = (choose_theme(now.appearance), now.size_percent)
        if wanted == self._dressed_for:
            return
        self._dressed_for = wanted
        self.theme = wanted[0]
        self.choice.dress(self.theme)
        self.consent.dress()
        self.running.dress(self.theme)
        self.outcome.dress(self.theme)

    # -- before a run -----------------------------------------------------------------------------

    def begin(self) -> None:
        """Start what is chosen: a rehearsal at once, real instruments only after the consent."""
        if self.running_now:
            return
        self.rehearsed = self.choice.rehearse.isChecked()
        self._filled = self.choice.fields.filled()
        self.prepared = None
        try:
            prepared = prepare_run(
                self.choice.chosen, self._filled, rehearsed=self.rehearsed,
                output_device=self._settings().output_device,
            )  # fmt: skip
        except AudiotestError as error:
            self.pages.setCurrentWidget(self.choice)
            self.choice.say(f"⚠  {error}")
            return
        self.prepared = prepared
        self.choice.say("")
        rehearsal = prepared.rehearsal
        if rehearsal is not None:
            self._start(lambda technician: RehearsalBench(rehearsal, technician))
            return
        # Input and limits of the main window stay as they are: the bench may have another.
        self._remember(output_file=self._filled.output_file)
        what = announcement(prepared.entry)
        if prepared.scale is not None:
            what = f"{what} Output: {prepared.scale.device or SYSTEMS_OWN}."
        self.consent.ask(what, cautions_for(prepared.entry), self.theme)
        self.pages.setCurrentWidget(self.consent)

    def _agreed(self) -> None:
        """The cautions are kept: open the instruments and start."""
        prepared, filled = self.prepared, self._filled
        if prepared is None or filled is None or not self.consent.agreed.isChecked():
            return
        self.consent.agreed.setChecked(False)
        listing = self._listing
        until_free = self._owner.lend() if self._owner is not None else lambda: None

        def open_it(technician: Technician) -> HaltableBench:
            if listing is not None:
                # Looking for inputs starts the sound system again, which nothing that is open survives.
                wait([listing], LISTING_S)
            until_free()
            return self._open_live(
                prepared.name, prepared.entry, technician, device=filled.device or None,
                channel=filled.channel or None, scale=prepared.scale, swapped=filled.swapped,
                iq=filled.iq and ALL_NEEDS[prepared.name].carrier,
            )  # fmt: skip

        self._start(open_it)

    def _start(self, open_it: OpenBench) -> None:
        assert self.prepared is not None
        automatic = self.rehearsed and self.choice.automatic.isChecked()
        self.run = BenchRun(self.prepared.guided, open_it, automatic=automatic)
        self.running.begin(self.run.moment.report.title, self.theme)
        self.pages.setCurrentWidget(self.running)
        self.run.start()
        self.timer.start()
        self.tick()

    # -- during a run -----------------------------------------------------------------------------

    @property
    def running_now(self) -> bool:
        """Whether a measurement is under way."""
        return self.run is not None and not self.run.moment.over

    def tick(self) -> None:
        """Show how the run stands; take in the list of inputs."""
        self.dress()
        self._take_inputs()
        if self.run is None or self.prepared is None or self.pages.currentWidget() is not self.running:
            return
        moment = self.run.moment
        lines = lines_for(self.prepared.name, self.prepared.limits.deviation_khz)
        self.running.show_moment(
            moment, steps_n=ALL_NEEDS[self.prepared.name].steps_n, rehearsed=self.rehearsed, lines=lines
        )
        if not moment.over:
            return
        self._give_back()
        trouble = moment.trouble or ""
        if moment.prompt and not self.rehearsed:
            trouble = f"{moment.prompt} {trouble}".strip()
        self.outcome.show_report(
            moment.report, rehearsed=self.rehearsed, trouble=trouble, lines=lines, theme=self.theme
        )
        self.outcome.buttons["feed"].setVisible(self.prepared.name in GIVES_A_FEED)
        self.pages.setCurrentWidget(self.outcome)
        self.outcome.buttons["list"].setFocus()

    def _give_back(self) -> None:
        if self._owner is not None:
            self._owner.take_back()

    def _answer(self, value: float | None) -> None:
        if self.run is not None:
            self.run.answer(value)

    def stop(self) -> None:
        """Silence at once; what was measured is kept and shown."""
        if self.run is not None:
            self.run.stop()

    # -- after a run ------------------------------------------------------------------------------

    def back(self) -> None:
        """To the list."""
        if self.running_now:
            return
        self.run = None
        self.pages.setCurrentWidget(self.choice)
        self.choice.list.setFocus()

    def _document(self) -> dict[str, Any]:
        assert self.run is not None
        return bench_document(self.run.moment.report, rehearsed=self.rehearsed)

    def keep(self) -> None:
        """Put the result on a sheet; a rehearsal is refused."""
        if self.run is None:
            return
        name = self.run.moment.report.procedure
        try:
            result = read_bench_result(json.dumps(self._document()).encode(), "this result")
        except AudiotestError as error:
            self.outcome.say(str(error))
            return
        named = self._settings().sheets_file
        file = Path(named) if named else sheets_path()
        self.box = KeepDialog(result, name, file, self.outcome.say, self)
        self.box.show()

    def save(self) -> None:
        """Save the document, as ``audiotest bench --json`` prints it."""
        if self.run is not None:
            name = f"{self.run.moment.report.procedure}.json"
            self._ask_for_file("Save the result", name, "Results (*.json)", self.save_as)

    def save_as(self, name: str) -> None:
        """Save it there."""
        text = json.dumps(self._document(), ensure_ascii=False, indent=1, allow_nan=False)
        try:
            Path(name).write_text(text + "\n", encoding="utf-8")
        except OSError as error:
            self.outcome.say(f"{name}: cannot be written: {error.strerror or error}; name another place")
            return
        self.outcome.say(f"saved as {name}")

    def store_feed(self) -> None:
        """Store what the carrier null has taught as a feed."""
        if self.rehearsed:
            self.outcome.say("a rehearsal teaches the scale of the simulated radio only: nothing is stored")
            return
        self._ask_for_file("Store the feed", "carrier null.toml", "Feeds (*.toml)", self.store_feed_as)

    def store_feed_as(self, name: str) -> None:
        """Store it there, and use it from now on."""
        assert self.run is not None
        assert self._filled is not None
        try:
            save_feed(null_feed(self.run.moment.report, Path(name).stem, self._filled.deemphasis_us), name)
        except AudiotestError as error:
            self.outcome.say(str(error))
            return
        self.choice.fields.feed_file.line.setText(name)
        self.outcome.say(f"stored as {name}, and filled in as the feed of the monitor")

    def _ask_for_file(self, title: str, name: str, kinds: str, done: Callable[[str], None]) -> None:
        dialog = QFileDialog(self, title, str(self._folder / name), kinds)
        dialog.setAttribute(Qt.WidgetAttribute.WA_DeleteOnClose)
        dialog.setAcceptMode(QFileDialog.AcceptMode.AcceptSave)
        dialog.fileSelected.connect(done)
        self.box = dialog
        dialog.open()

    # -- inputs -----------------------------------------------------------------------------------

    def _look_for_inputs(self) -> None:
        if self._listing is None:
            self._listing = self._chores.submit(self._inputs)

    def _take_inputs(self) -> None:
        if self._listing is None or not self._listing.done():
            return
        listing, self._listing = self._listing, None
        error = listing.exception()
        if error is None:
            self.choice.fields.show_inputs(listing.result())
        elif self.choice.live.isChecked():
            self.choice.say(f"⚠  {error}")

    # -- Qt ---------------------------------------------------------------------------------------

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """Esc stops or leads back, Enter answers or starts."""
        page = self.pages.currentWidget()
        if event.key() == Qt.Key.Key_Escape:
            if page is self.running:
                self.stop()
            elif page is self.choice:
                self.close()
            else:
                self.back()
        elif event.key() in (Qt.Key.Key_Return, Qt.Key.Key_Enter):
            focus = self.focusWidget()
            if page is self.running:
                # Never the stop, which may have the focus: a second Enter must not end the run.
                self.running.press()
            elif isinstance(focus, QPushButton):
                focus.click()
            elif page is self.choice:
                self.begin()
        else:
            super().keyPressEvent(event)

    def closeEvent(self, event: QCloseEvent) -> None:
        """Silence and end whatever runs; the window can be opened again."""
        self.timer.stop()
        if self.run is not None:
            self.run.stop()
            self.run.wait()
            self.run = None
        self._give_back()
        self.pages.setCurrentWidget(self.choice)
        super().closeEvent(event)

    def shut(self) -> None:
        """Close for good, whether it is shown or not."""
        self.close()
        if self.run is not None:
            self.run.stop()
            self.run.wait()
        self._chores.shutdown(wait=False, cancel_futures=True)
