"""``audiotest iq``: deviation, carrier offset, bandwidth or AM depth from an I/Q recording."""

import argparse
import json
from typing import Any

import numpy as np
from numpy.typing import NDArray

from audiotest.errors import FileError, MeasureError, RequestError
from audiotest.measure.bandwidth import OccupiedBandwidth, occupied_bandwidth
from audiotest.measure.carriernull import IndexFit, fit_index, fm_lines
from audiotest.measure.cycle import Cycle
from audiotest.measure.iq import (
    AM_AUDIO_HIGH_HZ,
    AUDIO_HIGH_HZ,
    AmReading,
    FmReading,
    complex_feed,
    feed_doubts,
    measure_am,
    measure_fm,
)
from audiotest.terminal.benchoptions import refuse_beside_recording
from audiotest.terminal.card import make_console, print_row
from audiotest.terminal.heard import read_samples
from audiotest.tones.iqinput import record_stereo
from audiotest.tones.reported import number

SCHEMA = "audiotest-iq-1"
LIVE_RATE_HZ = 48000
LIVE_S = 2.0
HIDDEN = 3.0
"""A distortion below so many times what noise alone makes it read is not told from noise."""
SOURCE = "99 % of the power, Radio Regulations 1.153, β % method of ITU-R SM.328 and SM.443 (from memory)"


def run(arguments: argparse.Namespace) -> int:
    """Measure the recording; a figure that cannot be had is unknown, with the reason."""
    _check(arguments)
    if arguments.file is not None:
        iq, rate_hz = _read(arguments.file, arguments.swapped)
    else:
        rate_hz = LIVE_RATE_HZ
        stereo = record_stereo(arguments.device, arguments.seconds or LIVE_S, rate_hz)
        iq = complex_feed(stereo, swapped=arguments.swapped)
    notes: list[str] = []
    try:
        fm, am = _measure(iq, rate_hz, arguments)
    except MeasureError as error:
        raise MeasureError(f"{arguments.file or 'the input'}: {error.what}", error.remedy) from error
    lines: IndexFit | None = None
    if fm is not None and fm.tone is not None:
        lines = _lines(iq, rate_hz, fm, notes)
    no_tone = fm.no_tone if fm else am.no_tone if am else None
    if no_tone is not None:
        notes.append(no_tone)
    notes += feed_doubts(iq, fm.offset_hz if fm else am.offset_hz if am else 0.0)
    band: OccupiedBandwidth | None = None
    try:
        band = occupied_bandwidth(iq, rate_hz)
    except MeasureError as error:
        notes.append(f"bandwidth: {error}")
    if arguments.json:
        document = iq_document(arguments.file, fm, am, lines, band, notes)
        print(json.dumps(document, allow_nan=False))
        return 0
    console = make_console()
    for label, text in iq_rows(fm, am, lines, band):
        print_row(console, label, text)
    for note in notes:
        print_row(console, "note", note)
    return 0


def _measure(
    iq: NDArray[np.complex128], rate_hz: int, arguments: argparse.Namespace
) -> tuple[FmReading | None, AmReading | None]:
    """One of the two, as asked; the other None."""
    channel_hz, tone_hz = 1e3 * arguments.channel_khz, arguments.tone_hz
    if arguments.am:
        return None, measure_am(iq, rate_hz, channel_hz=channel_hz, tone_hz=tone_hz)
    return measure_fm(iq, rate_hz, channel_hz=channel_hz, tone_hz=tone_hz), None


def _check(arguments: argparse.Namespace) -> None:
    """Refuse what would do nothing, or something else than it says; `RequestError` names it."""
    if arguments.file is not None:
        refuse_beside_recording(device=arguments.device, seconds=arguments.seconds)
    kind, high_hz = ("AM", AM_AUDIO_HIGH_HZ) if arguments.am else ("FM", AUDIO_HIGH_HZ)
    least_khz = 2e-3 * high_hz
    if arguments.channel_khz < least_khz:
        # Narrower it would cut the sidebands off, and read too little.
        raise RequestError(
            f"--channel-khz {arguments.channel_khz:g} is too narrow: {kind} carries audio up to "
            f"{least_khz / 2.0:g} kHz on both sides",
            f"give {least_khz:g} or more",
        )
    if arguments.tone_hz is not None and arguments.tone_hz > high_hz:
        raise RequestError(
            f"--tone-hz {arguments.tone_hz:g} is too high: {kind} audio is measured up to {high_hz:g} Hz",
            "name a lower tone",
        )


def _read(file: str, swapped: bool) -> tuple[NDArray[np.complex128], int]:
    left, rate_hz = read_samples(file, 1)
    try:
        right, _ = read_samples(file, 2)
    except FileError as error:
        if "has one channel" not in error.what:
            raise
        remedy = "record I on the left and Q on the right channel"
        raise FileError(f"{file}: has one channel, and I/Q needs two", remedy) from error
    return complex_feed(np.stack([left, right], axis=1), swapped=swapped), rate_hz


def _lines(iq: NDArray[np.complex128], rate_hz: int, fm: FmReading, notes: list[str]) -> IndexFit | None:
    """Modulation index by carrier and sidebands, a second opinion that no discriminator takes part in."""
    assert fm.tone is not None
    try:
        return fit_index(fm_lines(iq, rate_hz, fm.tone.frequency_hz, carrier_hz=fm.offset_hz))
    except MeasureError as error:
        notes.append(f"carrier and sidebands: {error}")
        return None


def iq_document(
    file: str | None,
    fm: FmReading | None,
    am: AmReading | None,
    lines: IndexFit | None,
    band: OccupiedBandwidth | None,
    notes: list[str],
) -> dict[str, Any]:
    """The reading as a document."""
    return {
        "schema": SCHEMA,
        "file": file,
        "offset_hz": fm.offset_hz if fm else am.offset_hz if am else None,
        "deviation": fm and {
            "positive_khz": fm.positive_khz, "negative_khz": fm.negative_khz, "peak_khz": fm.peak_khz,
            "p999_khz": fm.p999_khz, "rms_khz": fm.rms_khz,
            "tone_hz": fm.tone.frequency_hz if fm.tone else None,
        },
        "am": am and {
            "positive_percent": am.positive_percent, "negative_percent": am.negative_percent,
            "depth_percent": am.depth_percent, "tone_hz": am.tone.frequency_hz if am.tone else None,
        },
        "carrier": lines and {
            "index": lines.index, "deviation_khz": lines.deviation_khz, "carrier_db": lines.carrier_db,
            "misfit": lines.misfit,
        },
        "bandwidth": band and {
            "occupied_khz": band.bandwidth_hz / 1e3, "low_khz": band.low_hz / 1e3,
            "high_khz": band.high_hz / 1e3, "method": SOURCE,
        },
        "notes": notes,
    }  # fmt: skip


def _khz(value: float) -> str:
    return number(value, "kHz")


def _distortion(tone: Cycle) -> str:
    if tone.distortion >= HIDDEN * tone.noise_distortion:
        return f"distortion {100 * tone.distortion:.2f} %"
    return f"distortion under {100 * (tone.distortion + tone.noise_distortion):.2g} %, hidden by noise"


def iq_rows(
    fm: FmReading | None, am: AmReading | None, lines: IndexFit | None, band: OccupiedBandwidth | None
) -> list[tuple[str, str]]:
    """Label and text of each figure."""
    rows = []
    if fm is not None:
        rows += [
            ("offset", f"{fm.offset_hz:+.1f} Hz"),
            (
                "deviation",
                f"+{_khz(fm.positive_khz)} / -{_khz(fm.negative_khz)} kHz, RMS {_khz(fm.rms_khz)} kHz",
            ),
        ]
        if fm.tone is not None:
            rows.append(("tone", f"{fm.tone.frequency_hz:.2f} Hz, {_distortion(fm.tone)}"))
    if am is not None:
        rows += [
            ("offset", f"{am.offset_hz:+.1f} Hz"),
            ("AM depth", f"{am.depth_percent:.1f} %, up {am.positive_percent:.1f} %, "
             f"down {am.negative_percent:.1f} %"),
        ]  # fmt: skip
    if (fm is not None and fm.no_tone) or (am is not None and am.no_tone):
        rows.append(("tone", "unknown"))
    if lines is not None:
        rows.append(
            ("carrier", f"{lines.carrier_db:+.1f} dB re unmodulated, index {lines.index:.3f}: "
             f"{_khz(lines.deviation_khz)} kHz by its sidebands")
        )  # fmt: skip
    rows.append(("bandwidth", "unknown" if band is None else f"{band.bandwidth_hz / 1e3:.2f} kHz ({SOURCE})"))
    return rows
