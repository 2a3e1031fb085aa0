"""What a report on one sheet says, worked out once; the HTML page and the PDF only lay it out."""

import io
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

import numpy as np
import soundfile as sf
from numpy.typing import NDArray

from audiotest.errors import AudiotestError, FileError
from audiotest.keep.attachments import PNG_SIGNATURE
from audiotest.keep.clips import over_in_clip
from audiotest.keep.drawing import Drawing
from audiotest.keep.judging import Judged, Verdict, judge_on_sheet, nominal_of
from audiotest.keep.plotfile import read_curves
from audiotest.keep.plots import MapPoint, balance_map, curves_plot, spectrum, spectrum_plot
from audiotest.keep.quantities import QUANTITIES, sheet_order, show
from audiotest.keep.sheetrecords import STAGE_WORDS, STAGES, Attachment, Reading, Sheet, Stage
from audiotest.keep.sheets import Sheets
from audiotest.records import LimitSet
from audiotest.standards.limits import get_limits

VERDICT_WORDS: dict[Verdict, str] = {"pass": "pass", "fail": "FAIL", "doubt": "doubt", "none": ""}
REFERENCED = ("power", "swr", "frequency", "frequency-error", "sensitivity")
LONGEST_CLIP_S = 60.0
LARGEST_PICTURE_BYTES = 4 * 1024 * 1024
CAUTIONS = (
    "The limits shown are reference values: the local code and the licence decide.",
    "Transmit only what licence and local rules allow; mind the RF exposure limits near an antenna in use.",
    "Use a dummy load on the bench. Supplies hold mains voltage, and charge after the plug is out.",
    "Start headphones low when playing the clips.",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Cell:
    """One reading as it is shown, with its verdict and what there is to say about it."""

    text: str
    verdict: Verdict
    words: str
    measured: bool
    reading_id: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """One line of the table: as found against as left, the limit and where that comes from."""

    label: str
    cells: dict[Stage, Cell | None]
    limit: str
    source: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Clip:
    """A kept over: its FLAC, or in `trouble` why there is none; `heard` is what the tool said of it."""

    title: str
    stage: Stage
    flac: bytes | None
    length_s: float | None
    heard: str
    trouble: str | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Picture:
    """An attached photograph or screen, as PNG."""

    title: str
    png: bytes


@dataclass(frozen=True, slots=True, kw_only=True)
class Report:
    """Everything that stands in a report, in the order in which it stands there."""

    title: str
    made: str
    summary: str
    facts: tuple[tuple[str, str], ...]
    rows: tuple[Row, ...]
    faults: tuple[tuple[str, str], ...]
    parts: tuple[str, ...]
    spoken: tuple[tuple[str, str], ...]
    drawings: tuple[Drawing, ...]
    pictures: tuple[Picture, ...]
    clips: tuple[Clip, ...]
    conditions: tuple[str, ...]
    sources: tuple[str, ...]
    cautions: tuple[str, ...]
    remarks: tuple[str, ...]


def make_report(
    sheets: Sheets, visit_id: int, *, now: Callable[[], datetime] = lambda: datetime.now(UTC)
) -> Report:
    """Work out the report on one visit; files that are gone or damaged are named in it, not fatal."""
    sheet = sheets.sheet(visit_id)
    limits = get_limits(sheet.visit.limits)
    remarks: list[str] = []
    clips: list[Clip] = []
    sounds: dict[Stage, tuple[NDArray[np.float32], int]] = {}
    drawings: list[Drawing] = []
    pictures: list[Picture] = []
    points = map_points(sheet)
    if points:
        drawings.append(balance_map(points, limits))
    for attachment in sheet.attachments:
        try:
            content = sheets.attachment_bytes(attachment)
            if attachment.kind == "plot":
                drawings.append(curves_plot(read_curves(content, attachment.title)))
            elif attachment.kind == "picture":
                pictures.append(_picture(attachment, content))
            else:
                clip, samples, rate_hz = _clip(attachment, content)
                clips.append(clip)
                sounds[attachment.stage] = (_speech_of(attachment, samples, rate_hz), rate_hz)
        except FileError as error:
            remarks.append(str(error))
            if attachment.kind == "clip":
                clips.append(_lost_clip(attachment, error))
    spectra = {stage: found for stage in STAGES if (found := _spectrum_of(sounds, stage)) is not None}
    if spectra:
        drawings.insert(1 if points else 0, spectrum_plot(spectra, limits.audio_high_hz))
    rows = table_rows(sheet, limits)
    return Report(
        title=sheet.radio.name, made=f"{now().astimezone():%Y-%m-%d %H:%M}", summary=summary(rows),
        facts=_facts(sheet, limits), rows=rows,
        faults=tuple((fault.fault, fault.cure or "not cured yet") for fault in sheet.faults),
        parts=tuple(part.name if part.count == 1 else f"{part.count} × {part.name}" for part in sheet.parts),
        spoken=tuple(_spoken_line(sheet, stage) for stage in STAGES if _heard_at(sheet, stage)),
        drawings=tuple(drawings), pictures=tuple(pictures), clips=tuple(clips),
        conditions=_conditions(sheet), sources=_sources(rows, limits), cautions=CAUTIONS,
        remarks=tuple(remarks),
    )  # fmt: skip


def table_rows(sheet: Sheet, limits: LimitSet) -> tuple[Row, ...]:
    """Every quantity that was read, as found against as left, each judged."""
    stood = {stage: sheet.standing(stage) for stage in STAGES}
    keys = {key for stage in STAGES for key in stood[stage]}
    rows = []
    for quantity, point in sorted(keys, key=sheet_order):
        judged: dict[Stage, Judged] = {}
        cells: dict[Stage, Cell | None] = {}
        for stage in STAGES:
            reading = stood[stage].get((quantity, point))
            if reading is None:
                cells[stage] = None
                continue
            judged[stage] = judge_on_sheet(reading, sheet.visit, limits)
            cells[stage] = _cell(reading, judged[stage])
        one = next(iter(judged.values()))
        label = f"{QUANTITIES[quantity].label} {point}".strip()
        rows.append(Row(label=label, cells=cells, limit=one.limit, source=one.source))
    return tuple(rows)


def summary(rows: tuple[Row, ...]) -> str:
    """The report in one sentence: how the readings as left stand against their limits."""
    verdicts = [cell.verdict for row in rows if (cell := row.cells["left"]) is not None]
    judged = [verdict for verdict in verdicts if verdict != "none"]
    failed = [row.label for row in rows if (cell := row.cells["left"]) is not None and cell.verdict == "fail"]
    doubtful = judged.count("doubt")
    if not judged:
        return "Nothing has been judged as left yet."
    if failed:
        return f"As left, outside its limit: {', '.join(failed)}."
    doubt = "" if not doubtful else f"; {doubtful} of them in doubt"
    return f"As left, {len(judged)} readings held against limits, none outside{doubt}."


def map_points(sheet: Sheet) -> list[MapPoint]:
    """The dots of the balance map: one for each stage at which both drive and peak are known."""
    points = []
    for stage in STAGES:
        stood = sheet.standing(stage)
        drive, peak = stood.get(("drive", "")), stood.get(("deviation", ""))
        if drive is not None and peak is not None:
            points.append(MapPoint(stage=stage, drive=drive, peak=peak))
    return points


def _cell(reading: Reading, judged: Judged) -> Cell:
    words = [judged.words] if judged.words else []
    if reading.low is not None and reading.high is not None:
        low, high = show(reading.quantity, reading.low), show(reading.quantity, reading.high)
        words.insert(0, f"{low.split()[0]} to {high}")
    return Cell(
        text=show(reading.quantity, reading.value), verdict=judged.verdict, words="; ".join(words),
        measured=reading.typed is None, reading_id=reading.id,
    )  # fmt: skip


def _facts(sheet: Sheet, limits: LimitSet) -> tuple[tuple[str, str], ...]:
    radio, visit = sheet.radio, sheet.visit
    nominal = nominal_of(visit)
    carrier = "" if nominal is None else f"{nominal:.5f} MHz"
    channel = f"channel {visit.channel}, {carrier}" if visit.channel is not None else carrier
    facts = (
        ("maker", radio.maker), ("model", radio.model), ("serial", radio.serial), ("options", radio.options),
        ("service", f"{limits.title} ({limits.id})"), ("carrier", channel), ("owner", visit.owner),
        ("complaint", visit.complaint), ("sheet", f"{visit.id}, opened {visit.opened[:10]}"),
        ("closed", "" if visit.closed is None else visit.closed[:10]), ("note", radio.note),
    )  # fmt: skip
    return tuple((label, text) for label, text in facts if text)


def _heard_at(sheet: Sheet, stage: Stage) -> bool:
    return any(heard.stage == stage for heard in sheet.spoken)


def _spoken_line(sheet: Sheet, stage: Stage) -> tuple[str, str]:
    lines = []
    for heard in sheet.spoken:
        if heard.stage != stage:
            continue
        by = ", ".join(word for word in (heard.who, heard.place) if word)
        said = f": {heard.words}" if heard.words else ""
        lines.append(f"R{heard.readability} S{heard.strength}{said}" + (f" ({by})" if by else ""))
    return STAGE_WORDS[stage], "; ".join(lines)


def _conditions(sheet: Sheet) -> tuple[str, ...]:
    """Feed, scale, how it was learned and how sure it is, once for each scale that was used."""
    lines: list[str] = []
    if sheet.visit.bench:
        lines.append(f"bench: {sheet.visit.bench}")
    for attachment in sheet.attachments:
        measured = attachment.measured or {}
        feed = measured.get("feed")
        if isinstance(feed, dict):
            lines.append(_feed_line(feed))
        elif measured.get("over") is not None:
            lines.append("A clip was measured without a learned scale: no figures in kHz come from it.")
    if any(reading.typed is None for reading in sheet.readings):
        lines.append(
            "Figures marked ● were measured by audiotest from the clips. The drive into the limiter and the "
            "peak of speech are estimates: the interval below each holds about nine times in ten."
        )
    if any(reading.quantity in REFERENCED for reading in sheet.readings):
        lines.append(
            "A limit marked ref. is known from memory or by common practice only: it says what to expect."
        )
    if any(reading.typed is not None for reading in sheet.readings):
        lines.append("The others were read from instruments and typed.")
    return tuple(dict.fromkeys(lines))


def _feed_line(feed: dict[str, Any]) -> str:
    how = {
        "tone": "a tone of known deviation", "hiss": "open-squelch hiss, a rough scale",
        "carrier-null": "a carrier null",
    }.get(str(feed.get("method")), "an unknown way")  # fmt: skip
    scale, unsure = feed.get("scale_khz_per_fs"), feed.get("scale_uncertainty_db")
    figures = ""
    if isinstance(scale, int | float) and isinstance(unsure, int | float):
        figures = f": {scale:.2f} kHz per full scale, uncertain by ±{unsure:.1f} dB"
    emphasis = feed.get("deemphasis_us")
    shaped = ""
    if isinstance(emphasis, int | float):
        shaped = ", flat discriminator" if emphasis == 0 else f", de-emphasis {emphasis:g} µs"
    learned = str(feed.get("learned", ""))[:40]
    return f"feed {str(feed.get('name', ''))[:60]}{figures}, learned from {how} on {learned}{shaped}"


def _sources(rows: tuple[Row, ...], limits: LimitSet) -> tuple[str, ...]:
    lines = [f"{limits.id}: {limits.source}"]
    lines += [
        f"{row.label}: {row.limit}: {row.source}"
        for row in rows
        if row.source and row.source != limits.source
    ]
    return tuple(dict.fromkeys(lines))


def _clip(attachment: Attachment, content: bytes) -> tuple[Clip, NDArray[np.float32], int]:
    """Decode a clip, to be sure that it can be, and put it up as FLAC of 16 bits."""
    try:
        samples, rate_hz = sf.read(io.BytesIO(content), dtype="float32", always_2d=True)
    except (sf.SoundFileError, TypeError, ValueError, RuntimeError) as error:
        raise FileError(
            f"{attachment.title}: the clip cannot be played", "it is damaged: record it again"
        ) from error
    mono = np.ascontiguousarray(samples[:, 0])
    if len(mono) == 0 or not np.all(np.isfinite(mono)):
        raise FileError(f"{attachment.title}: the clip holds no sound", "record it again")
    kept = mono[: round(LONGEST_CLIP_S * rate_hz)]
    out = io.BytesIO()
    codes = np.clip(np.rint(kept * 32768.0), -32768, 32767).astype(np.int16)
    sf.write(out, codes, rate_hz, format="FLAC", subtype="PCM_16")
    cut = f" (the first {LONGEST_CLIP_S:.0f} s of it here)" if len(kept) < len(mono) else ""
    clip = Clip(
        title=attachment.title + cut, stage=attachment.stage, flac=out.getvalue(),
        length_s=len(mono) / rate_hz, heard=_sentence(attachment), trouble=None,
    )  # fmt: skip
    return clip, mono, int(rate_hz)


def _speech_of(attachment: Attachment, samples: NDArray[np.float32], rate_hz: int) -> NDArray[np.float32]:
    """The speech in a clip, without the hiss around the over; all of it where it was not measured."""
    over = (attachment.measured or {}).get("over")
    times = (
        [over.get(key) for key in ("start_s", "speech_start_s", "speech_end_s")]
        if isinstance(over, dict)
        else []
    )
    known = [float(at) for at in times if isinstance(at, int | float)]
    if len(known) < 3 or not np.all(np.isfinite(known)):
        return samples
    return over_in_clip(samples, rate_hz, *known)


def _lost_clip(attachment: Attachment, error: AudiotestError) -> Clip:
    return Clip(
        title=attachment.title, stage=attachment.stage, flac=None, length_s=None,
        heard=_sentence(attachment), trouble=error.what.removeprefix(f"{attachment.title}: "),
    )  # fmt: skip


def _sentence(attachment: Attachment) -> str:
    advice = (attachment.measured or {}).get("advice")
    said = advice.get("sentence") if isinstance(advice, dict) else None
    return said if isinstance(said, str) else ""


def _picture(attachment: Attachment, content: bytes) -> Picture:
    if not content.startswith(PNG_SIGNATURE) or len(content) > LARGEST_PICTURE_BYTES:
        raise FileError(f"{attachment.title}: is no PNG picture of up to 4 MiB", "attach it as PNG")
    return Picture(title=attachment.title, png=content)


def _spectrum_of(
    sounds: dict[Stage, tuple[NDArray[np.float32], int]], stage: Stage
) -> tuple[NDArray[np.float64], NDArray[np.float64]] | None:
    return spectrum(*sounds[stage]) if stage in sounds else None
