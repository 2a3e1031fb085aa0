"""What is filled in before a bench measurement: devices, files, limits, first levels."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from pathlib import Path

from PySide6.QtWidgets import (
    QCheckBox,
    QComboBox,
    QDoubleSpinBox,
    QFileDialog,
    QHBoxLayout,
    QLineEdit,
    QPushButton,
    QWidget,
)

from audiotest.feeds.inputs import InputDevice
from audiotest.standards.limits import LIMIT_SETS
from audiotest.tones.limiting import START_MV
from audiotest.tones.needs import Needs
from audiotest.tones.sensitivity import START_DBM
from audiotest.window.playback import SYSTEMS_OWN

CHANNELS = (("automatic", 0), ("left (1)", 1), ("right (2)", 2))
DEEMPHASES_US = (("not stated", None), ("flat discriminator", 0.0), ("750 µs", 750.0), ("530 µs", 530.0))

SEEN_BY = (("CW or SSB audio", False), ("I/Q on a stereo input", True))


@dataclass(frozen=True, slots=True, kw_only=True)
class Filled:
    """What was filled in; empty text and zero stand for "not given"."""

    limits: str
    device: str
    channel: int
    output_file: str
    feed_file: str
    start_mv: float
    start_dbm: float
    nominal_mhz: float | None
    tolerance_hz: float | None
    lower_sideband: bool
    deemphasis_us: float | None
    swapped: bool
    own_mv: float | None
    iq: bool
    wanted_khz: float | None


class FileField(QWidget):
    """A file's name to type or to choose."""

    def __init__(self, name: str, kinds: str, folder: Callable[[], Path]) -> None:
        super().__init__()
        self._name, self._kinds, self._folder = name, kinds, folder
        self.line = QLineEdit()
        self.line.setAccessibleName(name)
        self.line.setPlaceholderText("none")
        self.choose = QPushButton("…")
        self.choose.setAccessibleName(f"choose the {name}")
        self.choose.setToolTip(f"choose the {name}")
        self.choose.clicked.connect(self._ask)
        row = QHBoxLayout(self)
        row.setContentsMargins(0, 0, 0, 0)
        row.addWidget(self.line, 1)
        row.addWidget(self.choose)
        self.setFocusProxy(self.line)

    def text(self) -> str:
        """The file's name, empty for none."""
        return self.line.text().strip()

    def _ask(self) -> None:
        dialog = QFileDialog(self, self._name, str(self._folder()), self._kinds)
        dialog.fileSelected.connect(self.line.setText)
        dialog.open()


class Fields:
    """The fields and their names, in the order of the page."""

    def __init__(self, folder: Callable[[], Path]) -> None:
        self.limits = QComboBox()
        for limits in LIMIT_SETS:
            self.limits.addItem(f"±{limits.deviation_khz:g} kHz  {limits.title}", limits.id)
        self.device = QComboBox()
        self.channel = QComboBox()
        for text, value in CHANNELS:
            self.channel.addItem(text, value)
        self.output_file = FileField("output file", "Learned outputs (*.toml)", folder)
        self.feed_file = FileField("feed file", "Feeds (*.toml)", folder)
        self.start_mv = _spin(START_MV, 0.001, 1000.0, " mV", 3)
        self.start_dbm = _spin(START_DBM, -140.0, 10.0, " dBm", 1)
        self.nominal = _spin(0.0, 0.0, 3000.0, " MHz", 5, "not given")
        self.tolerance = _spin(0.0, 0.0, 100000.0, " Hz", 0, "not given")
        self.lower = QCheckBox("the note is in the lower sideband")
        self.deemphasis = QComboBox()
        for text, us in DEEMPHASES_US:
            self.deemphasis.addItem(text, us)
        self.swapped = QCheckBox("I is right and Q left")
        self.seen_by = QComboBox()
        for text, iq in SEEN_BY:
            self.seen_by.addItem(text, iq)
        self.null_khz = _spin(0.0, 0.0, 20.0, " kHz", 2, "60 % of the limit")
        self.own_mv = _spin(0.0, 0.0, 1000.0, " mV", 2, "not measured")
        for box in (self.limits, self.device, self.seen_by, self.deemphasis):
            box.setSizeAdjustPolicy(QComboBox.SizeAdjustPolicy.AdjustToMinimumContentsLengthWithIcon)
            box.setMinimumContentsLength(8)
        self.rows: tuple[tuple[str, QWidget], ...] = (
            ("limits", self.limits), ("input", self.device), ("channel", self.channel),
            ("learned output, in mV", self.output_file), ("feed of the monitor", self.feed_file),
            ("first level at the socket", self.start_mv), ("first generator level", self.start_dbm),
            ("nominal frequency", self.nominal), ("allowed error", self.tolerance), ("beat note", self.lower),
            ("de-emphasis of the FM feed", self.deemphasis), ("the carrier is seen by", self.seen_by),
            ("deviation to be set", self.null_khz), ("I and Q", self.swapped),
            ("your voice at the socket, RMS", self.own_mv),
        )  # fmt: skip
        for name, widget in self.rows:
            widget.setAccessibleName(name)
        self.output_file.line.setAccessibleName("learned output, in millivolts: file")
        self.feed_file.line.setAccessibleName("feed of the monitor receiver: file")

    def wanted(self, needs: Needs, procedure: str, *, rehearsed: bool) -> set[str]:
        """Names of the fields that matter for a measurement."""
        live = not rehearsed
        sends = live and (needs.start_mv or needs.speech)
        table = {
            "limits": procedure not in ("frequency", "frequency-iq", "squelch", "sinad"),
            "input": live,
            "channel": live and (needs.carrier or not needs.swapped),
            "learned output, in mV": sends,
            "feed of the monitor": live and (needs.scale or needs.speech or procedure == "balance"),
            "first level at the socket": needs.start_mv,
            "first generator level": needs.start_dbm,
            "nominal frequency": needs.nominal,
            "allowed error": needs.nominal,
            "beat note": needs.sideband,
            "de-emphasis of the FM feed": needs.deemphasis,
            "the carrier is seen by": needs.carrier,
            "deviation to be set": needs.carrier,
            "I and Q": needs.swapped and live,
            "your voice at the socket, RMS": needs.speech,
        }
        return {name for name, is_wanted in table.items() if is_wanted}

    def filled(self) -> Filled:
        """What stands there."""
        return Filled(
            limits=str(self.limits.currentData()), device=str(self.device.currentData() or ""),
            channel=int(self.channel.currentData() or 0), output_file=self.output_file.text(),
            feed_file=self.feed_file.text(), start_mv=self.start_mv.value(), start_dbm=self.start_dbm.value(),
            nominal_mhz=self.nominal.value() or None, tolerance_hz=self.tolerance.value() or None,
            lower_sideband=self.lower.isChecked(), deemphasis_us=self.deemphasis.currentData(),
            swapped=self.swapped.isChecked(), own_mv=self.own_mv.value() or None,
            iq=bool(self.seen_by.currentData()), wanted_khz=self.null_khz.value() or None,
        )  # fmt: skip

    def take(self, *, limits: str, device: str, channel: int, feed_file: str, output_file: str) -> None:
        """Fill in what is remembered."""
        self.limits.setCurrentIndex(max(self.limits.findData(limits), 0))
        self.show_inputs((), device)
        self.channel.setCurrentIndex(max(self.channel.findData(channel), 0))
        self.feed_file.line.setText(feed_file)
        self.output_file.line.setText(output_file)

    def show_inputs(self, inputs: Iterable[InputDevice], wanted: str = "") -> None:
        """List the inputs; what was chosen, or is wanted, stays chosen."""
        wanted = wanted or str(self.device.currentData() or "")
        self.device.clear()
        self.device.addItem(SYSTEMS_OWN, "")
        for device in inputs:
            self.device.addItem(f"{device.name}  ({device.host_api})", device.name)
        if wanted and self.device.findData(wanted) < 0:
            self.device.addItem(wanted, wanted)
        self.device.setCurrentIndex(max(self.device.findData(wanted), 0))


def _spin(
    value: float, low: float, high: float, suffix: str, digits: int, at_zero: str = ""
) -> QDoubleSpinBox:
    spin = QDoubleSpinBox()
    spin.setDecimals(digits)
    spin.setRange(low, high)
    spin.setValue(value)
    spin.setSuffix(suffix)
    if at_zero:
        spin.setSpecialValueText(at_zero)
    return spin
