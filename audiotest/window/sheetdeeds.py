"""The job sheets from the bench: open the page, put the chosen over on the chosen sheet by one key."""

from pathlib import Path
from typing import TYPE_CHECKING

from audiotest.errors import AudiotestError
from audiotest.keep.sheetrecords import STAGE_WORDS, Stage
from audiotest.window.practice import PRACTICE_FEED

if TYPE_CHECKING:
    from audiotest.window.mainwindow import MainWindow
    from audiotest.window.sheetpage import SheetPage


class SheetDeeds:
    """Deeds on the job sheets; the page is made when it is first asked for and then stays."""

    def __init__(self, window: "MainWindow") -> None:
        self._window = window
        self.page: SheetPage | None = None
        self._asked_for: tuple[int, int, Stage] | None = None

    def job_sheets(self) -> None:
        """Open the page."""
        window = self._window
        if self.page is None:
            # Sheets and reports take a while to load, which the first picture need not wait for.
            from audiotest.keep.sheetfile import sheets_path
            from audiotest.window.sheetpage import SheetPage

            named = window.settings.sheets_file
            self.page = SheetPage(
                Path(named) if named else sheets_path(),
                later=window.sitting.later, put_over=self.put_over, limits=window.sitting.limits.id,
                file_chosen=lambda path: window.remember(sheets_file=str(path)), theme=window.theme,
                parent=window,
            )  # fmt: skip
            self.page.resize(self.page.sizeHint())
        self.page.limits = window.sitting.limits.id
        self.page.show()
        self.page.raise_()
        self.page.activateWindow()

    def over_as_found(self) -> None:
        """Put the chosen over on the sheet, as found."""
        self.put_over("found")

    def over_as_left(self) -> None:
        """Put the chosen over on the sheet, as left."""
        self.put_over("left")

    def put_over(self, stage: Stage) -> None:
        """Put figures and clip of the chosen over, or the last, on the sheet that is chosen on the page."""
        sitting, page = self._window.sitting, self.page
        visit_id = None if page is None else page.visit_id
        if page is None or visit_id is None:
            self._say("no sheet is chosen: J opens the job sheets")
            return
        number = self._window.over_deeds.current()
        heard = None if number is None else sitting.log.find(number)
        if heard is None:
            self._say("no over yet")
            return
        asked_for = (heard.number, visit_id, stage)
        if heard.feed is PRACTICE_FEED and self._asked_for != asked_for:
            # What no set has done must not get onto a customer's sheet by a slip.
            self._asked_for = asked_for
            self._say(
                f"over {heard.number} comes from the simulated set: the same again puts it on sheet "
                f"{visit_id}, {STAGE_WORDS[stage]}, all the same"
            )
            return
        self._asked_for = None
        # The page has loaded it by now.
        from audiotest.window import sheetdesk

        sound = sheetdesk.OverSound(
            heard=heard, source=sitting.source_name(heard.number), codes=sitting.audio(heard.number),
            rate_hz=sitting.rate_hz(heard.number),
        )  # fmt: skip
        path = page.path

        def work() -> str | AudiotestError:
            try:
                return sheetdesk.put_over(path, visit_id, stage, sound)
            except AudiotestError as error:
                return error

        def done(result: str | AudiotestError) -> None:
            if isinstance(result, AudiotestError):
                page.complain(result)
                sitting.message = sheetdesk.error_words(result)
            else:
                self._say(result)
                page.refresh()

        sitting.later(work, done)

    def _say(self, words: str) -> None:
        self._window.sitting.message = words
        if self.page is not None:
            self.page.say(words)
