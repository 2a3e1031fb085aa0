"""Set-up beside the bench: the input, its level, its scale, limits, output, folders."""

from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from PySide6.QtCore import QSize, Qt
from PySide6.QtGui import QFontMetricsF
from PySide6.QtWidgets import (
    QApplication,
    QCheckBox,
    QComboBox,
    QDialog,
    QDoubleSpinBox,
    QFileDialog,
    QFormLayout,
    QFrame,
    QGroupBox,
    QHBoxLayout,
    QLabel,
    QProgressBar,
    QPushButton,
    QScrollArea,
    QVBoxLayout,
    QWidget,
)

from audiotest.errors import DeviceError
from audiotest.feeds.inputs import InputDevice
from audiotest.feeds.scale import load_feed
from audiotest.feeds.soundcard import list_inputs
from audiotest.records import Feed
from audiotest.standards.limits import LIMIT_SETS
from audiotest.tones.output import OutputDevice, list_outputs
from audiotest.window.actions import CAUTIONS
from audiotest.window.announcing import name_choices
from audiotest.window.folderchoice import FoldersGroup
from audiotest.window.listening import Listening
from audiotest.window.playback import CUE_RATE_HZ, SYSTEMS_OWN, cue_tones
from audiotest.window.settings import settings_path
from audiotest.window.sitting import IS_LENT, Sitting
from audiotest.window.theme import dress_marks

if TYPE_CHECKING:
    from audiotest.window.mainwindow import MainWindow

CHANNELS = (("automatic", 0), ("left (1)", 1), ("right (2)", 2))
DEEMPHASES_US = (("not stated", None), ("flat discriminator", 0.0), ("750 µs", 750.0), ("530 µs", 530.0))
OUTPUT_WORDS = (
    "Start headphones low. Test tones go where the learned output was learned; one whose file names no "
    "output sends here."
)
TOO_HIGH_DBFS, TOO_LOW_DBFS = -3.0, -30.0


class SetUpDialog(QDialog):
    """Six steps, in any order; each takes effect at once and is remembered."""

    def __init__(self, sitting: Sitting, window: "MainWindow") -> None:
        super().__init__(window)
        self.setWindowTitle("Set up")
        self.setModal(False)
        self._sitting, self._window = sitting, window
        self.feeds_folder = (window.settings_file or settings_path()).parent / "feeds"
        self._highest: float | None = None
        steps = self._steps = QWidget()
        column = QVBoxLayout(steps)
        column.addWidget(self._input_group())
        column.addWidget(self._level_group())
        column.addWidget(self._scale_group())
        column.addWidget(self._limits_group())
        column.addWidget(self._output_group())
        self.folders = FoldersGroup(
            "6  Folders", lambda: window.settings, lambda name, folder: window.remember(**{name: folder})
        )
        column.addWidget(self.folders)
        note = _words()
        note.setText(" ".join((CAUTIONS[2], CAUTIONS[4])))
        column.addWidget(note)
        column.addStretch(1)
        # On a small screen, or with large letters, the steps scroll instead of being squeezed.
        self.area = QScrollArea()
        self.area.setWidgetResizable(True)
        self.area.setFrameShape(QFrame.Shape.NoFrame)
        self.area.setWidget(steps)
        self.area.setAccessibleName("steps of the set-up")
        close = QPushButton("&Done")
        close.clicked.connect(self._done)
        layout = QVBoxLayout(self)
        layout.addWidget(self.area, 1)
        layout.addWidget(close, 0, Qt.AlignmentFlag.AlignRight)
        self._fill_limits()
        name_choices(self)

    def sizeHint(self) -> QSize:
        """As wide as the steps need and as high as they get at that width, within the screen."""
        steps = self._steps
        line = QFontMetricsF(QApplication.font()).height()
        width = max(steps.minimumSizeHint().width(), round(38 * line))
        height = max(steps.heightForWidth(width), steps.sizeHint().height())
        room = self.screen().availableSize()
        return QSize(
            min(width + round(3 * line), round(0.95 * room.width())),
            min(height + round(5 * line), round(0.92 * room.height())),
        )

    # -- what it is made of -----------------------------------------------------------------------

    def _input_group(self) -> QWidget:
        box = QGroupBox("1  Input")
        self.device, self.channel = QComboBox(), QComboBox()
        self.device.setAccessibleName("input")
        self.channel.setAccessibleName("channel")
        for text, number in CHANNELS:
            self.channel.addItem(text, number)
        self.device.setSizeAdjustPolicy(QComboBox.SizeAdjustPolicy.AdjustToMinimumContentsLengthWithIcon)
        self.device.setMinimumContentsLength(12)
        self.listen = QPushButton("&Listen to it")
        self.listen.clicked.connect(self._listen)
        again = QPushButton("Look &again")
        again.clicked.connect(self.refresh)
        self.input_word = _words()
        row = QHBoxLayout()
        for widget, share in ((self.device, 1), (self.channel, 0), (self.listen, 0), (again, 0)):
            row.addWidget(widget, share)
        column = QVBoxLayout(box)
        column.addLayout(row)
        column.addWidget(self.input_word)
        return box

    def _level_group(self) -> QWidget:
        box = QGroupBox("2  Level")
        self.level = QProgressBar()
        self.level.setRange(-60, 0)
        self.level.setValue(-60)
        self.level.setFormat("%v dBFS")
        self.level.setAccessibleName("peak level")
        self.level_word = _words()
        column = QVBoxLayout(box)
        column.addWidget(self.level)
        column.addWidget(self.level_word)
        return box

    def _scale_group(self) -> QWidget:
        box = QGroupBox("3  Scale: how many kHz one full scale is")
        self.deemphasis = QComboBox()
        for text, value in DEEMPHASES_US:
            self.deemphasis.addItem(text, value)
        self.deemphasis.setAccessibleName("de-emphasis of the feed")
        self.tone = _spin("tone", 1000.0, 100.0, 5000.0, " Hz", 1)
        self.deviation = _spin("peak deviation of the tone", 1.5, 0.1, 20.0, " kHz", 2)
        self.bandwidth = _spin("receiver's IF bandwidth", 8.0, 3.0, 50.0, " kHz", 1)
        self.learn_tone = QPushButton("Learn from this &tone")
        self.learn_hiss = QPushButton("Learn roughly from the &hiss")
        load = QPushButton("Take a feed &file …")
        drop = QPushButton("No &scale")
        self.learn_tone.clicked.connect(self._learn_tone)
        self.learn_hiss.clicked.connect(self._learn_hiss)
        load.clicked.connect(self._choose_feed)
        drop.clicked.connect(lambda: self.use_feed(None, ""))
        self.scale_word = _words()
        form = QFormLayout(box)
        form.addRow("de-emphasis of the feed", self.deemphasis)
        form.addRow("tone, its peak deviation", _beside(self.tone, self.deviation, self.learn_tone))
        form.addRow("receiver's IF bandwidth", _beside(self.bandwidth, self.learn_hiss))
        form.addRow(_beside(load, drop))
        form.addRow(self.scale_word)
        return box

    def _limits_group(self) -> QWidget:
        box = QGroupBox("4  Limits")
        self.limits = QComboBox()
        self.limits.setAccessibleName("limits")
        self.limits_word = _words()
        column = QVBoxLayout(box)
        column.addWidget(self.limits)
        column.addWidget(self.limits_word)
        return box

    def _output_group(self) -> QWidget:
        box = QGroupBox("5  Output: replay, sound cue, test tones")
        settings = self._window.settings
        self.output = QComboBox()
        self.output.setAccessibleName("output")
        self._show_outputs(())
        self.output.activated.connect(self._output_chosen)
        self.try_output = QPushButton("Tr&y it, quietly")
        self.try_output.clicked.connect(self._try_output)
        self.no_transmitter = QCheckBox("It feeds &no transmitter: replay also while a carrier is up")
        self.no_transmitter.setChecked(settings.output_feeds_no_transmitter)
        self.no_transmitter.toggled.connect(
            lambda said: self._window.remember(output_feeds_no_transmitter=said)
        )
        row = QHBoxLayout()
        row.addWidget(self.output, 1)
        row.addWidget(self.try_output)
        column = QVBoxLayout(box)
        column.addLayout(row)
        column.addWidget(self.no_transmitter)
        self.output_word = _words()
        self.output_word.setText(OUTPUT_WORDS)
        column.addWidget(self.output_word)
        return box

    def _fill_limits(self) -> None:
        for limits in LIMIT_SETS:
            self.limits.addItem(f"±{limits.deviation_khz:g} kHz  {limits.title}", limits)
            if limits.id == self._sitting.limits.id:
                self.limits.setCurrentIndex(self.limits.count() - 1)
        self.limits.currentIndexChanged.connect(self._limits_chosen)
        self._write_limits()

    # -- what it does -----------------------------------------------------------------------------

    def refresh(self) -> None:
        """Look for inputs again, without holding anything up."""
        if self._sitting.lent:
            # Looking starts the sound system again, which would end what the bench has open.
            self.input_word.setText(IS_LENT)
            return
        self.input_word.setText("looking for inputs …")
        dress_marks(self, self._window.theme)
        self._window.player.stop()
        self._sitting.later(_devices_or_reason, self._devices_found)

    def _devices_found(self, found: "tuple[tuple[InputDevice, ...], tuple[OutputDevice, ...], str]") -> None:
        inputs, outputs, reason = found
        self._show_outputs(outputs)
        self.device.clear()
        for device in inputs:
            self.device.addItem(f"{device.name}  ({device.host_api})", device.name)
        at = self.device.findData(self._window.settings.device)
        self.device.setCurrentIndex(max(at, 0))
        self.channel.setCurrentIndex(max(self.channel.findData(self._window.settings.channel), 0))
        self.listen.setEnabled(bool(inputs))
        self.input_word.setText(reason)

    def _listen(self) -> None:
        self._window.remember(
            device=str(self.device.currentData() or ""), channel=int(self.channel.currentData())
        )
        self._window.listen()

    def follow(self, listening: Listening | None) -> None:
        """Show the level of what is being listened to, and what the sitting has to say."""
        levels = None if listening is None else listening.levels
        peak = None if levels is None else levels.peak_dbfs
        self._highest = peak if self._highest is None or peak is None else max(peak, self._highest - 1.0)
        self.level.setValue(-60 if self._highest is None else round(max(self._highest, -60.0)))
        self.level_word.setText(level_word(self._highest))
        self.scale_word.setText(
            self._sitting.message if self._busy_learning else scale_word(self._sitting.feed)
        )
        if self._sitting.trouble is not None:
            self.input_word.setText(self._sitting.trouble)
        elif listening is not None:
            self.input_word.setText(f"listening to {listening.source.name}, {listening.rate_hz / 1000:g} kHz")

    _busy_learning = False

    def _feed_file(self) -> Path:
        return self.feeds_folder / f"feed {datetime.now():%Y-%m-%d %H-%M-%S}.toml"

    def _learn_tone(self) -> None:
        self._learn(tone_hz=self.tone.value(), deviation_khz=self.deviation.value())

    def _learn_hiss(self) -> None:
        self._learn(if_bandwidth_khz=self.bandwidth.value())

    def _learn(self, **way: float) -> None:
        file = self._feed_file()
        self._busy_learning = True
        self._sitting.message = "learning …"
        self._sitting.learn(file, deemphasis_us=self.deemphasis.currentData(), **way)
        self._window.remember(feed_file=str(file))

    def _choose_feed(self) -> None:
        dialog = QFileDialog(self, "Feed file", str(self.feeds_folder), "Feeds (*.toml)")
        dialog.setAttribute(Qt.WidgetAttribute.WA_DeleteOnClose)
        dialog.fileSelected.connect(self.take_file)
        dialog.open()

    def take_file(self, name: str) -> None:
        """Use a learned feed from a file."""
        self._sitting.later(lambda: load_feed(name), lambda feed: self.use_feed(feed, name))

    def use_feed(self, feed: Feed | None, name: str) -> None:
        """Use this scale from now on, and remember where it is written."""
        self._busy_learning = False
        self._window.remember(feed_file=name)
        self._sitting.set_feed(feed)

    def _limits_chosen(self) -> None:
        limits = self.limits.currentData()
        self._window.remember(limits=limits.id)
        self._sitting.set_limits(limits)
        self._write_limits()

    def _write_limits(self) -> None:
        limits = self.limits.currentData()
        self.limits_word.setText(
            f"{limits.channels}. Source: {limits.source}. A reference value: the local code and the licence "
            "decide."
        )

    def _show_outputs(self, outputs: tuple[OutputDevice, ...]) -> None:
        """List the outputs; the remembered one stays chosen, also while it is unplugged."""
        chosen = self._window.settings.output_device
        self.output.clear()
        self.output.addItem(SYSTEMS_OWN, "")
        for device in outputs:
            # With its interface: some systems list every output once for each of theirs.
            self.output.addItem(f"{device.name}  ({device.host_api})", f"{device.name}, {device.host_api}")
        if self.output.findData(chosen) < 0:
            self.output.addItem(f"{chosen}  (not there now)", chosen)
        self.output.setCurrentIndex(self.output.findData(chosen))

    def _output_chosen(self, *_: object) -> None:
        chosen = str(self.output.currentData())
        if chosen != self._window.settings.output_device:
            # What was said of the other output does not hold for this one.
            self.no_transmitter.setChecked(False)
            self._window.remember(output_device=chosen)

    def _try_output(self) -> None:
        why = self._sitting.why_silent()
        if why:
            self._sitting.message = why
            return
        self._window.player.play(cue_tones(0.0, CUE_RATE_HZ), CUE_RATE_HZ)

    def _done(self) -> None:
        self._window.remember(set_up=True)
        self.hide()


def _devices_or_reason() -> "tuple[tuple[InputDevice, ...], tuple[OutputDevice, ...], str]":
    try:
        inputs, outputs = list_inputs(), list_outputs()
    except DeviceError as error:
        return (), (), str(error)
    return inputs, outputs, "" if inputs else "no input found: plug in the sound card, then look again"


def level_word(peak_dbfs: float | None) -> str:
    """What to do about the level.

    >>> level_word(-1.0)
    'too high: turn the volume or the input level down'
    """
    if peak_dbfs is None or peak_dbfs < -58.0:
        return "nothing is heard: open the squelch, or check the cable and the channel"
    if peak_dbfs > TOO_HIGH_DBFS:
        return "too high: turn the volume or the input level down"
    if peak_dbfs < TOO_LOW_DBFS:
        return "low: turn the volume or the input level up, until speech peaks reach about −12 dBFS"
    return "good; speech peaks belong between −20 and −6 dBFS. Leave the volume alone from here on"


def scale_word(feed: Feed | None) -> str:
    """What is known of the scale."""
    if feed is None:
        return "No scale: the drive is judged, figures in kHz are not given."
    return (
        f"{feed.name}: full scale is {feed.scale_khz_per_fs:.2f} kHz ±{feed.scale_uncertainty_db:.1f} dB, "
        f"by {feed.method}, {feed.learned}"
    )


def _words() -> QLabel:
    """A wrapped text that keeps room for two lines, so that nothing jumps when it changes."""
    label = QLabel()
    label.setWordWrap(True)
    label.setMinimumHeight(round(2.1 * QFontMetricsF(QApplication.font()).height()))
    label.setAlignment(Qt.AlignmentFlag.AlignLeft | Qt.AlignmentFlag.AlignTop)
    return label


def _spin(name: str, value: float, low: float, high: float, suffix: str, digits: int) -> QDoubleSpinBox:
    spin = QDoubleSpinBox()
    spin.setAccessibleName(name)
    spin.setRange(low, high)
    spin.setDecimals(digits)
    spin.setValue(value)
    spin.setSuffix(suffix)
    return spin


def _beside(*widgets: Any) -> QWidget:
    row = QWidget()
    layout = QHBoxLayout(row)
    layout.setContentsMargins(0, 0, 0, 0)
    for widget in widgets:
        layout.addWidget(widget)
    layout.addStretch(1)
    return row
