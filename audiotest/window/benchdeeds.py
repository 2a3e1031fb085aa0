"""Open the bench measurements from the main window."""

from typing import TYPE_CHECKING

from audiotest.window.settings import settings_path

if TYPE_CHECKING:
    from audiotest.window.benchwindow import BenchWindow
    from audiotest.window.mainwindow import MainWindow


class BenchDeeds:
    """The bench window is made when it is first asked for, and goes with the main window."""

    def __init__(self, window: "MainWindow") -> None:
        self._window = window
        self.page: BenchWindow | None = None

    def bench_measurements(self) -> None:
        """Open it, or bring it to the front."""
        if self.page is None:
            # The procedures take a fifth of a second to load, which the first picture need not wait for.
            from audiotest.window.benchwindow import BenchWindow

            folder = (self._window.settings_file or settings_path()).parent / "feeds"
            self.page = BenchWindow(
                lambda: self._window.settings, self._window.remember, folder, owner=self._window.sitting
            )
        self.page.open_up()

    def shut(self) -> None:
        """Silence and end whatever runs in it."""
        if self.page is not None:
            self.page.shut()
