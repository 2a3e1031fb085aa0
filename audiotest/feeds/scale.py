"""Learning what one full scale of a feed means in kilohertz of deviation."""

import math
from datetime import datetime

import numpy as np
from numpy.typing import NDArray

from audiotest.errors import MeasureError, RequestError
from audiotest.feeds.feedfile import load_feed, save_feed
from audiotest.measure.emphasis import USUAL_DEEMPHASIS_US, noise_slope_db_per_octave
from audiotest.measure.filters import emphasis_response
from audiotest.measure.ifband import HISS_BAND_HZ, HISS_BANDWIDTH_KHZ, density_rms, hiss_khz
from audiotest.measure.lean import power_density
from audiotest.measure.level import overload_runs
from audiotest.measure.tone import fit_sine
from audiotest.records import Feed
from audiotest.units import amplitude_db

__all__ = ["deemphasis_doubt", "learn_from_hiss", "learn_from_tone", "load_feed", "save_feed"]

FRAME_S = 0.1
TONE_TOLERANCE = 0.02
TONE_SHARE = 0.9
"""Share of the speech-band power that the tone must have: less is noise, speech or another tone."""
TONE_LEVEL_DB = 0.5
SHORTEST_TONE_S = 0.5
LONGEST_TONE_S = 20.0
PIECE_S = 0.25
FLOOR_UNCERTAINTY_DB = 0.1
"""Level drift and the passband ripple of sound cards; common practice, no source."""
NOISE_BAND_HZ = 3000.0
MIDDLE_HZ = (700.0, 1500.0)
OFF_MIDDLE_DB = 1.2
"""What a receiver's audio filters may take off a tone outside the middle of the band (simulated radio: 300 Hz
second-order high-pass, 3 kHz fourth-order low-pass, at 400 and 2500 Hz)."""

HISS_UNCERTAINTY_DB = 1.5
HISS_UNCERTAINTY_OUTSIDE_DB = 2.5
HISS_LEVEL_BAND_HZ = (300.0, 3400.0)
HISS_FRAME_S = 0.05
HISS_WANDER_DB = 2.0
"""Frames of true hiss scatter by 0.5 dB; speech and music by far more."""
SHORTEST_HISS_S = 1.0
HISS_QUIETEST_DBFS = -60.0
HISS_PEAK_LIMIT_DB = 9.0
"""A line of a tone stands out of averaged noise by much more."""
CLIPPED_SHARE_LIMIT = 0.01
"""Gaussian noise with one sample in a hundred clipped has lost 0.07 dB of its RMS value."""
FLAT_SLOPE_DB = (-2.0, 1.5)
FALLING_SLOPE_DB = (-7.5, -4.5)
SLOPE_DOUBT_DB = 2.5
"""dB per octave off what was stated; audio filters of receivers bend the slope less (`FLAT_SLOPE_DB`)."""


def learn_from_tone(
    samples: NDArray[np.floating],
    rate_hz: int,
    tone_hz: float,
    deviation_khz: float,
    deemphasis_us: float | None,
    name: str,
) -> Feed:
    """Learn the scale from a recorded tone of known peak deviation.

    Parameters
    ----------
    samples : ndarray, shape (n,)
        Full scale 1.0. The longest steady stretch of the tone counts; hiss or silence around it
        does no harm.
    rate_hz : int
        Sample rate.
    tone_hz, deviation_khz : float
        The tone, found within 2 %, and its peak deviation.
    deemphasis_us : float or None
        De-emphasis of the feed, undone relative to 1 kHz. None is "not stated": the scale is then the one
        at the tone's frequency.
    name : str
        Name of the feed.

    Returns
    -------
    Feed
        With the uncertainty (about 95 %) of the fitted amplitude, and of the receiver's audio filters unless
        the tone lies in 700-1500 Hz; that of the deviation itself comes on top.

    Raises
    ------
    RequestError
        On numbers that make no sense.
    MeasureError
        When the tone is absent, off frequency, buried in noise or overloads the sound card.
    """
    wide = _finite(samples)
    _require(0.0 < tone_hz < 0.45 * rate_hz, "tone", tone_hz, "Hz", "below the recording's upper end")
    _require(0.01 <= deviation_khz <= 100.0, "deviation", deviation_khz, "kHz", "from 0.01 to 100 kHz")
    _require_deemphasis(deemphasis_us)
    start_n, end_n = _tone_stretch(wide, rate_hz, tone_hz)
    if overload_runs(samples[start_n:end_n]) > 0:
        raise MeasureError(
            "the tone overloads the sound card", "lower the volume or the input level and record again"
        )
    amplitude, frequency_hz, relative_error = _tone_amplitude(wide[start_n:end_n], rate_hz, tone_hz)
    gain = 1.0 if deemphasis_us is None else float(_lift(np.array([frequency_hz]), deemphasis_us)[0])
    uncertainty_db = 2.0 * 20.0 * math.log10(1.0 + relative_error)
    middle = MIDDLE_HZ[0] <= frequency_hz <= MIDDLE_HZ[1]
    return Feed(
        name=name,
        method="tone",
        scale_khz_per_fs=deviation_khz / (amplitude * gain),
        scale_uncertainty_db=math.hypot(
            uncertainty_db, FLOOR_UNCERTAINTY_DB, 0.0 if middle else OFF_MIDDLE_DB
        ),
        deemphasis_us=deemphasis_us,
        tone_hz=tone_hz,
        deviation_khz=deviation_khz,
        if_bandwidth_khz=None,
        hiss_dbfs=None,
        learned=_today(),
    )


def learn_from_hiss(
    samples: NDArray[np.floating],
    rate_hz: int,
    if_bandwidth_khz: float,
    deemphasis_us: float | None,
    name: str,
) -> Feed:
    """Learn the scale, roughly, from open-squelch hiss without a carrier.

    The hiss of a discriminator depends on the IF noise bandwidth alone. Its density is taken in
    600-2200 Hz, which the audio filters of receivers leave alone.

    Parameters
    ----------
    samples : ndarray, shape (n,)
        Full scale 1.0; the longest steady stretch of its loudest part counts, 1 s at least.
    rate_hz : int
        Sample rate.
    if_bandwidth_khz : float
        Noise bandwidth of the receiver's IF, 3 to 50 kHz.
    deemphasis_us : float or None
        De-emphasis of the feed. None has it judged from the slope of the hiss: 0 when that is flat, 750 µs
        when it falls by about 6 dB per octave.
    name : str
        Name of the feed.

    Returns
    -------
    Feed
        With an uncertainty of 1.5 dB, or 2.5 dB outside 6 to 25 kHz, where the factor was not worked out.

    Raises
    ------
    RequestError
        On numbers that make no sense.
    MeasureError
        When there is no steady hiss, it overloads the sound card, or its slope fits no de-emphasis.
    """
    wide = _finite(samples)
    _require(3.0 <= if_bandwidth_khz <= 50.0, "IF bandwidth", if_bandwidth_khz, "kHz", "from 3 to 50 kHz")
    _require_deemphasis(deemphasis_us)
    start_n, end_n = _hiss_stretch(wide, rate_hz)
    hiss = wide[start_n:end_n]
    _refuse_clipped(hiss)
    hz, density = power_density(hiss, rate_hz, rate_hz // 25)
    _refuse_tonal(hz, density)
    judged = deemphasis_us is None
    if deemphasis_us is None:
        deemphasis_us = _judge_deemphasis(hiss, rate_hz)
    rms_fs = density_rms(hz, density, deemphasis_us)
    audible = (hz >= HISS_LEVEL_BAND_HZ[0]) & (hz <= HISS_LEVEL_BAND_HZ[1])
    in_table = HISS_BANDWIDTH_KHZ[0] <= if_bandwidth_khz <= HISS_BANDWIDTH_KHZ[-1]
    return Feed(
        name=name,
        method="hiss",
        scale_khz_per_fs=hiss_khz(if_bandwidth_khz) / rms_fs,
        scale_uncertainty_db=HISS_UNCERTAINTY_DB if in_table else HISS_UNCERTAINTY_OUTSIDE_DB,
        deemphasis_us=deemphasis_us,
        tone_hz=None,
        deviation_khz=None,
        if_bandwidth_khz=if_bandwidth_khz,
        hiss_dbfs=amplitude_db(math.sqrt(float(np.sum(density[audible])) * float(hz[1] - hz[0]))),
        learned=_today() + (", de-emphasis judged from the slope of the hiss" if judged else ""),
    )


def deemphasis_doubt(samples: NDArray[np.floating], rate_hz: int, stated_us: float) -> str | None:
    """Say in one line how the slope of open-squelch hiss contradicts a stated de-emphasis; None when it fits.

    Takes and refuses the samples, shape (n,), that `learn_from_hiss` takes and refuses. Hiss without a
    carrier is flat before de-emphasis (see `audiotest.measure.emphasis.estimate_deemphasis_us`).
    """
    start_n, end_n = _hiss_stretch(_finite(samples), rate_hz)
    slope = noise_slope_db_per_octave(samples[start_n:end_n], rate_hz)
    if slope is None:
        return None
    hz = np.linspace(*HISS_BAND_HZ, 81)
    expected = float(np.polyfit(np.log2(hz), -20.0 * np.log10(_lift(hz, stated_us)), 1)[0])
    if abs(slope - expected) <= SLOPE_DOUBT_DB:
        return None
    looks = ""
    if FLAT_SLOPE_DB[0] <= slope <= FLAT_SLOPE_DB[1]:
        looks = ", like that of a flat feed (0 µs)"
    elif FALLING_SLOPE_DB[0] <= slope <= FALLING_SLOPE_DB[1]:
        looks = f", like that of a de-emphasised feed ({USUAL_DEEMPHASIS_US:.0f} µs is usual)"
    return (
        f"the hiss changes by {slope:+.1f} dB per octave{looks}, where {stated_us:g} µs would give "
        f"{expected:+.1f}: the scale is wrong if the de-emphasis is"
    )


def _lift(hz: NDArray[np.float64], deemphasis_us: float) -> NDArray[np.float64]:
    """Gain that undoes the de-emphasis, 1 at 1 kHz."""
    return np.abs(emphasis_response(hz, deemphasis_us))


def _finite(samples: NDArray[np.floating]) -> NDArray[np.float64]:
    wide = np.asarray(samples, dtype=np.float64)
    if not np.all(np.isfinite(wide)):
        raise MeasureError("the recording holds samples that are no numbers", "record again as 16-bit WAV")
    return wide


def _require(holds: bool, what: str, value: float, unit: str, wanted: str) -> None:
    if not holds:  # false for NaN as well
        raise RequestError(f"{what} {value:g} {unit} cannot be", f"give one {wanted}")


def _require_deemphasis(deemphasis_us: float | None) -> None:
    if deemphasis_us is not None:
        _require(0.0 <= deemphasis_us <= 5000.0, "de-emphasis", deemphasis_us, "µs", "from 0 (flat) to 5000")


def _today() -> str:
    return datetime.now().astimezone().date().isoformat()


def _longest_run(good: NDArray[np.bool_]) -> tuple[int, int]:
    """First and last-plus-one index of the longest run of True; (0, 0) when there is none."""
    edges = np.flatnonzero(np.diff(np.concatenate([[False], good, [False]]).astype(np.int8)))
    starts, ends = edges[::2], edges[1::2]
    if len(starts) == 0:
        return 0, 0
    best = int(np.argmax(ends - starts))
    return int(starts[best]), int(ends[best])


def _tone_stretch(wide: NDArray[np.float64], rate_hz: int, tone_hz: float) -> tuple[int, int]:
    """Find the longest steady stretch in which the tone has nearly all of the power: first and end sample."""
    frame_n = round(FRAME_S * rate_hz)
    count = len(wide) // frame_n
    if count == 0:
        raise MeasureError(
            "the recording is too short", f"record {SHORTEST_TONE_S:.1f} s of the tone or more"
        )
    frames = wide[: count * frame_n].reshape(count, frame_n)
    window = np.hanning(frame_n)
    power = np.abs(np.fft.rfft(frames * window, axis=1)) ** 2
    hz = np.fft.rfftfreq(frame_n, 1.0 / rate_hz)
    lobe_hz = 2.0 / FRAME_S  # half the main lobe of the window
    near = np.abs(hz - tone_hz) <= TONE_TOLERANCE * tone_hz + lobe_hz
    heard = (hz >= min(200.0, 0.5 * tone_hz)) & (hz <= max(4000.0, 1.5 * tone_hz))
    tone = np.sum(power[:, near], axis=1)
    total = np.sum(power[:, heard | near], axis=1)
    pure = (tone >= TONE_SHARE * total) & (total > 0.0)
    if not np.any(pure):
        raise _no_tone(hz[heard], power[:, heard], tone_hz)
    level_db = 10.0 * np.log10(np.maximum(tone, 1e-300))
    start, end = _longest_run(pure)
    typical = float(np.median(level_db[start:end]))
    start, end = _longest_run(pure & (np.abs(level_db - typical) <= TONE_LEVEL_DB))
    if end - start >= 4:
        start, end = start + 1, end - 1  # the edges may hold the tone's beginning and end
    if (end - start) * FRAME_S < SHORTEST_TONE_S - 1e-9:
        raise MeasureError(
            f"the {tone_hz:g} Hz tone is not steady for {SHORTEST_TONE_S} s",
            "record a few seconds of it at a constant level",
        )
    end = min(end, start + round(LONGEST_TONE_S / FRAME_S))
    return start * frame_n, end * frame_n


def _no_tone(hz: NDArray[np.floating], power: NDArray[np.floating], tone_hz: float) -> MeasureError:
    """Say whether there is another tone, or none at all."""
    share = np.max(power, axis=1) / np.maximum(np.sum(power, axis=1), 1e-300)
    best = int(np.argmax(share))
    found_hz = float(hz[int(np.argmax(power[best]))])
    # The highest of the bins of a windowed sine holds two thirds of its power, or half when between two.
    if share[best] > 0.45 and abs(found_hz - tone_hz) > TONE_TOLERANCE * tone_hz:
        return MeasureError(
            f"no {tone_hz:g} Hz tone, but one near {found_hz:.0f} Hz", "give the tone's frequency"
        )
    return MeasureError(
        f"no clear {tone_hz:g} Hz tone in the recording",
        "it is missing or too noisy: use a stronger carrier and record again",
    )


def _tone_amplitude(wide: NDArray[np.float64], rate_hz: int, tone_hz: float) -> tuple[float, float, float]:
    """Peak amplitude and frequency of the tone, and the relative standard error of the amplitude."""
    piece_n = round(PIECE_S * rate_hz)
    fits = [fit_sine(wide[at : at + piece_n], rate_hz) for at in range(0, len(wide) - piece_n + 1, piece_n)]
    frequency_hz = float(np.median([fit.frequency_hz for fit in fits]))
    if abs(frequency_hz - tone_hz) > TONE_TOLERANCE * tone_hz:
        raise MeasureError(
            f"the tone is at {frequency_hz:.1f} Hz, not at {tone_hz:g} Hz", "give the tone's own frequency"
        )
    amplitudes = np.array([fit.amplitude for fit in fits])
    amplitude = float(np.mean(amplitudes))
    # var A >= 2 sigma^2 / N (Rife and Boorstyn 1974, from memory); band-limited noise has 2BT samples' worth.
    noise = float(np.mean([fit.residual_rms for fit in fits]))
    looks = max(2.0 * min(NOISE_BAND_HZ, 0.5 * rate_hz) * len(wide) / rate_hz, 1.0)
    fit_error = noise * math.sqrt(2.0 / looks)
    spread = float(np.std(amplitudes, ddof=1)) / math.sqrt(len(fits)) if len(fits) > 1 else 0.0
    return amplitude, frequency_hz, math.hypot(fit_error, spread) / amplitude


def _hiss_stretch(wide: NDArray[np.float64], rate_hz: int) -> tuple[int, int]:
    """Find the longest steady stretch at the level of the loud part: first and end sample."""
    frame_n = round(HISS_FRAME_S * rate_hz)
    count = len(wide) // frame_n
    if count * HISS_FRAME_S < SHORTEST_HISS_S:
        raise MeasureError("the recording is too short", "record 5 s of open-squelch hiss")
    frames = wide[: count * frame_n].reshape(count, frame_n)
    power = np.abs(np.fft.rfft(frames * np.hanning(frame_n), axis=1)) ** 2
    hz = np.fft.rfftfreq(frame_n, 1.0 / rate_hz)
    inside = (hz >= HISS_LEVEL_BAND_HZ[0]) & (hz <= HISS_LEVEL_BAND_HZ[1])
    # Hann window: the mean of its square is 3/8.
    mean_square = 2.0 * np.sum(power[:, inside], axis=1) / (0.375 * frame_n**2)
    level_db = 10.0 * np.log10(np.maximum(mean_square, 1e-20))
    loud_db = float(np.quantile(level_db, 0.8))
    if loud_db < HISS_QUIETEST_DBFS:
        raise MeasureError(
            f"the recording is too quiet for hiss ({loud_db:.0f} dBFS)",
            "open the squelch and raise the volume",
        )
    start, end = _longest_run(np.abs(level_db - loud_db) <= HISS_WANDER_DB)
    if (end - start) * HISS_FRAME_S < SHORTEST_HISS_S:
        raise MeasureError(
            f"no steady hiss for {SHORTEST_HISS_S:.0f} s", "record 5 s with the squelch open and no carrier"
        )
    return start * frame_n, end * frame_n


def _refuse_clipped(hiss: NDArray[np.float64]) -> None:
    if overload_runs(hiss) > 0:
        size = np.abs(hiss)
        if float(np.mean(size >= 0.999 * np.max(size))) > CLIPPED_SHARE_LIMIT:
            raise MeasureError("the hiss overloads the sound card", "lower the volume or the input level")


def _refuse_tonal(hz: NDArray[np.float64], density: NDArray[np.float64]) -> None:
    inside = (hz >= HISS_BAND_HZ[0]) & (hz <= HISS_BAND_HZ[1])
    level_db = 10.0 * np.log10(np.maximum(density[inside], 1e-300))
    slope = np.polyfit(np.log2(hz[inside]), level_db, 1)
    above_db = level_db - np.polyval(slope, np.log2(hz[inside]))
    if float(np.max(above_db)) > HISS_PEAK_LIMIT_DB:
        at_hz = float(hz[inside][int(np.argmax(above_db))])
        raise MeasureError(
            f"not hiss alone: there is a tone near {at_hz:.0f} Hz",
            "record with the squelch open and no carrier",
        )


def _judge_deemphasis(hiss: NDArray[np.float64], rate_hz: int) -> float:
    slope = noise_slope_db_per_octave(hiss, rate_hz)
    if slope is not None and FLAT_SLOPE_DB[0] <= slope <= FLAT_SLOPE_DB[1]:
        return 0.0
    if slope is not None and FALLING_SLOPE_DB[0] <= slope <= FALLING_SLOPE_DB[1]:
        return USUAL_DEEMPHASIS_US
    raise MeasureError(
        "the slope of the hiss fits neither a flat nor a de-emphasised feed",
        "name the de-emphasis with --deemphasis-us",
    )
