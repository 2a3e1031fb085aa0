"""Test tones: least-squares sine fit, SINAD, distortion, and whether a stretch is a tone at all."""

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import scipy.fft
from numpy.typing import NDArray

from audiotest.errors import MeasureError
from audiotest.measure.filters import apply_response, band_gain, limited_high_hz
from audiotest.measure.lean import convolved, hann
from audiotest.measure.weighting import weight_gain
from audiotest.records import Tone
from audiotest.units import amplitude_db, power_db

BAND_LOW_HZ = 300.0
BAND_HIGH_HZ = 3400.0
EDGE_TOLERANCE = 0.003
"""A tone set to exactly 300 Hz is in the band however its measured frequency falls."""
TONE_LOW_HZ = 285.0
"""Below this a steady line is a sub-audible tone (highest 254.1 Hz) or mains hum, not a test tone."""
TONE_HIGH_HZ = 3600.0
HARMONICS = range(2, 11)
SEGMENT_S = 1.0
LONGEST_S = 60.0
DRIFT_SHARE = 0.06
NEWTON_STEPS = 12
ENVELOPE_S = 0.01
KEYED_SHARE = 0.7
"""The tone is on where its envelope is above this share of the median one."""
MOST_OUTSIDE_SHARE = 0.25
SETTLING_S = 0.03
"""A second-order high-pass at 300 Hz has died away to nothing by then (textbook: e to the -39)."""
SETTLING_SHARE = 0.1


@dataclass(frozen=True, slots=True, kw_only=True)
class SineFit:
    """``amplitude·cos(2π·frequency_hz·t + phase) + offset`` with t = 0 at the first sample.

    ``phase`` is in radians; the others are in Hz or in the unit of the samples.
    """

    frequency_hz: float
    amplitude: float
    phase: float
    offset: float
    residual_rms: float


def _strongest_line_hz(samples: NDArray[np.float64], rate_hz: float, low_hz: float, high_hz: float) -> float:
    """Frequency of the strongest line between two limits: Hann window, parabola through the log peak."""
    size = scipy.fft.next_fast_len(4 * len(samples), real=True)
    level = np.abs(scipy.fft.rfft(samples * hann(len(samples)), size))
    first = max(1, int(np.ceil(low_hz * size / rate_hz)))
    last = min(len(level) - 2, int(high_hz * size / rate_hz))
    k = first + int(np.argmax(level[first : last + 1])) if last > first else first
    left, mid, right = np.log(np.maximum(level[k - 1 : k + 2], 1e-300))
    bend = left - 2.0 * mid + right
    shift = float(np.clip(0.5 * (left - right) / bend, -0.5, 0.5)) if bend < 0.0 else 0.0
    return float((k + shift) * rate_hz / size)


def _solve(columns: list[NDArray[np.float64]], samples: NDArray[np.float64]) -> NDArray[np.float64]:
    design = np.array(columns)
    return np.asarray(np.linalg.lstsq(design @ design.T, design @ samples, rcond=None)[0])


def _refine_hz(samples: NDArray[np.float64], rate_hz: float, frequency_hz: float) -> float:
    """Find the frequency by Gauss-Newton steps of the four-parameter fit, one resolution around the start."""
    count = len(samples)
    t = np.arange(count) / rate_hz
    # Times are centred and scaled: amplitude and frequency columns are then nearly orthogonal.
    centred = (t - t[-1] / 2.0) / max(t[-1], 1.0 / rate_hz)
    reach_hz = rate_hz / count
    f = frequency_hz
    for _ in range(NEWTON_STEPS):
        turn = 2.0 * np.pi * f * t
        cosine, sine = np.cos(turn), np.sin(turn)
        a, b, _, _ = _solve([cosine, sine, np.ones(count), np.zeros(count)], samples)
        slope = centred * (b * cosine - a * sine)
        if not np.any(slope):
            return frequency_hz
        slope /= np.sqrt(np.mean(slope**2))
        scale = np.sqrt(np.mean((centred * (b * cosine - a * sine)) ** 2))
        step = _solve([cosine, sine, np.ones(count), slope], samples)[3] / scale
        step_hz = float(step) / (2.0 * np.pi * max(t[-1], 1.0 / rate_hz))
        f = float(np.clip(f + step_hz, frequency_hz - reach_hz, frequency_hz + reach_hz))
        if abs(step_hz) < 1e-9 * rate_hz / count:
            break
    return f


def fit_sine(samples: NDArray[np.floating], rate_hz: float, frequency_hz: float | None = None) -> SineFit:
    """Least-squares sine of `samples`.

    Parameters
    ----------
    samples : ndarray, shape (n,)
        One channel, any unit; at least 4 samples, better several periods.
    rate_hz : float
        Sample rate in Hz.
    frequency_hz : float or None
        Known frequency, which is then kept (three-parameter fit); None searches it (four-parameter fit).

    Returns
    -------
    SineFit
        Frequency, amplitude, phase, offset and RMS of what is left.

    Raises
    ------
    MeasureError
        Fewer than 4 samples.

    Notes
    -----
    IEEE Std 1057, three- and four-parameter fits; the start value is the strongest line of a windowed FFT
    (Händel 2000, IEEE Trans. Instrum. Meas. 49, 1189-1193).

    >>> t = np.arange(480) / 48000
    >>> fit = fit_sine(0.5 * np.cos(2 * np.pi * 997.0 * t + 0.3) + 0.01, 48000)
    >>> round(fit.frequency_hz, 6), round(fit.amplitude, 9), round(fit.phase, 9), round(fit.offset, 9)
    (997.0, 0.5, 0.3, 0.01)
    """
    x = np.asarray(samples, dtype=np.float64)
    if len(x) < 4:
        raise MeasureError("a sine cannot be fitted to fewer than four samples", "record a longer tone")
    if frequency_hz is None:
        start_hz = _strongest_line_hz(x - np.mean(x), rate_hz, 0.0, rate_hz / 2.0)
        frequency_hz = _refine_hz(x, rate_hz, start_hz)
    turn = 2.0 * np.pi * frequency_hz * np.arange(len(x)) / rate_hz
    cosine, sine = np.cos(turn), np.sin(turn)
    a, b, c = _solve([cosine, sine, np.ones(len(x))], x)
    rest = x - a * cosine - b * sine - c
    return SineFit(
        frequency_hz=float(frequency_hz), amplitude=float(np.hypot(a, b)),
        phase=float(np.arctan2(-b, a)), offset=float(c), residual_rms=float(np.sqrt(np.mean(rest**2))),
    )  # fmt: skip


@dataclass(frozen=True, slots=True)
class _Parts:
    """A tone taken apart; ``harmonics`` 2 to 10 are complex amplitudes turned to the fundamental's phase."""

    frequency_hz: float
    power: float
    residual: NDArray[np.float64]
    harmonics: NDArray[np.complex128]


def _take_apart(samples: NDArray[np.float64], rate_hz: float) -> _Parts:
    """Fit segment by segment, so that a drifting clock or generator leaves no residual of its own."""
    high_hz = min(TONE_HIGH_HZ, rate_hz / 2.0)
    start_hz = _strongest_line_hz(samples - np.mean(samples), rate_hz, TONE_LOW_HZ, high_hz)
    count = max(1, round(len(samples) / (SEGMENT_S * rate_hz)))
    residual = np.empty(len(samples))
    harmonics = np.zeros(len(HARMONICS), dtype=np.complex128)
    power = weighted_hz = 0.0
    edges = np.linspace(0, len(samples), count + 1).round().astype(int)
    for low, high in pairwise(edges):
        part = samples[low:high]
        near_hz = _strongest_line_hz(
            part - np.mean(part), rate_hz, (1.0 - DRIFT_SHARE) * start_hz, (1.0 + DRIFT_SHARE) * start_hz
        )
        fit = fit_sine(part, rate_hz, _refine_hz(part, rate_hz, near_hz))
        wave = np.exp(1j * (2.0 * np.pi * fit.frequency_hz * np.arange(high - low) / rate_hz + fit.phase))
        rest = part - fit.amplitude * wave.real - fit.offset
        residual[low:high] = rest
        share = (high - low) / len(samples)
        power += share * fit.amplitude**2 / 2.0
        weighted_hz += share * fit.amplitude**2 / 2.0 * fit.frequency_hz
        harmonics += share * _harmonics(rest, wave, fit.frequency_hz, rate_hz)
    return _Parts(float(weighted_hz / power) if power > 0.0 else start_hz, float(power), residual, harmonics)


def _in_band(order: int, frequency_hz: float, rate_hz: float) -> bool:
    high_hz = limited_high_hz(rate_hz, BAND_HIGH_HZ)
    return (1.0 - EDGE_TOLERANCE) * BAND_LOW_HZ <= order * frequency_hz <= (1.0 + EDGE_TOLERANCE) * high_hz


def _harmonics(
    rest: NDArray[np.float64], wave: NDArray[np.complex128], frequency_hz: float, rate_hz: float
) -> NDArray[np.complex128]:
    """Complex amplitudes of harmonics 2 to 10 by one joint least-squares fit; 0 where out of band."""
    found = np.zeros(len(HARMONICS), dtype=np.complex128)
    inside = [order for order in HARMONICS if _in_band(order, frequency_hz, rate_hz)]
    if not inside:
        return found
    columns: list[NDArray[np.float64]] = []
    for order in inside:
        turned = wave**order
        columns += [turned.real, turned.imag]
    solved = _solve(columns, rest)
    for k, order in enumerate(inside):
        found[order - HARMONICS.start] = complex(solved[2 * k], -solved[2 * k + 1])
    return found


def steady_part(samples: NDArray[np.float64], rate_hz: float) -> NDArray[np.float64]:
    """The stretch of `samples`, shape (n,), in which the tone is on and settled.

    A tone keyed on or off inside the stretch that is fitted leaves there a residual as large as itself:
    10 ms in 6 s hold its SINAD below 28 dB. The ends are cut back to where the envelope at the tone's
    frequency is that of its middle, at most a quarter from each side, and by 30 ms (of a short tone a
    tenth) more for the filters' ringing.
    """
    count = len(samples)
    size_n = max(round(ENVELOPE_S * rate_hz), 2)
    first, last = 0, count
    if count >= 8 * size_n:
        high_hz = min(TONE_HIGH_HZ, rate_hz / 2.0)
        tone_hz = _strongest_line_hz(samples - np.mean(samples), rate_hz, TONE_LOW_HZ, high_hz)
        turn = np.exp(-2j * np.pi * tone_hz / rate_hz * np.arange(count))
        window = np.hanning(size_n + 2)[1:-1]
        envelope = np.abs(convolved((samples - np.mean(samples)) * turn, window))
        # The convolution fades by itself within half a window of the ends.
        fade, most = size_n // 2, round(MOST_OUTSIDE_SHARE * count)
        on = envelope >= KEYED_SHARE * float(np.median(envelope))
        first = _until_on(on[fade:most], fade)
        last = count - _until_on(on[::-1][fade:most], fade)
    guard_n = round(min(SETTLING_S * rate_hz, SETTLING_SHARE * (last - first)))
    return samples[first + guard_n : last - guard_n]


def _until_on(on: NDArray[np.bool_], fade_n: int) -> int:
    """Samples from an end to the last one of a run of "off" that touches it, 0 if the end itself is on."""
    off = np.flatnonzero(~on)
    return 0 if len(off) == 0 else fade_n + int(off[-1]) + 1


def measure_tone(samples: NDArray[np.floating], rate_hz: float) -> Tone:
    """Frequency, level, SINAD and harmonic distortion of a steady tone.

    Parameters
    ----------
    samples : ndarray, shape (n,)
        The tone and what disturbs it, full scale 1.0; 0.1 s or more. What lies before the tone comes on
        and after it goes off, up to a quarter on each side, is left out, and so are 30 ms of the tone there.
    rate_hz : float
        Sample rate in Hz, 6 kHz and up.

    Returns
    -------
    Tone
        ``level_dbfs`` is the RMS of the fundamental. SINAD is (S+N+D)/(N+D) within 300-3400 Hz, once flat
        and once with both branches through the network of ITU-T O.41. ``thd_percent`` is the root of the
        summed squares of harmonics 2 to 10 within 300-3400 Hz over the fundamental. A figure without
        meaning (no residual at all, fundamental or harmonics out of band) is None. Of more than a minute
        only the middle minute is measured.

    Raises
    ------
    MeasureError
        Fewer than 16 samples, or silence.

    Notes
    -----
    SINAD: Federal Standard 1037C, entry "SINAD". The fundamental is taken away by least squares before any
    filter sees it, so no filter's skirts or transients count as noise. Harmonics are averaged as complex
    amplitudes locked to the fundamental's phase: noise averages out, distortion does not.
    """
    x = np.asarray(samples, dtype=np.float64)
    if len(x) < 16:
        raise MeasureError("a tone cannot be measured on fewer than 16 samples", "record a longer tone")
    longest_n = round(LONGEST_S * rate_hz)
    skip_n = max(0, len(x) - longest_n) // 2
    parts = _take_apart(steady_part(x[skip_n : skip_n + longest_n], rate_hz), rate_hz)
    level = power_db(parts.power)
    if level is None or parts.power < 1e-20:
        raise MeasureError("there is no tone in the recording", "record the tone again")
    ratios = np.abs(parts.harmonics) / np.sqrt(2.0 * parts.power)
    inside = [_in_band(order, parts.frequency_hz, rate_hz) for order in HARMONICS]
    return Tone(
        frequency_hz=parts.frequency_hz,
        level_dbfs=level,
        sinad_db=_sinad_db(parts, rate_hz, psophometric=False),
        sinad_psophometric_db=_sinad_db(parts, rate_hz, psophometric=True),
        thd_percent=100.0 * float(np.sqrt(np.sum(ratios**2))) if any(inside) else None,
        harmonics_db=tuple(
            amplitude_db(float(ratio)) if use else None for ratio, use in zip(ratios, inside, strict=True)
        ),
    )


def _sinad_db(parts: _Parts, rate_hz: float, *, psophometric: bool) -> float | None:
    high_hz = limited_high_hz(rate_hz, BAND_HIGH_HZ)
    if not _in_band(1, parts.frequency_hz, rate_hz):
        return None

    def gain(hz: NDArray[np.float64]) -> NDArray[np.float64]:
        band = band_gain(hz, BAND_LOW_HZ, high_hz)
        return np.asarray(band * weight_gain("psophometric", hz) if psophometric else band)

    rest = float(np.mean(apply_response(parts.residual, rate_hz, gain) ** 2))
    weight = float(weight_gain("psophometric", np.array([parts.frequency_hz]))[0]) if psophometric else 1.0
    # The fit makes fundamental and residual orthogonal, so their powers add. 1e-20: rounding, not noise.
    signal = weight**2 * parts.power
    return power_db((signal + rest) / rest) if rest > 1e-20 * signal else None


STEADY_FRAME_S = 0.1
STEADY_STEPS_MOST = 120
LEAST_TONE_TO_REST = 1.6
"""Power of tone and harmonics over the rest in a frame; 6 dB SINAD is 2.98 on average over frames."""
FREQUENCY_WANDER_HZ = 1.2
FREQUENCY_WANDER_SHARE = 0.001
LEVEL_WANDER_DB = 1.5
STEADY_SHARE = 0.9
FREQUENCY_RANGE_SHARE = 0.05
LEVEL_RANGE_DB = 6.0
FAINTEST_TONE_DBFS = -65.0
MAIN_LOBE_BINS = 3


def find_steady_tone(samples: NDArray[np.floating], rate_hz: float) -> float | None:
    """Frequency in Hz of the one steady tone that `samples` hold, or None.

    Parameters
    ----------
    samples : ndarray, shape (n,)
        One channel, full scale 1.0; less than 0.2 s is never judged to be a tone.
    rate_hz : float
        Sample rate in Hz, 6 kHz and up.

    Returns
    -------
    float or None
        The tone's frequency, between 285 and 3600 Hz, if in nine of ten frames of 0.1 s the tone with its
        harmonics holds at least 1.6 times the power of all else in 280-3600 Hz (6 dB SINAD is 3 times)
        and neither frequency nor level moves from one frame to the next more than such noise explains.
        A voice fails on frequency, noise on power.

    Notes
    -----
    By the Cramér-Rao bound (Rife & Boorstyn 1974, IEEE Trans. Inf. Theory 20, 591-598) the frequencies of
    two frames at 6 dB SINAD in 3.1 kHz differ by 0.18 Hz r.m.s.; the window and noise that is stronger at
    the tone than elsewhere take their share of the 1.2 Hz allowed, and 0.1 % more is left for drift.
    """
    x = np.asarray(samples, dtype=np.float64)
    frame_n = round(STEADY_FRAME_S * rate_hz)
    if len(x) < 2 * frame_n:
        return None
    # Neighbouring frames for a short stretch; pairs of neighbours spread evenly over a long one.
    pairs = min(len(x) // frame_n - 1, STEADY_STEPS_MOST)
    starts = np.linspace(0, len(x) - 2 * frame_n, pairs).round().astype(int)
    frames = np.array([_tone_frames(x, start, frame_n, rate_hz) for start in starts])
    frequency, level_db, ratio = frames[:, :, 0], frames[:, :, 1], frames[:, :, 2]
    typical_hz = float(np.median(frequency))
    allowed_hz = FREQUENCY_WANDER_HZ + FREQUENCY_WANDER_SHARE * typical_hz
    calm = (
        (np.abs(frequency[:, 1] - frequency[:, 0]) <= allowed_hz)
        & (np.abs(level_db[:, 1] - level_db[:, 0]) <= LEVEL_WANDER_DB)
        & (np.min(ratio, axis=1) >= LEAST_TONE_TO_REST)
    )
    if np.mean(calm) < STEADY_SHARE:
        return None
    spread_hz = float(np.ptp(frequency[calm]))
    spread_db = float(np.ptp(level_db[calm]))
    if spread_hz > FREQUENCY_RANGE_SHARE * typical_hz + FREQUENCY_WANDER_HZ or spread_db > LEVEL_RANGE_DB:
        return None
    faint = float(np.median(level_db)) < FAINTEST_TONE_DBFS
    return None if faint or typical_hz < TONE_LOW_HZ else typical_hz


def _tone_frames(x: NDArray[np.float64], start: int, frame_n: int, rate_hz: float) -> list[list[float]]:
    """Frequency, amplitude in dB and tone-to-rest power ratio of two neighbouring frames."""
    return [_tone_frame(x[at : at + frame_n], rate_hz) for at in (start, start + frame_n)]


def _tone_frame(frame: NDArray[np.float64], rate_hz: float) -> list[float]:
    window = hann(len(frame))
    size = 4 * len(frame)
    power = np.abs(scipy.fft.rfft((frame - np.mean(frame)) * window, size)) ** 2
    hz = np.arange(len(power)) * rate_hz / size
    power[(hz < TONE_LOW_HZ - 5.0) | (hz > limited_high_hz(rate_hz, TONE_HIGH_HZ))] = 0.0
    total = float(np.sum(power))
    if total <= 0.0:
        return [0.0, -200.0, 0.0]
    k = int(np.argmax(power[1:-1])) + 1
    left, mid, right = np.log(np.maximum(power[k - 1 : k + 2], 1e-300))
    bend = left - 2.0 * mid + right
    shift = float(np.clip(0.5 * (left - right) / bend, -0.5, 0.5)) if bend < 0.0 else 0.0
    frequency = (k + shift) * rate_hz / size
    reach_hz = MAIN_LOBE_BINS * rate_hz / len(frame)
    nearest = np.abs(hz - frequency * np.maximum(np.round(hz / frequency), 1.0))
    fundamental = float(np.sum(power[np.abs(hz - frequency) <= reach_hz]))
    tone = float(np.sum(power[nearest <= reach_hz])) if frequency > 2.5 * reach_hz else fundamental
    level_db = 10.0 * np.log10(max(2.0 * fundamental * 2.0 / size / float(np.sum(window**2)), 1e-20))
    return [frequency, level_db, tone / max(total - tone, 1e-12 * total)]
