"""One over, from carrier up to carrier down, measured: the meeting point of all the figures."""

from dataclasses import dataclass, field, replace

import numpy as np
import soxr
from numpy.typing import NDArray

from audiotest.measure import activity as speech
from audiotest.measure.beep import find_end_beep
from audiotest.measure.deviation import AUDIO_HIGH_HZ, Swing, measure_swing
from audiotest.measure.emphasis import USUAL_DEEMPHASIS_US, estimate_deemphasis_us, low_response
from audiotest.measure.filters import bandpass, emphasis_response, undo_deemphasis
from audiotest.measure.hum import MAINS_TOLERANCE_HZ, measure_hum
from audiotest.measure.level import overload_runs
from audiotest.measure.limiter import Drive, estimate_drive
from audiotest.measure.speech_level import active_speech_level
from audiotest.measure.subaudible import find_subaudible
from audiotest.measure.tone import find_steady_tone, measure_tone
from audiotest.records import (
    Deviation,
    EndBeep,
    Feed,
    Level,
    Limiter,
    LimitSet,
    Noise,
    Over,
    OverKind,
    Subaudible,
    Tone,
)
from audiotest.units import amplitude_db, db_amplitude

ANALYSIS_MAX_RATE_HZ = 50000
ANALYSIS_RATE_HZ = 48000
EDGE_S = 0.03
MIN_BARE_S = 0.06
MIN_SPEECH_S = 2.0
WEAK_SNR_DB = 10.0
LEAST_TONE_SHARE = 0.05
NO_SCALE = "deviation unknown: no feed scale; learn one with 'audiotest feed learn'"
_NO_LIMITER = Limiter(
    drive_db=None, drive_low_db=None, drive_high_db=None, clipped_fraction=None, reached=None
)
TOO_QUIET_DBFS = -55.0


@dataclass(frozen=True, slots=True, kw_only=True)
class OverAudio:
    """An over as it was heard: audio of shape (n,), the time of its first sample, the hiss around it."""

    samples: NDArray[np.float32]
    sample_rate_hz: int
    start_s: float
    hiss: NDArray[np.float32] | None
    lost_n: int = 0
    cut: bool = False


@dataclass(slots=True)
class _View:
    """Intermediate views of one over at the analysis rate."""

    rate_hz: int
    plain: NDArray[np.float64]
    discriminator: NDArray[np.float64]
    hiss: NDArray[np.float64] | None
    deemphasis_us: float
    notes: list[str] = field(default_factory=list)
    conditions: list[str] = field(default_factory=list)


def _analysis(samples: NDArray[np.floating], rate_hz: int) -> tuple[NDArray[np.float64], int]:
    if rate_hz <= ANALYSIS_MAX_RATE_HZ:
        return np.asarray(samples, dtype=np.float64), rate_hz
    return np.asarray(soxr.resample(samples, rate_hz, ANALYSIS_RATE_HZ), dtype=np.float64), ANALYSIS_RATE_HZ


def _without_line(samples: NDArray[np.float64], rate_hz: int, frequency_hz: float) -> NDArray[np.float64]:
    """`samples` less a steady line, fitted second by second so that a drifting clock does no harm."""
    result = samples.copy()
    step_n = max(rate_hz, 1)
    for start in range(0, len(samples), step_n):
        end = len(samples) if len(samples) - start < 2 * step_n else start + step_n
        part = samples[start:end]
        angle = 2.0 * np.pi * frequency_hz * np.arange(start, end) / rate_hz
        design = np.column_stack([np.cos(angle), np.sin(angle)])
        result[start:end] = part - design @ np.linalg.lstsq(design, part, rcond=None)[0]
        if end == len(samples):
            break
    return result


def _emphasis(
    view_hiss: NDArray[np.float64] | None, quiet: NDArray[np.float64] | None, rate_hz: int, feed: Feed | None
) -> tuple[float, str | None]:
    if feed is not None and feed.deemphasis_us is not None:
        return feed.deemphasis_us, None
    found = estimate_deemphasis_us(view_hiss, quiet, rate_hz)
    if found is None:
        return USUAL_DEEMPHASIS_US, "de-emphasis of the feed not known: 750 µs assumed"
    return found, f"de-emphasis of the feed judged from its noise: {found:.0f} µs"


def _bare_carrier(plain: NDArray[np.float64], rate_hz: int) -> NDArray[np.float64] | None:
    """The stretch of bare carrier before speech starts, edges left out."""
    rms = speech.frame_rms(speech.low_view(plain, rate_hz), round(rate_hz * speech.FRAME_S))
    edge = round(EDGE_S / speech.FRAME_S) + 1
    if len(rms) < edge + 4:
        return None
    quiet = float(np.percentile(rms[edge:], 3))
    settled = rms[edge:] < 2.2 * max(float(np.median(rms[edge : edge + 4])), 1e-9)
    length = int(np.argmin(settled)) if not settled.all() else len(settled)
    first = float(np.median(rms[edge : edge + max(length, 1)]))
    frame_n = round(rate_hz * speech.FRAME_S)
    # One frame is held back: speech may begin inside it.
    if (length - 1) * speech.FRAME_S < MIN_BARE_S or first > 2.5 * quiet + 1e-9:
        return None
    return plain[edge * frame_n : (edge + length - 1) * frame_n]


def _quietest(plain: NDArray[np.float64], rate_hz: int) -> NDArray[np.float64] | None:
    """The quietest half second in pieces of 60 ms: the pauses of a talker who left no bare carrier."""
    piece_n = round(0.06 * rate_hz)
    band = bandpass(plain, rate_hz, 300.0, 3400.0)
    rms = speech.frame_rms(band, piece_n)
    if len(rms) < 12:
        return None
    order = np.argsort(rms)[: max(3, min(8, len(rms) // 12))]
    return np.concatenate([plain[k * piece_n : (k + 1) * piece_n] for k in sorted(order)])


def _band_rms(samples: NDArray[np.float64], rate_hz: int) -> float:
    return float(np.sqrt(np.mean(bandpass(samples, rate_hz, 300.0, 3400.0) ** 2)))


def _ratio_db(above: float | None, below: float | None) -> float | None:
    if above is None or below is None or below <= 0.0:
        return None
    return amplitude_db(above / below)


def _voice_figures(
    view: _View, bare: NDArray[np.float64] | None, feed: Feed | None, limits: LimitSet
) -> tuple[speech.Activity, Deviation, Limiter]:
    noise = None
    if bare is not None:
        noise = undo_deemphasis(bare, view.rate_hz, view.deemphasis_us, high_hz=AUDIO_HIGH_HZ)
    active_part = speech.find_activity(view.discriminator, view.rate_hz, noise=noise)
    active = np.asarray(active_part.select(view.discriminator))
    noise_db = None
    if noise is not None and len(active):
        noise_db = _ratio_db(float(np.std(noise)), float(np.sqrt(np.mean(active**2))))
    drive = estimate_drive(active, view.rate_hz, noise_db=noise_db)
    if drive is None:
        view.notes.append("limiter drive unknown: too little speech (1.5 s needed)")
        limiter = _NO_LIMITER
    else:
        limiter = Limiter(
            drive_db=drive.drive_db, drive_low_db=drive.low_db, drive_high_db=drive.high_db,
            clipped_fraction=drive.clipped_fraction, reached=drive.reached,
        )  # fmt: skip
    if feed is None:
        view.notes.append(NO_SCALE)
        return active_part, _no_deviation(limits), limiter
    swing = measure_swing(active, view.rate_hz, noise)
    return active_part, _speech_deviation(active, swing, drive, feed, limits), limiter


def _speech_deviation(
    active: NDArray[np.float64], swing: Swing | None, drive: Drive | None, feed: Feed, limits: LimitSet
) -> Deviation:
    """Deviation of speech in kHz, by what the drive model knows of filters and noise where it can."""
    if swing is None:
        return _no_deviation(limits)
    peak, p999, positive, negative = swing.peak, swing.p999, swing.positive, swing.negative
    if drive is not None:
        received = float(np.quantile(np.abs(active), 0.999))
        p999 = received * drive.p999_ratio
        # Two views of the peak, the model's and the highest one heard: their geometric mean errs least.
        heard = max(swing.peak / swing.p999, 1.0) if swing.p999 > 0.0 else 1.0
        peak = max(p999, float(np.sqrt(received * drive.peak_ratio * p999 * heard)))
        larger = max(positive, negative)
        positive, negative = peak * positive / larger, peak * negative / larger
    scale = feed.scale_khz_per_fs
    return Deviation(
        peak_khz=peak * scale, p999_khz=p999 * scale, rms_khz=swing.rms * scale,
        positive_khz=positive * scale, negative_khz=negative * scale, limit_khz=limits.deviation_khz,
    )  # fmt: skip


def _no_deviation(limits: LimitSet) -> Deviation:
    return Deviation(
        peak_khz=None, p999_khz=None, rms_khz=None, positive_khz=None, negative_khz=None,
        limit_khz=limits.deviation_khz,
    )  # fmt: skip


def _tone_deviation(tone: Tone, view: _View, feed: Feed | None, limits: LimitSet) -> Deviation:
    if feed is None or tone.level_dbfs is None:
        view.notes.append(NO_SCALE)
        peak = rms = None
    else:
        lift = float(abs(emphasis_response(np.array([tone.frequency_hz]), view.deemphasis_us)[0]))
        rms = db_amplitude(tone.level_dbfs) * lift * feed.scale_khz_per_fs
        peak = float(np.sqrt(2.0)) * rms
    return Deviation(
        peak_khz=peak, p999_khz=peak, rms_khz=rms, positive_khz=peak, negative_khz=peak,
        limit_khz=limits.deviation_khz,
    )  # fmt: skip


def _subaudible(
    plain: NDArray[np.float64],
    rate_hz: int,
    deemphasis_us: float,
    hiss: NDArray[np.float64] | None,
    feed: Feed | None,
) -> Subaudible | None:
    found = find_subaudible(plain, rate_hz)
    if found is None:
        return None
    frequency_hz, amplitude_fs = found
    flat_fs = float(amplitude_fs * abs(emphasis_response(np.array([frequency_hz]), deemphasis_us)[0]))
    # The receiver's high-pass takes most of the tone; only hiss, flat before it, tells how much.
    gain = None if hiss is None else low_response(hiss, rate_hz, frequency_hz)
    deviation_khz = None
    if feed is not None and gain is not None:
        deviation_khz = float(amplitude_fs / gain * feed.scale_khz_per_fs)
    if abs(frequency_hz - 100.0) < MAINS_TOLERANCE_HZ:
        # Alone on a mains harmonic: a tone is sent at a tenth of the peaks or so, hum far below.
        audio = undo_deemphasis(plain, rate_hz, deemphasis_us, high_hz=AUDIO_HIGH_HZ)
        if flat_fs < LEAST_TONE_SHARE * float(np.quantile(np.abs(audio), 0.999)):
            return None
    return Subaudible(frequency_hz=float(frequency_hz), deviation_khz=deviation_khz)


def _noise_figures(
    view: _View, bare: NDArray[np.float64] | None, from_pauses: bool, signal_rms: float | None,
    modulated: bool,
) -> Noise:  # fmt: skip
    bare_rms = None if bare is None else _band_rms(bare, view.rate_hz)
    hiss_rms = None if view.hiss is None else _band_rms(view.hiss, view.rate_hz)
    quieting = _ratio_db(hiss_rms, bare_rms)
    if view.hiss is None:
        view.notes.append("quieting unknown: no open-squelch hiss was heard around the over")
    if bare is None:
        view.notes.append("noise unknown: no bare carrier and no pause was heard")
    elif from_pauses:
        view.notes.append("noise taken from pauses in speech: no bare carrier before it")
    source = bare if bare is not None and len(bare) >= view.rate_hz else view.plain
    # `view.plain` is without the sub-audible tone, so that 100.0 Hz does not count twice.
    hum = measure_hum(source, view.rate_hz)
    hum_hz, hum_rms = (None, None) if hum is None else (float(hum[0]), float(hum[1]))
    return Noise(
        quieting_db=quieting,
        snr_db=_ratio_db(signal_rms, bare_rms) if modulated else None,
        hum_hz=hum_hz,
        hum_db=_ratio_db(signal_rms, hum_rms),
    )


def _conditions(
    runs: int, kind: OverKind, active_s: float, level_dbfs: float | None, noise: Noise
) -> list[str]:
    found = []
    if runs > 0:
        found.append("overload")
    if kind != "voice":
        found.append("not_voice")
        return found
    if level_dbfs is not None and level_dbfs < TOO_QUIET_DBFS:
        found.append("too_quiet")
    if noise.snr_db is not None and noise.snr_db < WEAK_SNR_DB:
        found.append("weak")
    if active_s < MIN_SPEECH_S:
        found.append("too_little_speech")
    return found


def measure_over(audio: OverAudio, *, feed: Feed | None, limits: LimitSet) -> Over:
    """Measure one over.

    Parameters
    ----------
    audio : OverAudio
        The over from carrier up to carrier down at its native rate, with up to a second of hiss.
    feed : Feed or None
        The learned scale; without it every figure in kHz is None.
    limits : LimitSet
        The limits the figures are later held against.

    Returns
    -------
    Over
        Every figure that could be measured; the reason of each None in ``notes``.
    """
    runs = overload_runs(audio.samples)
    plain, rate = _analysis(audio.samples, audio.sample_rate_hz)
    plain = plain - np.mean(plain) if len(plain) else plain
    edge_n = min(round(EDGE_S * rate), len(plain) // 8)
    plain = plain[edge_n : len(plain) - edge_n]
    offset_s = audio.start_s + edge_n / rate
    hiss = None if audio.hiss is None else _analysis(audio.hiss, audio.sample_rate_hz)[0]
    bare = _bare_carrier(plain, rate)
    from_pauses = bare is None
    if bare is None:
        bare = _quietest(plain, rate)
    tau, emphasis_note = _emphasis(hiss, None if from_pauses else bare, rate, feed)
    subaudible = _subaudible(plain, rate, tau, hiss, feed)
    clean = plain if subaudible is None else _without_line(plain, rate, subaudible.frequency_hz)
    beep, clean = _split_beep(clean, rate, offset_s)
    view = _View(rate, clean, undo_deemphasis(clean, rate, tau, high_hz=AUDIO_HIGH_HZ), hiss, tau)
    if emphasis_note is not None:
        view.notes.append(emphasis_note)
    over = _measure_view(view, None if bare is None else bare, from_pauses, feed, limits, offset_s, runs)
    notes = list(over.notes)
    if subaudible is not None and feed is not None and subaudible.deviation_khz is None:
        notes.append("sub-audible deviation unknown: no hiss to tell what the receiver's high-pass takes")
    if audio.lost_n:
        notes.append(f"{audio.lost_n} samples or more were lost during the over")
    if audio.cut:
        notes.append("over longer than five minutes: speech figures cover its last five")
    return replace(
        over, start_s=audio.start_s, end_s=audio.start_s + len(audio.samples) / audio.sample_rate_hz,
        subaudible=subaudible, end_beep=beep, notes=tuple(notes),
    )  # fmt: skip


def _split_beep(
    plain: NDArray[np.float64], rate_hz: int, offset_s: float
) -> tuple[EndBeep | None, NDArray[np.float64]]:
    """The end beep with times in the stream, and the over without it."""
    found = find_end_beep(plain, rate_hz)
    if found is None:
        return None, plain
    beep = EndBeep(
        frequency_hz=found.frequency_hz, start_s=offset_s + found.start_s, end_s=offset_s + found.end_s
    )
    return beep, plain[: max(round((found.start_s - 0.02) * rate_hz), 1)]


def _measure_view(
    view: _View, bare: NDArray[np.float64] | None, from_pauses: bool, feed: Feed | None,
    limits: LimitSet, offset_s: float, runs: int,
) -> Over:  # fmt: skip
    part, deviation, limiter = _voice_figures(view, bare, feed, limits)
    spoken = (
        view.plain[part.start_n : part.end_n]
        if part.start_n is not None and part.end_n is not None
        else view.plain[:0]
    )
    steady_hz = find_steady_tone(spoken if len(spoken) else view.plain, view.rate_hz)
    tone: Tone | None = None
    kind: OverKind = "voice" if len(spoken) else "carrier"
    if steady_hz is not None:
        kind = "tone"
        spoken = spoken if len(spoken) else view.plain
        tone = measure_tone(spoken, view.rate_hz)
        view.notes = [note for note in view.notes if "drive" not in note and "no feed scale" not in note]
        deviation, limiter = _tone_deviation(tone, view, feed, limits), _NO_LIMITER
    elif kind == "carrier":
        limiter = _NO_LIMITER
    level = active_speech_level(spoken, view.rate_hz) if kind == "voice" else None
    peak = float(np.max(np.abs(spoken))) if len(spoken) else None
    active_dbfs = None if level is None else level.active_dbfs
    signal_rms = _band_rms(spoken, view.rate_hz) if len(spoken) else None
    if level is not None and signal_rms is not None:
        signal_rms = float(10 ** (level.active_dbfs / 20))
    noise = _noise_figures(view, bare, from_pauses, signal_rms, kind != "carrier")
    conditions = _conditions(runs, kind, part.active_s, active_dbfs, noise)
    peak_dbfs = None if peak is None else amplitude_db(peak)
    return Over(
        start_s=0.0, end_s=0.0, kind=kind,
        speech_start_s=None if part.start_n is None else offset_s + part.start_n / view.rate_hz,
        speech_end_s=None if part.end_n is None else offset_s + part.end_n / view.rate_hz,
        level=Level(
            active_speech_dbfs=active_dbfs,
            activity=None if level is None else level.activity,
            crest_db=None if active_dbfs is None or peak_dbfs is None else peak_dbfs - active_dbfs,
        ),
        deviation=deviation, limiter=limiter, noise=noise, tone=tone, subaudible=None, end_beep=None,
        overload_runs=runs, conditions=tuple(conditions), notes=tuple(view.notes),
    )  # fmt: skip
