"""The transmitter's audio: microphone, pre-emphasis, limiter, splatter filter, deviation control."""

from dataclasses import dataclass

import numpy as np
import scipy.fft
import scipy.signal as sps
import soxr
from numpy.typing import NDArray

from audiotest.radio.settings import FilterFamily, Transmitter

Array = NDArray[np.float64]
ACTIVE_RANGE_DB = 25.0
FRAME_S = 0.02
ENVELOPE_HZ = 4000
SPEECH_HZ = 9000.0
"""Speech sources end at 8 kHz; pre-emphasis must not lift the resampler's leavings above."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Modulation:
    """Deviation in kHz over time at `rate_hz`, speech apart from what is added to it, with the truth.

    ``active`` are the frames of the limiter input that count by level, ambient noise included; ``spoken``
    those in which the talker speaks.
    """

    deviation_khz: Array
    speech_khz: Array
    rate_hz: int
    drive_db: float
    clipped_fraction: float
    active: NDArray[np.bool_]
    spoken: NDArray[np.bool_]
    beep_n: tuple[int, int] | None


def analogue_lowpass(family: FilterFamily, order: int, corner_hz: float, hz: Array) -> NDArray[np.complex128]:
    """Complex response of an analogue low-pass, in the shape of `hz` (0.5 dB ripple, 40 dB stop band)."""
    angular = 2.0 * np.pi * corner_hz
    if family == "bessel":
        b, a = sps.bessel(order, angular, analog=True, norm="mag")
    elif family == "chebyshev":
        b, a = sps.cheby1(order, 0.5, angular, analog=True)
    elif family == "elliptic":
        b, a = sps.ellip(order, 0.5, 40.0, angular, analog=True)
    else:
        b, a = sps.butter(order, angular, analog=True)
    s = 2j * np.pi * hz
    return np.asarray(np.polyval(b, s) / np.polyval(a, s))


def analogue_highpass(order: int, corner_hz: float, hz: Array) -> NDArray[np.complex128]:
    """Complex response of an analogue Butterworth high-pass, in the shape of `hz`."""
    b, a = sps.butter(order, 2.0 * np.pi * corner_hz, btype="highpass", analog=True)
    s = 2j * np.pi * hz
    return np.asarray(np.polyval(b, s) / np.polyval(a, s))


def emphasis(tau_us: float, hz: Array) -> NDArray[np.complex128]:
    """First-order pre-emphasis with unity gain at 1 kHz, in the shape of `hz`."""
    tau = tau_us * 1e-6
    return np.asarray((1 + 2j * np.pi * hz * tau) / abs(1 + 2j * np.pi * 1000.0 * tau))


def filtered(samples: Array, rate_hz: int, response: NDArray[np.complex128]) -> Array:
    """`samples`, shape (n,), through a response on the bins of `padded_bins`, or on the first: 0 above."""
    n = padded_length(len(samples))
    spectrum = scipy.fft.rfft(samples, n)[: len(response)]
    return np.asarray(scipy.fft.irfft(spectrum * response, n)[: len(samples)])


def padded_length(count: int) -> int:
    """FFT length with room for the tails of the filters."""
    return int(scipy.fft.next_fast_len(count + count // 64 + 4096, real=True))


def padded_bins(count: int, rate_hz: int) -> Array:
    """Frequencies of the bins that `filtered` uses for `count` samples, in Hz."""
    return np.asarray(np.fft.rfftfreq(padded_length(count), 1.0 / rate_hz))


def active_frames(v: Array, rate_hz: int) -> NDArray[np.bool_]:
    """20 ms frames within 25 dB of the 98th percentile of frame RMS, shape (n_frames,)."""
    n = round(rate_hz * FRAME_S)
    rms = np.sqrt(np.mean(v[: len(v) // n * n].reshape(-1, n) ** 2, axis=1))
    if len(rms) == 0 or not np.any(rms > 0):
        return np.zeros(len(rms), dtype=bool)
    return np.asarray(rms >= np.percentile(rms, 98) * 10 ** (-ACTIVE_RANGE_DB / 20))


def select(samples: Array, active: NDArray[np.bool_], rate_hz: int) -> Array:
    """The active frames of `samples`, shape (n,), joined; `active` has shape (n_frames,)."""
    n = round(rate_hz * FRAME_S)
    return samples[: len(active) * n].reshape(-1, n)[active].ravel()


def level_control(v: Array, rate_hz: int, attack_s: float, release_s: float) -> Array:
    """A levelling amplifier: its gain follows the envelope down quickly and up slowly, threshold 1."""
    step = max(1, rate_hz // ENVELOPE_HZ)
    envelope = np.abs(v[: len(v) // step * step].reshape(-1, step)).max(axis=1)
    fall = np.exp(-step / rate_hz / attack_s)
    rise = np.exp(-step / rate_hz / release_s)
    gain = np.empty(len(envelope))
    now = 1.0
    for k, value in enumerate(envelope):
        wanted = 1.0 / value if value > 1.0 else 1.0
        keep = fall if wanted < now else rise
        now = wanted + (now - wanted) * keep
        gain[k] = now
    return v * np.interp(np.arange(len(v)), np.arange(len(gain)) * step, gain)


def limit(v: Array, rate_hz: int, tx: Transmitter) -> Array:
    """The limiter, memoryless but for the levelling kinds; threshold 1."""
    if tx.limiter.startswith("levelling"):
        v = level_control(v, rate_hz, tx.attack_s, tx.release_s)
        return np.clip(v, -1.0, 1.0) if tx.limiter == "levelling+hard" else v
    if tx.limiter == "soft":
        return np.asarray(v / (1.0 + np.abs(v) ** tx.knee) ** (1.0 / tx.knee))
    if tx.limiter == "diode":
        # Two silicon junctions: linear below six tenths, logarithmic above.
        over = np.maximum(np.abs(v) - 0.6, 0.0)
        return np.asarray(np.where(np.abs(v) < 0.6, v, np.sign(v) * (0.6 + 0.2 * np.log1p(5.0 * over))))
    if tx.limiter == "lopsided":
        return np.clip(v, -(1.0 - tx.asymmetry), 1.0 + tx.asymmetry)
    return v if tx.limiter == "none" else np.clip(v, -1.0, 1.0)


def at_limiter(
    mic: Array, rate_hz: int, tx: Transmitter, rng: np.random.Generator
) -> tuple[Array, NDArray[np.bool_]]:
    """Pre-emphasised microphone signal before its gain is set, and the frames in which the talker speaks.

    Their shapes are (n,) and (n_frames,). Ambient noise has its level re the speech of the microphone, falls
    6 dB/octave above 300 Hz, and is part of the signal, but no speech.
    """
    hz = padded_bins(len(mic), rate_hz)
    hz = hz[hz < SPEECH_HZ]
    chain = analogue_highpass(2, tx.mic_highpass_hz, hz)
    if tx.preemphasis_us is not None:
        chain = chain * emphasis(tx.preemphasis_us, hz)
    speech = filtered(mic, rate_hz, chain)
    spoken = active_frames(speech, rate_hz)
    if tx.ambient_db is None:
        return speech, spoken
    level = np.sqrt(np.mean(select(mic, active_frames(mic, rate_hz), rate_hz) ** 2))
    n = padded_length(len(mic))
    room = scipy.fft.rfft(rng.standard_normal(len(mic)), n)[: len(hz)] * np.minimum(
        1.0, 300.0 / np.maximum(hz, 50.0)
    )
    # Parseval: a one-sided spectrum holds the mean square 2·Σ|X|²/n², here over the unpadded length.
    rms = np.sqrt(2.0 * np.sum(np.abs(room) ** 2) / n / len(mic))
    noise = scipy.fft.irfft(room * chain, n)[: len(mic)]
    return speech + noise * (level * 10 ** (tx.ambient_db / 20) / rms), spoken


def mic_gain(top: float, tx: Transmitter) -> float:
    """Gain before the limiter; `top` is the 99.9th percentile of |v| at unit gain."""
    if tx.mic_gain_db is not None:
        return float(10 ** (tx.mic_gain_db / 20))
    return float(10 ** ((tx.drive_db or 0.0) / 20) / top) if top > 0 else 0.0


def modulate(
    source: NDArray[np.floating],
    source_rate_hz: int,
    tx: Transmitter,
    *,
    rate_hz: int,
    lead_s: float,
    trail_s: float,
    rng: np.random.Generator,
) -> Modulation:
    """Deviation of one over: `lead_s` and `trail_s` of bare carrier around the speech.

    `source` is the speech, shape (n,), full scale 1.0. The limiter runs at `rate_hz`; at 192 kHz what its
    harmonics fold back is inaudible (see the tests).
    """
    speech = np.asarray(soxr.resample(np.asarray(source, dtype=np.float64), source_rate_hz, rate_hz))
    frame_n = round(rate_hz * FRAME_S)
    lead_n = round(lead_s * rate_hz / frame_n) * frame_n
    beep_n = round(tx.end_beep_s * rate_hz) if tx.end_beep_hz is not None else 0
    total = lead_n + len(speech) + beep_n + round(trail_s * rate_hz)
    mic = np.zeros(total)
    mic[lead_n : lead_n + len(speech)] = speech
    v, spoken = at_limiter(mic, rate_hz, tx, rng)
    active = active_frames(v, rate_hz)
    top = float(np.quantile(np.abs(select(v, active, rate_hz)), 0.999)) if active.any() else 0.0
    gain = mic_gain(top, tx)
    v = v * gain
    size = np.abs(select(v, active, rate_hz))
    t = np.arange(total) / rate_hz
    beep = None
    if tx.end_beep_hz is not None:
        beep = (lead_n + len(speech), lead_n + len(speech) + beep_n)
        v[beep[0] : beep[1]] = tx.end_beep_level * np.sin(2 * np.pi * tx.end_beep_hz * t[:beep_n])
    splatter = analogue_lowpass(*tx.splatter, padded_bins(total, rate_hz))
    said = tx.ceiling_khz * filtered(limit(v, rate_hz, tx), rate_hz, splatter)
    deviation = said.copy()
    for tone_hz, tone_khz in ((tx.hum_hz, tx.hum_khz), (tx.subaudible_hz, tx.subaudible_khz)):
        if tone_hz is not None:
            deviation += tone_khz * np.sin(2 * np.pi * tone_hz * t)
    return Modulation(
        deviation_khz=deviation,
        speech_khz=said,
        rate_hz=rate_hz,
        drive_db=float(20 * np.log10(max(top * gain, 1e-9))),
        clipped_fraction=float(np.mean(size > 1.0)) if len(size) else 0.0,
        active=active,
        spoken=spoken,
        beep_n=beep,
    )
