"""What leaves the job sheets as a file and what comes in: the report, a sheet for others, one of theirs."""

from pathlib import Path
from typing import TYPE_CHECKING

from audiotest.errors import AudiotestError
from audiotest.window import sheetdesk
from audiotest.window.sheetdesk import Question
from audiotest.window.sheetfiles import REPORT_KINDS, SHEET_KINDS, ask_for_sheet, ask_where
from audiotest.window.sheetforms import push_button

if TYPE_CHECKING:
    from audiotest.window.sheetpage import SheetPage


class SheetExchange:
    """Three buttons, and what each of them does."""

    def __init__(self, page: "SheetPage") -> None:
        self._page = page
        self.report = push_button("Rep&ort …", self.ask_report)
        self.report.setToolTip("The page or the PDF that goes with the set")
        self.hand_out = push_button("Hand o&ut …", self.ask_hand_out)
        self.hand_out.setToolTip("This sheet with all that is attached, for a colleague or another computer")
        self.take_in = push_button("Sheet fro&m a file …", self.ask_take_in)
        self.take_in.setToolTip("Take in a sheet that was handed out, with all that is attached to it")

    def follow(self) -> None:
        """Offer what can be done with the sheet that is shown."""
        for button in (self.report, self.hand_out):
            button.setEnabled(self._page.sheet is not None)

    def ask_report(self) -> None:
        """Choose where the report goes."""
        ask_where(self._page, "Report", REPORT_KINDS, f"sheet {self._page.visit_id}", self.write)

    def ask_hand_out(self) -> None:
        """Choose where the sheet goes."""
        ask_where(self._page, "Hand out", SHEET_KINDS, f"sheet {self._page.visit_id}", self.write)

    def write(self, target: Path) -> None:
        """Write the sheet that is shown, as what the name ends in."""
        page, path, visit_id = self._page, self._page.path, self._page.visit_id
        if visit_id is None:
            return
        page.say(f"writing {target.name} …")
        page.do(lambda: sheetdesk.write_out(path, visit_id, target), page.say)

    def ask_take_in(self) -> None:
        """Choose the sheet to take in."""
        ask_for_sheet(self._page, self.read_in)

    def read_in(self, file: Path) -> None:
        """Take this sheet in and show it."""
        page, path = self._page, self._page.path
        # What is taken in twice is on the books twice.
        self.take_in.setEnabled(False)
        page.say(f"taking {file.name} in …")

        def done(taken: tuple[Question, str]) -> None:
            shown, words = taken
            self.take_in.setEnabled(True)
            page.say(words)
            if page.path == path:
                page.choose(shown)

        def refused(error: AudiotestError) -> None:
            self.take_in.setEnabled(True)
            page.complain(error)

        page.do(lambda: sheetdesk.take_in(path, file), done, refused)
