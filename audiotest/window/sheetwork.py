"""The work on a set, noted on its sheet: faults, parts, the helper's report, what is withdrawn, the end."""

from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

from PySide6.QtCore import Qt
from PySide6.QtGui import QAction, QKeySequence, QShortcut
from PySide6.QtWidgets import QComboBox, QFormLayout, QLabel, QMenu, QPushButton, QSpinBox, QWidget

from audiotest.keep.sheetrecords import STAGE_WORDS, STAGES
from audiotest.window import sheetnotes
from audiotest.window.sheetforms import AskingForm, text_field

if TYPE_CHECKING:
    from audiotest.window.sheetpage import SheetPage

WORK = (
    ("fault", "&Fault found …"),
    ("cure", "&Cure of a fault …"),
    ("part", "&Part fitted …"),
    ("spoken", "&Heard by the helper …"),
    ("withdraw", "&Withdraw the chosen reading …"),
    ("close", "The set &leaves the bench …"),
)
WITHDRAWN_WORDS = "It stays on record, and what was read before it stands again."
CLOSED_WORDS = "The sheet is closed. When the set comes back it gets a new one."


class WorkForm(AskingForm):
    """A form of a few named fields, or of none: then it only asks whether.

    Parameters
    ----------
    title : str
        Of its window.
    words : str
        What it asks, above the fields; empty for nothing.
    fields : sequence
        Each with its name, whose marked letter is its key, and the widget.
    take : callable
        Takes the form when it is accepted; whoever takes it closes it.
    """

    def __init__(
        self, title: str, words: str, fields: tuple[tuple[str, QWidget], ...],
        take: Callable[[], None], parent: QWidget | None,
    ) -> None:  # fmt: skip
        super().__init__(title, parent)
        self._take = take
        self.fields = {name.replace("&", ""): field for name, field in fields}
        form = QFormLayout(self)
        if words:
            asked = QLabel(words)
            asked.setTextFormat(Qt.TextFormat.PlainText)
            asked.setWordWrap(True)
            form.addRow(asked)
        for name, field in fields:
            if not field.accessibleName():
                field.setAccessibleName(name.replace("&", ""))
            form.addRow(name, field)
        self.finish(form)

    def accept(self) -> None:
        """Hand over what was filled in."""
        self._take()


class SheetWork:
    """The menu of the work, and what each of its entries does."""

    def __init__(self, page: "SheetPage") -> None:
        self._page = page
        self.button = QPushButton("Wor&k on the set …")
        self.button.setAutoDefault(False)
        self.button.setToolTip(
            "Faults, parts, the helper's report; withdraw a reading (Del); close the sheet"
        )
        menu = QMenu(self.button)
        menu.setAccessibleName("work on the set")
        self.actions: dict[str, QAction] = {}
        for name, text in WORK:
            self.actions[name] = menu.addAction(text, partial(self._ask, name))
        self.button.setMenu(menu)
        delete = QShortcut(QKeySequence("Del"), page.readings)
        delete.setContext(Qt.ShortcutContext.WidgetWithChildrenShortcut)
        delete.activated.connect(self.withdraw)

    def follow(self) -> None:
        """Offer what can be done on the sheet that is shown."""
        sheet = self._page.sheet
        self.button.setEnabled(sheet is not None)
        self.actions["cure"].setEnabled(sheet is not None and bool(sheet.open_faults))
        self.actions["close"].setEnabled(sheet is not None and not sheet.closed)

    def _ask(self, name: str) -> None:
        deed: Callable[[], None] = getattr(self, name)
        deed()

    def fault(self) -> None:
        """Note what was found wrong."""
        fault, cure = text_field("fault"), text_field("cure")
        cure.setPlaceholderText("leave empty if it is not cured yet")
        self._form(
            "Fault found", "", (("&Fault", fault), ("C&ure", cure)),
            lambda path, visit_id: partial(
                sheetnotes.note_fault, path, visit_id, fault.text(), cure.text()
            ),
        )  # fmt: skip

    def cure(self) -> None:
        """Note how a fault was cured."""
        sheet = self._page.sheet
        if sheet is None or not sheet.open_faults:
            self._page.say("no fault on this sheet waits for its cure")
            return
        fault, cure = QComboBox(), text_field("cure")
        for line in sheet.open_faults:
            fault.addItem(line.text, line.id)
        fault.setSizeAdjustPolicy(QComboBox.SizeAdjustPolicy.AdjustToMinimumContentsLengthWithIcon)
        fault.setMinimumContentsLength(24)
        self._form(
            "Cure of a fault", "", (("&Fault", fault), ("C&ure", cure)),
            lambda path, _: partial(sheetnotes.note_cure, path, int(fault.currentData()), cure.text()),
        )  # fmt: skip

    def part(self) -> None:
        """Note a part that was fitted."""
        name, count = text_field("part"), QSpinBox()
        count.setRange(1, 1000)
        self._form(
            "Part fitted", "", (("&Part", name), ("Cou&nt", count)),
            lambda path, visit_id: partial(
                sheetnotes.note_part, path, visit_id, name.text(), count.value()
            ),
        )  # fmt: skip

    def spoken(self) -> None:
        """Note what the helper said of the set on the air."""
        stage, readability, strength = QComboBox(), QSpinBox(), QSpinBox()
        for each in STAGES:
            stage.addItem(STAGE_WORDS[each], each)
        readability.setRange(1, 5)
        readability.setValue(5)
        strength.setRange(1, 9)
        strength.setValue(9)
        who, place, words = (text_field(name) for name in ("helper", "place", "words of the helper"))
        fields: tuple[tuple[str, QWidget], ...] = (
            ("The set is &heard", stage), ("&Readability, 1 to 5", readability),
            ("&Strength, 1 to 9", strength), ("&By whom", who), ("Wh&ere from", place), ("&Words", words),
        )  # fmt: skip
        self._form(
            "Heard by the helper", "", fields,
            lambda path, visit_id: partial(
                sheetnotes.note_spoken, path, visit_id, stage.currentData(), readability.value(),
                strength.value(), who.text(), place.text(), words.text(),
            ),
        )  # fmt: skip

    def withdraw(self) -> None:
        """Take the reading chosen in the table back, once that is confirmed."""
        chosen = self._page.readings.chosen_reading()
        if self._page.sheet is None or chosen is None:
            self._page.say("choose the reading first: its cell in the table, as found or as left")
            return
        number, words = chosen
        self._form(
            "Withdraw a reading", f"{words}\n\nWithdraw it? {WITHDRAWN_WORDS}", (),
            lambda path, _: partial(sheetnotes.withdraw, path, number, words),
        )  # fmt: skip

    def close(self) -> None:
        """Note that the set has left the bench, once that is confirmed."""
        title = "" if self._page.sheet is None else self._page.sheet.title
        self._form(
            "The set leaves the bench", f"{title}\n\n{CLOSED_WORDS}", (),
            lambda path, visit_id: partial(sheetnotes.close_visit, path, visit_id),
        )  # fmt: skip

    def _form(
        self,
        title: str,
        words: str,
        fields: tuple[tuple[str, QWidget], ...],
        gather: Callable[[Path, int], Callable[[], str]],
    ) -> None:
        """Ask for the fields, then do what `gather` has made of them and of the sheet shown at the time.

        It gathers here and works elsewhere: no widget may be touched in the other thread.
        """
        page, path, visit_id = self._page, self._page.path, self._page.visit_id
        if visit_id is None:
            return

        def done(said: str) -> None:
            page.form_done()
            page.say(said)
            page.refresh()

        def take() -> None:
            page.do(gather(path, visit_id), done, page.form_refused)

        page.open_form(WorkForm(title, words, fields, take, page))
