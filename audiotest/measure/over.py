"""One over, from carrier up to carrier down, measured: the meeting point of all the figures."""

from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from audiotest.measure import activity as speech
from audiotest.measure.addedtones import BEFORE_BEEP_S, added_subaudible, sound_without_tone, split_beep
from audiotest.measure.bare import EDGE_S, band_rms, low_view, opening, quietest
from audiotest.measure.conditions import sound_conditions, speech_conditions
from audiotest.measure.deviation import Swing, by_model, measure_swing, with_model
from audiotest.measure.emphasis import stated_or_heard_us
from audiotest.measure.filters import emphasis_response
from audiotest.measure.heldnoise import level_control_conditions
from audiotest.measure.hiss import receiver_inverse
from audiotest.measure.hum import measure_hum
from audiotest.measure.ifband import bandwidth_of_hiss, outruns_if
from audiotest.measure.level import overload_runs
from audiotest.measure.limiter import Drive, estimate_drive
from audiotest.measure.narrowlink import link_conditions
from audiotest.measure.path import undo_path
from audiotest.measure.speech_level import active_speech_level
from audiotest.measure.speechlike import speech_cues
from audiotest.measure.threshold import clicks_hide_peak
from audiotest.measure.tone import find_steady_tone, measure_tone
from audiotest.measure.views import AUDIO_HIGH_HZ, Sound, flat_view, in_pieces, two_views
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
    PathResponse,
    Tone,
)
from audiotest.units import amplitude_db, db_amplitude

TRIED, TRIED_S = 6, 0.3
VOICING_SNR_DB = 5.0
"""Below this even speech shows little voicing: false refusals of simulated overs all lay under 2 dB."""
TONE_ITSELF_SHARE = 0.75
"""A "bare carrier" of this share of the tone's level is the tone: at 4 dB SINAD noise is 0.63 of both."""
HIDES = {"weak": ("if_narrow", "level_control"), "overload": ("level_control",)}
"""What cannot be told beside a condition: noise peaks pass for a swing of the carrier, and clicks and a sound
card that cuts hold noise down like a level control."""
ENDS_OVERLOAD = "the sound card is overloaded by the end beep or the carrier's edges only, not by the speech"
PEAKS_CUT = "drive and deviation unknown: the sound card is overloaded and cuts the peaks"
CRACKLE_LEFT_OUT = "a crackle far above the speech is left out of the drive and the deviation"
TOO_NOISY_FOR_PEAK = "deviation unknown: the clicks of a weak carrier exceed any swing of it"
NO_SPEECH_TO_SWING = "deviation unknown: what is heard is no speech"
NO_SCALE = "deviation unknown: no feed scale; learn one with 'audiotest feed learn'"
_NO_LIMITER = Limiter(
    drive_db=None, drive_low_db=None, drive_high_db=None, clipped_fraction=None, reached=None
)


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
    """Intermediate views of one over; ``bare`` is the bare carrier or the pauses that stand for it.

    ``opening_s`` bounds the even stretch before the first word, where there is one.
    """

    sound: Sound
    bare: Sound | None
    hiss: Sound | None
    deemphasis_us: float
    opening_s: tuple[float, float] | None = None
    notes: list[str] = field(default_factory=list)
    conditions: list[str] = field(default_factory=list)


def _ratio_db(above: float | None, below: float | None) -> float | None:
    if above is None or below is None or below <= 0.0:
        return None
    return amplitude_db(above / below)


def _active(view: _View, noise: NDArray[np.float64] | None) -> tuple[speech.Activity, NDArray[np.float64]]:
    """When somebody speaks, and the discriminator's view of it."""
    sound, bare = view.sound, view.bare
    flat = flat_view(sound.wave, sound.rate_hz, view.deemphasis_us)
    rms = speech.frame_rms(low_view(sound, view.deemphasis_us), round(sound.low_rate_hz * speech.FRAME_S))
    low_noise = 0.0 if bare is None else float(np.std(low_view(bare, view.deemphasis_us)))
    part = speech.find_activity(flat, sound.rate_hz, noise=noise, low=speech.LowView(rms, low_noise))
    crackling = speech.crackles(flat, part)
    if np.any(crackling):
        part = replace(part, active=part.active & ~crackling)
        view.notes.append(CRACKLE_LEFT_OUT)
    return part, np.asarray(part.select(flat))


def _voice_figures(
    view: _View, feed: Feed | None, limits: LimitSet
) -> tuple[speech.Activity, Deviation, Limiter]:
    rate_hz = view.sound.rate_hz
    noise = None if view.bare is None else flat_view(view.bare.wave, rate_hz, view.deemphasis_us)
    active_part, active = _active(view, noise)
    noise_db = None
    if noise is not None and len(active):
        noise_db = _ratio_db(float(np.std(noise)), float(np.sqrt(np.mean(active**2))))
    drive = _drive(view, active_part, noise_db, None if feed is None else feed.path)
    if drive is None:
        view.notes.append("limiter drive unknown: too little speech (1.5 s needed)")
        limiter = _NO_LIMITER
    else:
        limiter = Limiter(
            drive_db=drive.drive_db, drive_low_db=drive.low_db, drive_high_db=drive.high_db,
            clipped_fraction=drive.clipped_fraction, reached=drive.reached,
        )  # fmt: skip
        view.conditions += drive.conditions
        view.notes += [] if drive.note is None else [drive.note]
    if feed is None:
        view.notes.append(NO_SCALE)
        return active_part, _no_deviation(limits), limiter
    sent = _without_receiver(view, active_part, feed)
    if sent is None:
        swing = by_model(active, measure_swing(active, rate_hz, noise), drive)
    else:
        swing = with_model(sent, active, drive)
    if swing is not None and _clips_in_if(view, swing.peak, feed):
        view.conditions.append("if_narrow")
    return active_part, _speech_deviation(swing, feed, limits), limiter


def _clips_in_if(view: _View, peak_fs: float, feed: Feed) -> bool:
    """Whether the peaks outrun the receiver's IF filter, its width stated or told by the hiss."""
    bandwidth_khz = feed.if_bandwidth_khz
    if bandwidth_khz is None and view.hiss is not None:
        low = view.hiss
        bandwidth_khz = bandwidth_of_hiss(low.low, low.low_rate_hz, view.deemphasis_us, feed.scale_khz_per_fs)
    return bandwidth_khz is not None and outruns_if(peak_fs * feed.scale_khz_per_fs, bandwidth_khz)


def _drive(
    view: _View, part: speech.Activity, noise_db: float | None, path: PathResponse | None
) -> Drive | None:
    sound, tau_us = view.sound, view.deemphasis_us
    rate_hz = sound.low_rate_hz
    hiss = None if view.hiss is None else flat_view(view.hiss.low, rate_hz, tau_us)
    limited = None
    if path is not None:
        limited = in_pieces(lambda samples: undo_path(samples, rate_hz, path), sound.low, rate_hz)
    return estimate_drive(
        flat_view(sound.low, rate_hz, tau_us), rate_hz, part.active, noise_db=noise_db, hiss=hiss,
        limited=limited, ceiling=None if path is None else path.ceiling_fs,
    )  # fmt: skip


def _without_receiver(view: _View, active_part: speech.Activity, feed: Feed) -> Swing | None:
    """The swing of active speech with all of the receiver's filters undone, where hiss shows them."""
    rate_hz = view.sound.rate_hz
    inverse = receiver_inverse(
        None if view.hiss is None else view.hiss.wave, rate_hz, view.deemphasis_us,
        high_hz=AUDIO_HIGH_HZ, if_bandwidth_khz=feed.if_bandwidth_khz,
    )  # fmt: skip
    if inverse is None:
        return None
    flat = in_pieces(lambda part: inverse.apply(part, rate_hz), view.sound.wave, rate_hz)
    noise = None if view.bare is None else inverse.apply(view.bare.wave, rate_hz)
    return measure_swing(np.asarray(active_part.select(flat)), rate_hz, noise, unfiltered=inverse.unfiltered)


def _speech_deviation(swing: Swing | None, feed: Feed, limits: LimitSet) -> Deviation:
    if swing is None:
        return _no_deviation(limits)
    scale = feed.scale_khz_per_fs
    return Deviation(
        peak_khz=swing.peak * scale, p999_khz=swing.p999 * scale, rms_khz=swing.rms * scale,
        positive_khz=swing.positive * scale, negative_khz=swing.negative * scale,
        limit_khz=limits.deviation_khz,
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


def _noise_figures(
    view: _View, from_pauses: bool, signal_rms: float | None, *, modulated: bool, overloaded: bool
) -> Noise:
    bare_rms = None if view.bare is None else band_rms(view.bare)
    hiss_rms = None if view.hiss is None else band_rms(view.hiss)
    quieting = _ratio_db(hiss_rms, bare_rms)
    if view.hiss is None:
        view.notes.append("quieting unknown: no open-squelch hiss was heard around the over")
    if view.bare is None:
        view.notes.append("noise unknown: no bare carrier and no pause was heard")
    elif not bare_rms:
        view.notes.append(
            "quieting and noise unknown: the quietest stretch is samples of zero, no carrier's noise"
        )
    elif from_pauses:
        view.notes.append("noise taken from pauses in speech: no bare carrier before it")
    source = view.bare if view.bare is not None and view.bare.seconds >= 1.0 else view.sound
    # `view.sound` is without the sub-audible tone, so that 100.0 Hz does not count twice.
    hum = None if overloaded else measure_hum(source.low, source.low_rate_hz)
    if overloaded:
        view.notes.append("hum unknown: an overload makes low lines of its own")
    hum_hz, hum_rms = (None, None) if hum is None else (float(hum[0]), float(hum[1]))
    return Noise(
        quieting_db=quieting,
        snr_db=_ratio_db(signal_rms, bare_rms) if modulated else None,
        hum_hz=hum_hz,
        hum_db=_ratio_db(signal_rms, hum_rms),
    )


def _not_speech(view: _View, spoken: Sound, noise: Noise) -> list[str]:
    """Whether what modulates is something else than speech; under much noise even speech shows no voicing."""
    if noise.snr_db is not None and noise.snr_db < VOICING_SNR_DB:
        return []
    cues = speech_cues(flat_view(spoken.low, spoken.low_rate_hz, view.deemphasis_us), spoken.low_rate_hz)
    return [] if cues is None or cues.speech else ["not_speech"]


def _stated_deviation(view: _View, deviation: Deviation, noise: Noise, conditions: list[str]) -> Deviation:
    """The deviation of speech; none, and a note, where it would be that of clicks, or of something else."""
    peak_khz = deviation.peak_khz
    if peak_khz is None:
        return deviation
    if "not_speech" in conditions:
        view.notes.append(NO_SPEECH_TO_SWING)
    elif clicks_hide_peak(noise, peak_khz):
        view.notes.append(TOO_NOISY_FOR_PEAK)
    else:
        return deviation
    return replace(
        deviation, peak_khz=None, p999_khz=None, rms_khz=None, positive_khz=None, negative_khz=None
    )


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

    Notes
    -----
    Each figure has its method and source where it is made; see `audiotest.measure`.
    """
    sound = two_views(audio.samples, audio.sample_rate_hz)
    edge_s = min(EDGE_S, sound.seconds / 8.0)
    sound = sound.cut(edge_s, sound.seconds - edge_s)
    offset_s = audio.start_s + edge_s
    hiss = None if audio.hiss is None else two_views(audio.hiss, audio.sample_rate_hz)
    opened = opening(sound)
    bare = opened.sound if opened is not None and opened.bare else None
    from_pauses = bare is None
    if bare is None:
        bare = quietest(sound)
    tau, emphasis_note = stated_or_heard_us(hiss, None if from_pauses else bare, feed)
    subaudible = added_subaudible(sound, tau, hiss, feed)
    if subaudible is not None:
        sound = sound_without_tone(sound, subaudible.frequency_hz)
    beep, sound = split_beep(sound, offset_s)
    view = _View(sound, bare, hiss, tau, None if opened is None else opened.span_s)
    view.conditions += link_conditions(audio.samples, audio.sample_rate_hz)
    runs = overload_runs(_without_ends(audio, edge_s, beep))
    if runs == 0 and overload_runs(audio.samples) > 0:
        view.notes.append(ENDS_OVERLOAD)
    if emphasis_note is not None:
        view.notes.append(emphasis_note)
    over = _measure_view(view, from_pauses, feed, limits, offset_s, runs)
    notes = list(over.notes)
    if subaudible is not None and feed is not None and subaudible.deviation_khz is None:
        notes.append("sub-audible deviation unknown: no hiss to tell what the receiver's high-pass takes")
    if audio.lost_n:
        notes.append(f"{audio.lost_n} samples or more were lost during the over")
    if audio.cut:
        heard_s = len(audio.samples) / audio.sample_rate_hz
        notes.append(f"long over: speech figures cover its last {heard_s:.0f} s")
    return replace(
        over, start_s=audio.start_s, end_s=audio.start_s + len(audio.samples) / audio.sample_rate_hz,
        subaudible=subaudible, end_beep=beep, notes=tuple(notes),
    )  # fmt: skip


def _without_ends(audio: OverAudio, edge_s: float, beep: EndBeep | None) -> NDArray[np.float32]:
    """The samples between the carrier's edges and before the end beep."""
    end_s = len(audio.samples) / audio.sample_rate_hz - edge_s
    if beep is not None:
        end_s = min(end_s, beep.start_s - audio.start_s - BEFORE_BEEP_S)
    return audio.samples[round(edge_s * audio.sample_rate_hz) : round(end_s * audio.sample_rate_hz)]


def _may_be_tone(sound: Sound) -> bool:
    """Whether one of a few short stretches is a steady tone: if none is, the whole need not be looked at."""
    parts_s = np.linspace(0.0, max(sound.seconds - TRIED_S, 0.0), TRIED)
    parts = (sound.cut(at_s, at_s + TRIED_S).low for at_s in parts_s)
    return any(find_steady_tone(part, sound.low_rate_hz) is not None for part in parts)


def _measure_view(
    view: _View, from_pauses: bool, feed: Feed | None, limits: LimitSet, offset_s: float, runs: int
) -> Over:
    part, deviation, limiter = _voice_figures(view, feed, limits)
    rate_hz = view.sound.rate_hz
    heard = part.start_n is not None and part.end_n is not None
    spoken = view.sound.cut((part.start_n or 0) / rate_hz, (part.end_n or 0) / rate_hz)
    tried = spoken if heard else view.sound
    steady_hz = find_steady_tone(tried.low, tried.low_rate_hz) if _may_be_tone(tried) else None
    tone: Tone | None = None
    kind: OverKind = "voice" if heard else "carrier"
    if steady_hz is not None or kind == "carrier" or runs > 0:
        # What is told of the drive is told of speech that nothing cut on its way.
        view.notes = [note for note in view.notes if "drive" not in note]
    if steady_hz is not None:
        kind = "tone"
        spoken = tried
        tone = measure_tone(spoken.wave, rate_hz)
        view.notes = [note for note in view.notes if note != NO_SCALE]
        deviation, limiter = _tone_deviation(tone, view, feed, limits), _NO_LIMITER
    elif kind == "carrier":
        limiter = _NO_LIMITER
    level = active_speech_level(spoken.low, spoken.low_rate_hz) if kind == "voice" else None
    peak = float(np.max(np.abs(spoken.wave))) if len(spoken.wave) else None
    active_dbfs = None if level is None else level.active_dbfs
    if level is not None:
        signal_rms: float | None = db_amplitude(level.active_dbfs)
    else:
        signal_rms = band_rms(spoken) if len(spoken.wave) else None
    if tone is not None and view.bare is not None and signal_rms is not None:
        # A tone that fills the over leaves no carrier without it: nothing then tells the noise.
        view.bare = None if band_rms(view.bare) > TONE_ITSELF_SHARE * signal_rms else view.bare
    noise = _noise_figures(view, from_pauses, signal_rms, modulated=kind != "carrier", overloaded=runs > 0)
    conditions = sound_conditions(runs, peak, kind, view.sound.seconds)
    if kind == "voice":
        conditions += speech_conditions(active_dbfs, noise.snr_db, part.active_s)
        if view.opening_s is not None:
            spoken_s = ((part.start_n or 0) / rate_hz, (part.end_n or 0) / rate_hz)
            view.conditions += level_control_conditions(view.sound.wave, rate_hz, view.opening_s, spoken_s)
        hidden = {name for cause, names in HIDES.items() if cause in conditions for name in names}
        conditions += [name for name in dict.fromkeys(view.conditions) if name not in hidden]
        conditions += _not_speech(view, spoken, noise)
        deviation = _stated_deviation(view, deviation, noise, conditions)
    if runs > 0:
        deviation, limiter = _no_deviation(limits), _NO_LIMITER
        view.notes.append(PEAKS_CUT)
    peak_dbfs = None if peak is None else amplitude_db(peak)
    return Over(
        start_s=0.0, end_s=0.0, kind=kind,
        speech_start_s=None if part.start_n is None else offset_s + part.start_n / rate_hz,
        speech_end_s=None if part.end_n is None else offset_s + part.end_n / rate_hz,
        level=Level(
            active_speech_dbfs=active_dbfs,
            activity=None if level is None else level.activity,
            crest_db=None if active_dbfs is None or peak_dbfs is None else peak_dbfs - active_dbfs,
        ),
        deviation=deviation, limiter=limiter, noise=noise, tone=tone, subaudible=None, end_beep=None,
        overload_runs=runs, conditions=tuple(conditions), notes=tuple(view.notes),
    )  # fmt: skip
