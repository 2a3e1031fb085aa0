"""What the user can change about the window itself: far view, pictures, colours, size, sound."""

from typing import TYPE_CHECKING

from PySide6.QtCore import QTimer
from PySide6.QtGui import QGuiApplication

from audiotest.window.scope import VIEWS
from audiotest.window.settings import SIZES_PERCENT

if TYPE_CHECKING:
    from audiotest.window.mainwindow import MainWindow

RESTORED_MS = (100, 300, 700, 1500)
"""A Wayland compositor gives the size back when it likes, less the frame: smaller each time."""


class ViewDeeds:
    """Deeds on what is shown; nothing of what is measured changes."""

    def __init__(self, window: "MainWindow") -> None:
        self._window = window
        self._bench = window.bench
        self._was_maximised, self._size = False, window.size()

    def far(self) -> None:
        """To the far view and back."""
        to_far = self._window.pages.currentWidget() is self._bench
        self._window.pages.setCurrentWidget(self._window.far_pane if to_far else self._bench)
        self._window.menuBar().setVisible(not to_far)
        self._window.statusBar().setVisible(not to_far)
        self._window.deeds["far"].setChecked(to_far)
        if to_far:
            self._was_maximised, self._size = self._window.isMaximized(), self._window.size()
            self._window.show_far()
            self._window.showFullScreen()
        elif self._was_maximised:
            self._window.showMaximized()
        else:
            self._window.showNormal()
            for delay_ms in RESTORED_MS if QGuiApplication.platformName().startswith("wayland") else ():
                QTimer.singleShot(delay_ms, self._restore_size)

    def _restore_size(self) -> None:
        if not (self._window.isFullScreen() or self._window.isMaximized()):
            self._window.resize(self._size)

    def pictures(self) -> None:
        """Scope, spectrum and waterfall, on and off."""
        self._bench.pictures_wanted = not self._bench.pictures_wanted
        self._window.remember(pictures=self._bench.pictures_wanted)
        self._bench.fit()

    def freeze(self) -> None:
        """Hold the pictures; measuring goes on."""
        self._bench.frozen = not self._bench.frozen
        self._window.deeds["freeze"].setChecked(self._bench.frozen)
        self._bench.write_captions()

    def scope_view(self) -> None:
        """Next view of the scope."""
        views = VIEWS[(VIEWS.index(self._bench.scope.view) + 1) % len(VIEWS)]
        self._window.remember(scope_view=views)
        self._bench.scope.view = views
        self._bench.write_captions()

    def persistence(self) -> None:
        """Trails on the scope, on and off."""
        self._bench.scope.persistence = not self._bench.scope.persistence
        self._window.remember(persistence=self._bench.scope.persistence)

    def average(self) -> None:
        """Averaging of the spectrum, on and off."""
        self._bench.spectrum.average = not self._bench.spectrum.average
        self._window.remember(spectrum_average=self._bench.spectrum.average)
        self._bench.write_captions()

    def clear(self) -> None:
        """Forget held peaks and put the lamp out."""
        self._bench.meters.clear()
        self._bench.spectrum.clear_peaks()

    def whole(self) -> None:
        """Undo zooming."""
        for picture in (self._bench.scope, self._bench.spectrum, self._bench.waterfall):
            picture.reset_zoom()

    def appearance(self) -> None:
        """Light to dark and back."""
        self._window.remember(appearance="light" if self._window.theme.name == "dark" else "dark")
        self._window.apply_settings()

    def larger(self) -> None:
        """The next larger size."""
        self._resize_text(1)

    def smaller(self) -> None:
        """The next smaller size."""
        self._resize_text(-1)

    def _resize_text(self, step: int) -> None:
        at = SIZES_PERCENT.index(self._window.settings.size_percent) + step
        self._window.remember(size_percent=SIZES_PERCENT[min(max(at, 0), len(SIZES_PERCENT) - 1)])
        self._window.apply_settings()

    def sound_cue(self) -> None:
        """The cue after each over, on and off; off at first."""
        self._window.remember(sound_cue=not self._window.settings.sound_cue)
        if self._window.settings.sound_cue:
            self._window.sitting.message = (
                "sound cue on: never beside a keyed microphone; start headphones low"
            )
