"""The job sheets beside the bench: find a set, see its sheet as found against as left, put readings on it."""

from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import Any

from PySide6.QtCore import QEvent, QSize, Qt, QTimer
from PySide6.QtGui import QFontMetricsF, QKeySequence, QShortcut
from PySide6.QtWidgets import (
    QApplication,
    QDialog,
    QHBoxLayout,
    QLineEdit,
    QPushButton,
    QSplitter,
    QTabWidget,
    QVBoxLayout,
    QWidget,
)

from audiotest.errors import AudiotestError
from audiotest.keep.sheetrecords import STAGES, Stage
from audiotest.window import sheetdesk
from audiotest.window.announcing import SaidLine, name_choices
from audiotest.window.labels import CutLabel
from audiotest.window.sheetdesk import DeskView, Question, SheetView, TypedReading
from audiotest.window.sheetexchange import SheetExchange
from audiotest.window.sheetfiles import ask_for_sheets
from audiotest.window.sheetforms import AskingForm, SetForm, TypeRow, VisitForm, named, push_button
from audiotest.window.sheettable import LineList, ReadingTable
from audiotest.window.sheetwork import SheetWork
from audiotest.window.theme import Theme, bigger, dress_marks

SEARCH_MS = 250
LOOK_AGAIN_MS = 3000
"""Another window, or the command line, may have changed the sheets meanwhile."""
Later = Callable[[Callable[[], Any], Callable[[Any], None]], None]


class SheetPage(QDialog):
    """Search and sets on the left, the chosen sheet on the right; all work on the file is done elsewhere.

    Parameters
    ----------
    path : Path
        The file of the sheets; made when it is not there.
    later : callable
        Does its first argument in another thread and hands what comes of it to the second, in this one.
    put_over : callable
        Puts the over chosen on the tape on the chosen sheet, at a stage.
    limits : str
        Id of the limits that a new set or sheet starts with.
    file_chosen : callable
        Told which file is used from now on.
    """

    def __init__(
        self,
        path: Path,
        *,
        later: Later,
        put_over: Callable[[Stage], None],
        limits: str,
        file_chosen: Callable[[Path], None],
        theme: Theme,
        parent: QWidget | None = None,
    ) -> None:
        super().__init__(parent)
        self.setModal(False)
        self.setWindowTitle("Job sheets")
        self.path, self.limits = path, limits
        self.question = Question()
        self._later, self._put_over, self._file_chosen = later, put_over, file_chosen
        self._view: DeskView | None = None
        self._form: AskingForm | None = None
        self._make_parts()
        self._arrange()
        name_choices(self)
        self.dress(theme)
        self._search_timer = QTimer(self)
        self._search_timer.setSingleShot(True)
        self._search_timer.setInterval(SEARCH_MS)
        self._search_timer.timeout.connect(self._search)
        self._again = QTimer(self)
        self._again.timeout.connect(self._look_while_seen)
        self._again.start(LOOK_AGAIN_MS)
        QShortcut(QKeySequence("F5"), self).activated.connect(self.refresh)
        self.refresh()

    @property
    def visit_id(self) -> int | None:
        """Number of the sheet that is shown."""
        return self.question.visit_id

    @property
    def sheet(self) -> SheetView | None:
        """The sheet that is shown."""
        return None if self._view is None else self._view.sheet

    # -- what it is made of -----------------------------------------------------------------------

    def _make_parts(self) -> None:
        self.file, self.heading, self.about, self.summary = (CutLabel() for _ in range(4))
        self.search = QLineEdit()
        self.search.setPlaceholderText("maker, serial, fault, anything")
        self.search.setAccessibleName("search all sheets")
        self.search.setClearButtonEnabled(True)
        self.search.textEdited.connect(lambda _: self._search_timer.start())
        self.sets, self.visits = LineList("sets"), LineList("sheets of this set")
        self.course = LineList("history of the set", wrapped=True)
        self.notes = LineList("notes and clips", wrapped=True)
        self.sets.chosen.connect(self._set_chosen)
        self.visits.chosen.connect(self._visit_chosen)
        self.course.chosen.connect(self._visit_chosen)
        self.readings = ReadingTable()
        self.typing = TypeRow(self.type_reading)
        self.work = SheetWork(self)
        self.exchange = SheetExchange(self)
        self.over_buttons: dict[Stage, QPushButton] = {}
        for stage, text, key in zip(STAGES, ("Over as &found", "Over as &left"), ("1", "2"), strict=True):
            button = push_button(text, partial(self._put_over, stage))
            button.setToolTip(
                f"Put the over chosen on the tape, its figures and its clip ({key} on the bench)"
            )
            self.over_buttons[stage] = button
        self.new_set = push_button("&New set …", self.ask_set)
        self.new_visit = push_button("New s&heet …", self.ask_visit)
        self.other_file = push_button("&Another file …", self.ask_file)
        self.close_button = push_button("&Done", self.close)
        self.said = SaidLine()

    def _arrange(self) -> None:
        left, right = QWidget(), QWidget()
        column = QVBoxLayout(left)
        column.setContentsMargins(0, 0, 0, 0)
        parts: tuple[tuple[str, QWidget, int], ...] = (
            ("S&earch", self.search, 0), ("Se&ts", self.sets, 3), ("", self.new_set, 0),
            ("Sheets of th&is set", self.visits, 2), ("", self.new_visit, 0),
        )  # fmt: skip
        for text, part, share in parts:
            if text:
                column.addWidget(named(text, part))
            column.addWidget(part, share)
        column = QVBoxLayout(right)
        column.setContentsMargins(0, 0, 0, 0)
        self.tabs = QTabWidget()
        self.tabs.setAccessibleName("the sheet")
        self.tabs.addTab(self.readings, "Readin&gs")
        self.tabs.addTab(self.course, "Histor&y of the set")
        self.tabs.addTab(self.notes, "Notes and &clips")
        buttons = QHBoxLayout()
        for button in (*self.over_buttons.values(), self.work.button):
            buttons.addWidget(button)
        buttons.addStretch(1)
        head = QHBoxLayout()
        head.addWidget(self.heading, 1)
        head.addWidget(self.exchange.report)
        head.addWidget(self.exchange.hand_out)
        column.addLayout(head)
        column.addWidget(self.about)
        column.addWidget(self.tabs, 1)
        column.addWidget(self.summary)
        column.addWidget(self.typing)
        column.addLayout(buttons)
        halves = QSplitter(Qt.Orientation.Horizontal)
        halves.addWidget(left)
        halves.addWidget(right)
        halves.setStretchFactor(0, 1)
        halves.setStretchFactor(1, 2)
        halves.setSizes([300, 700])
        halves.setChildrenCollapsible(False)
        top, foot = QHBoxLayout(), QHBoxLayout()
        top.addWidget(self.file, 1)
        top.addWidget(self.exchange.take_in)
        top.addWidget(self.other_file)
        foot.addWidget(self.said, 1)
        foot.addWidget(self.close_button)
        layout = QVBoxLayout(self)
        layout.addLayout(top)
        layout.addWidget(halves, 1)
        layout.addLayout(foot)

    def sizeHint(self) -> QSize:
        """Room for ten readings, within the screen."""
        line = QFontMetricsF(QApplication.font()).height()
        room = self.screen().availableSize()
        return QSize(
            min(round(62 * line), round(0.95 * room.width())),
            min(round(36 * line), round(0.92 * room.height())),
        )

    def dress(self, theme: Theme) -> None:
        """Draw in these colours."""
        self.theme = theme
        self.readings.dress(theme)
        dress_marks(self, theme)
        self.heading.setFont(bigger(QApplication.font(), 1.0, bold=True))
        # Two lines are kept for what there is to say, so that nothing jumps.
        self.said.setMinimumHeight(round(2.1 * QFontMetricsF(QApplication.font()).height()))

    # -- looking ----------------------------------------------------------------------------------

    def refresh(self) -> None:
        """Read the file again."""
        self._look(self.question)

    def _look(self, question: Question) -> None:
        path = self.path
        self.question = question
        self.do(lambda: sheetdesk.look(path, question), self._show)

    def _look_while_seen(self) -> None:
        if not self.isVisible() or self._view is None:
            return
        path, question, stamp = self.path, self.question, self._view.stamp
        self.do(lambda: sheetdesk.look_if_changed(path, question, stamp), self._show)

    def do(
        self, work: Callable[[], Any], done: Callable[[Any], None],
        failed: Callable[[AudiotestError], None] | None = None,
    ) -> None:  # fmt: skip
        """Work in the other thread; an error that a user can meet is said here, in words."""

        def carefully() -> Any:
            try:
                return work()
            except AudiotestError as error:
                return error

        def take(result: Any) -> None:
            if isinstance(result, AudiotestError):
                (failed or self.complain)(result)
            else:
                done(result)

        self._later(carefully, take)

    def _show(self, view: DeskView | None) -> None:
        if view is None or view.asked != self.question:
            # Nothing has changed, or something else has been asked for meanwhile.
            return
        self.question = view.answer
        same, self._view = view == self._view, view
        if same:
            return
        self.file.setText(str(self.path))
        self.sets.show_lines(view.sets, self.question.set_id)
        self.visits.show_lines(view.visits, self.question.visit_id)
        self.course.show_lines(view.course, None)
        sheet = view.sheet
        self.heading.setText(sheetdesk.title_of(view))
        self.about.setText("" if sheet is None else sheet.heading)
        self.summary.setText("" if sheet is None else sheet.summary)
        self.readings.show_rows(() if sheet is None else sheet.rows)
        self.notes.show_texts(() if sheet is None else sheet.notes)
        for part in (self.typing, *self.over_buttons.values()):
            part.setEnabled(sheet is not None)
        self.work.follow()
        self.exchange.follow()
        self.new_visit.setEnabled(self.question.set_id is not None)

    # -- choosing ---------------------------------------------------------------------------------

    def _search(self) -> None:
        self._look(Question(
            words=self.search.text(), set_id=self.question.set_id, visit_id=self.question.visit_id
        ))  # fmt: skip

    def _set_chosen(self, number: int) -> None:
        if number != self.question.set_id:
            self._look(Question(words=self.question.words, set_id=number))

    def _visit_chosen(self, number: int) -> None:
        if number != self.question.visit_id:
            self._look(Question(words=self.question.words, set_id=self.question.set_id, visit_id=number))

    def choose(self, question: Question) -> None:
        """Show this set and sheet, whatever was searched for."""
        self.search.clear()
        self._look(question)

    def ask_file(self) -> None:
        """Choose another file of sheets, or name a new one."""
        ask_for_sheets(self, self.path.parent, self.use_file)

    def use_file(self, path: Path) -> None:
        """Work on another file from now on, once it has been opened without complaint."""

        def opened(_: DeskView) -> None:
            self.path, self._view = path, None
            self._file_chosen(path)
            self.say(f"{path} is open")
            self._look(Question())

        self.do(lambda: sheetdesk.look(path, Question()), opened)

    # -- doing ------------------------------------------------------------------------------------

    def ask_set(self) -> None:
        """Put a set on the books."""
        self.open_form(SetForm(self.add_set, self, limits=self.limits))

    def add_set(self, maker: str, model: str, serial: str, service: str) -> None:
        """Put this set on the books and choose it."""
        path = self.path

        def done(number: int) -> None:
            self.form_done()
            self.say(f"set {number} is on the books: begin its sheet with New sheet")
            self.choose(Question(set_id=number))

        self.do(lambda: sheetdesk.add_set(path, maker, model, serial, service), done, self.form_refused)

    def ask_visit(self) -> None:
        """Begin a sheet for the chosen set."""
        self.open_form(VisitForm(self.add_visit, self, limits=self.limits))

    def open_form(self, form: AskingForm) -> None:
        """Show a form that stays until what it asks for has been done."""
        self._form = form
        form.finished.connect(self._form_gone)
        form.open()

    def _form_gone(self, *_: object) -> None:
        self._form = None

    def form_done(self) -> None:
        """What the form asked for has been done."""
        if self._form is not None:
            self._form.done(AskingForm.DialogCode.Accepted)

    def form_refused(self, error: AudiotestError) -> None:
        """The form is still open with what was typed, unless it was given up meanwhile."""
        if self._form is None:
            self.complain(error)
        else:
            self._form.refuse(sheetdesk.error_words(error))

    def add_visit(self, limits: str, channel: int | None, mhz: float | None, complaint: str) -> None:
        """Begin this sheet and choose it."""
        path, set_id = self.path, self.question.set_id
        if set_id is None:
            return

        def done(number: int) -> None:
            self.form_done()
            self.say(f"sheet {number} is begun")
            self._look(Question(words=self.question.words, set_id=set_id, visit_id=number))

        self.do(
            lambda: sheetdesk.open_visit(path, set_id, limits, channel, mhz, complaint),
            done,
            self.form_refused,
        )

    def type_reading(self, typed: TypedReading) -> None:
        """Put a typed reading on the sheet that is shown."""
        path, visit_id = self.path, self.visit_id
        if visit_id is None:
            return

        def done(words: str) -> None:
            self.say(words)
            self.typing.taken()
            self.refresh()

        def refused(error: AudiotestError) -> None:
            self.complain(error)
            self.typing.doubt(sheetdesk.is_doubt(error))

        self.do(lambda: sheetdesk.type_reading(path, visit_id, typed), done, refused)

    # -- what there is to say ---------------------------------------------------------------------

    def say(self, words: str) -> None:
        """Say what was done."""
        self.said.setStyleSheet(f"color: {self.theme.ink}")
        self.said.say(words)

    def complain(self, error: AudiotestError) -> None:
        """Say what went wrong."""
        self.said.setStyleSheet(f"color: {self.theme.warn}")
        self.said.say(sheetdesk.error_words(error), wrong=True)

    def changeEvent(self, event: QEvent) -> None:
        """Look again when the page comes to the front."""
        super().changeEvent(event)
        if event.type() == QEvent.Type.ActivationChange and self.isActiveWindow():
            self.refresh()
