"""An invented job on an invented set, heard through the simulated radio: a whole sheet to report on."""

import json
from dataclasses import dataclass
from pathlib import Path

import soundfile

from audiotest.advise.rules import advise
from audiotest.keep.figures import conditions, sheet_figures
from audiotest.keep.plotfile import Curves, plot_document
from audiotest.keep.sheetrecords import Stage
from audiotest.keep.sheets import Sheets
from audiotest.radio.link import simulate
from audiotest.radio.settings import Receiver, SoundCard, Timing, Transmitter
from audiotest.radio.voices import load_voice
from audiotest.records import Advice, Feed, Over
from audiotest.session.engine import Engine
from audiotest.standards.limits import get_limits

FEED = Feed(
    name="bench receiver", method="tone", scale_khz_per_fs=8.0, scale_uncertainty_db=0.5, deemphasis_us=750.0,
    tone_hz=1000.0, deviation_khz=1.5, if_bandwidth_khz=None, hiss_dbfs=None, learned="2026-03-01",
)  # fmt: skip
RECEIVER = Receiver(if_bandwidth_khz=8.0, cnr_db=26.0, deemphasis_us=750.0, scale_khz_per_fs=8.0)
SETTINGS: dict[Stage, tuple[float, float]] = {"found": (19.0, 1.6), "left": (5.0, 2.0)}
"""Drive in dB and ceiling in kHz: harsh although a meter reads right, then put right."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Heard:
    """A simulated over as it was recorded and measured."""

    file: Path
    over: Over
    advice: Advice


def hear(folder: Path, stage: Stage) -> Heard:
    """Simulate, record and measure the over of one stage."""
    drive_db, ceiling_khz = SETTINGS[stage]
    voice, rate_hz = load_voice("english_reading")
    radio = simulate(
        voice[: 6 * rate_hz], rate_hz, Transmitter(drive_db=drive_db, ceiling_khz=ceiling_khz), RECEIVER,
        SoundCard(sample_rate_hz=16000), Timing(before_s=0.6, end_s=0.6), seed=1,
    )  # fmt: skip
    file = folder / f"{stage}.flac"
    soundfile.write(file, radio.audio, radio.sample_rate_hz)
    limits = get_limits("uk-27fm")
    engine = Engine(radio.sample_rate_hz, feed=FEED, limits=limits)
    (over,) = [*engine.push(radio.audio), *engine.finish()]
    return Heard(file=file, over=over, advice=advise(over, limits))


def do_job(sheets: Sheets, folder: Path) -> int:
    """Fill a whole sheet and return its number."""
    set_id = sheets.add_set(
        "Invented Radio Works", "Wren 40", "0042", service="uk-27fm", options="selective call board"
    )
    visit_id = sheets.open_visit(
        set_id, channel=20, complaint="harsh on the air, reads right on a meter", owner="A. N. Owner",
        bench="dummy load, 13.8 V supply",
    )  # fmt: skip
    typed: tuple[tuple[str, str, str], ...] = (
        ("supply-voltage", "13.8 V", "13.8 V"), ("current-receive", "420 mA", "410 mA"),
        ("current-transmit", "1.1 A", "1.4 A"), ("power", "2.1 W", "3.9 W"), ("swr", "1.2", "1.1:1"),
        ("frequency", "27.79305 MHz", "27.79131 MHz"), ("sensitivity", "1.4 uV", "0.38 uV"),
        ("squelch-opens", "0.9 uV", "0.25 uV"), ("audio-power", "1.1 W", "1.6 W"),
    )  # fmt: skip
    for key, found, left in typed:
        sheets.type_reading(visit_id, "found", key, found)
        sheets.type_reading(visit_id, "left", key, left)
    for point, text in (("S5", "4 uV"), ("S9", "45 uV"), ("S9+20", "480 uV")):
        sheets.type_reading(visit_id, "left", "s-meter", text, point=point)
    for stage in SETTINGS:
        heard = hear(folder, stage)
        kept = sheets.attach(
            visit_id, stage, "clip", heard.file, title=f"over, {stage}",
            measured=conditions(heard.over, heard.advice, FEED),
        )  # fmt: skip
        sheets.add_measured(visit_id, stage, sheet_figures(heard.over, FEED), kept)
    plot = folder / "sinad.json"
    plot.write_text(json.dumps(sinad_curve()))
    sheets.attach(visit_id, "left", "plot", plot, title="SINAD curve")
    sheets.add_fault(visit_id, "mic gain preset at its end stop", "set for clean speech")
    sheets.add_fault(visit_id, "front-end coil detuned", "realigned at channel 20")
    sheets.add_part(visit_id, "electrolytic 10 µF 25 V", 2)
    sheets.add_spoken(
        visit_id, "found", 3, 7, who="Helper", place="4 km, hilltop", words="rough, hard to read"
    )
    sheets.add_spoken(visit_id, "left", 5, 7, who="Helper", place="4 km, hilltop", words="clear and natural")
    return visit_id


def sinad_curve() -> dict[str, object]:
    """An invented curve in the form that a procedure leaves it in."""
    microvolts = (0.1, 0.15, 0.2, 0.3, 0.4, 0.6, 1.0, 2.0, 5.0, 10.0)
    found = (1.0, 1.5, 2.0, 3.5, 5.0, 7.0, 10.0, 15.0, 22.0, 27.0)
    left = (2.0, 4.0, 6.5, 10.0, 12.5, 16.0, 20.0, 26.0, 32.0, 35.0)
    curves = Curves(
        title="SINAD against signal", x_label="signal, µV", y_label="SINAD, dB", log_x=True,
        level=(12.0, "12 dB"),
        lines=(
            ("as found", tuple(zip(microvolts, found, strict=True))),
            ("as left", tuple(zip(microvolts, left, strict=True))),
        ),
    )  # fmt: skip
    return plot_document(curves)
