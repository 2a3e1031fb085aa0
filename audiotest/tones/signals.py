"""Test signals as samples: each of RMS 1 while it sounds, so that one level in millivolts fits all."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import scipy.fft
import soxr
from numpy.typing import NDArray
from scipy.signal import chirp

from audiotest.errors import RequestError
from audiotest.radio.voices import load_voice
from audiotest.standards import itu_t_g227
from audiotest.standards.tones import (
    DTMF_COLUMNS_HZ,
    DTMF_KEYS,
    DTMF_ROWS_HZ,
    FIVE_TONE_SETS,
    REPEATER_BURST_HZ,
    SUBAUDIBLE_HZ,
)

RATE_HZ = 48000
LOWEST_HZ, HIGHEST_HZ = 20.0, 20000.0
LONGEST_S = 60.0
"""Nothing sounds longer without being asked for again: a transmitter is keyed while it does."""
SPEECH_LOW_HZ, SPEECH_HIGH_HZ = 100.0, 4000.0
KEY_S, PAUSE_S = 0.08, 0.08
BURST_S = 0.3
ACTIVE_RANGE_DB = 25.0
SHORTEST_SPEECH_S = 0.1


@dataclass(frozen=True, slots=True, kw_only=True)
class Signal:
    """A test signal: samples of shape (n,) at ``rate_hz`` whose RMS while it sounds is 1.

    ``crest`` is its peak in the same unit; ``tones_hz`` are the steady tones in it, if it has any.
    """

    name: str
    samples: NDArray[np.float64]
    rate_hz: int
    crest: float
    tones_hz: tuple[float, ...] = ()

    @property
    def seconds(self) -> float:
        """Length."""
        return len(self.samples) / self.rate_hz


def _signal(
    name: str,
    samples: NDArray[np.floating],
    rate_hz: int,
    tones_hz: Sequence[float] = (),
    sounding: NDArray[np.bool_] | None = None,
) -> Signal:
    x = np.asarray(samples, dtype=np.float64)
    heard = x if sounding is None else x[sounding]
    rms = float(np.sqrt(np.mean(heard**2))) if len(heard) else 0.0
    if rms <= 0.0:
        raise RequestError(f"{name}: nothing to send", "ask for a longer signal")
    x = x / rms
    return Signal(
        name=name, samples=x, rate_hz=rate_hz, crest=float(np.max(np.abs(x))), tones_hz=tuple(tones_hz)
    )


def _times(seconds: float, rate_hz: int) -> NDArray[np.float64]:
    if not 0.0 < seconds <= LONGEST_S:
        raise RequestError(
            f"{seconds:g} s is no length for a test signal", f"ask for up to {LONGEST_S:g} s at a time"
        )
    return np.arange(round(seconds * rate_hz)) / rate_hz


def _require_hz(*frequencies_hz: float) -> None:
    for hz in frequencies_hz:
        if not LOWEST_HZ <= hz <= HIGHEST_HZ:
            raise RequestError(f"{hz:g} Hz is no audio tone", f"{LOWEST_HZ:g} to {HIGHEST_HZ:g} Hz")


def sine(hz: float, seconds: float, *, rate_hz: int = RATE_HZ) -> Signal:
    """One tone.

    >>> tone = sine(1000.0, 0.5)
    >>> round(tone.crest, 3), len(tone.samples)
    (1.414, 24000)
    """
    _require_hz(hz)
    t = _times(seconds, rate_hz)
    return _signal(f"{hz:g} Hz", np.sin(2.0 * np.pi * hz * t), rate_hz, (hz,))


def step_up(hz: float, rise_db: float, low_s: float, high_s: float, *, rate_hz: int = RATE_HZ) -> Signal:
    """One tone that grows by ``rise_db`` from one sample to the next, as a limiter's attack is tried.

    The RMS is that of the loud part; the phase goes on, so that nothing but the level jumps.
    """
    _require_hz(hz)
    t = _times(low_s + high_s, rate_hz)
    loud = t >= low_s
    tone = np.sin(2.0 * np.pi * hz * t) * np.where(loud, 1.0, 10.0 ** (-rise_db / 20.0))
    return _signal(f"{hz:g} Hz, +{rise_db:g} dB at once", tone, rate_hz, (hz,), sounding=loud)


def two_tone(
    low_hz: float, high_hz: float, seconds: float, *, ratio_db: float = 0.0, rate_hz: int = RATE_HZ
) -> Signal:
    """Two tones at once, the upper ``ratio_db`` above the lower; the RMS is that of both together."""
    _require_hz(low_hz, high_hz)
    t = _times(seconds, rate_hz)
    both = np.sin(2.0 * np.pi * low_hz * t) + 10.0 ** (ratio_db / 20.0) * np.sin(2.0 * np.pi * high_hz * t)
    return _signal(f"{low_hz:g} and {high_hz:g} Hz", both, rate_hz, (low_hz, high_hz))


def stepped(frequencies_hz: Sequence[float], each_s: float, *, rate_hz: int = RATE_HZ) -> Signal:
    """Tones one after the other, all of the same level, with a phase that does not jump."""
    _require_hz(*frequencies_hz)
    count = len(_times(each_s * max(len(frequencies_hz), 1), rate_hz)) // max(len(frequencies_hz), 1)
    phase = np.cumsum(2.0 * np.pi * np.repeat(np.asarray(frequencies_hz, dtype=float), count) / rate_hz)
    return _signal(f"{len(frequencies_hz)} steps", np.sin(phase), rate_hz, tuple(frequencies_hz))


def swept(low_hz: float, high_hz: float, seconds: float, *, rate_hz: int = RATE_HZ) -> Signal:
    """A tone that glides from one frequency to another, equal times per octave."""
    _require_hz(low_hz, high_hz)
    t = _times(seconds, rate_hz)
    glide = chirp(t, low_hz, seconds, high_hz, method="logarithmic", phi=-90.0)
    return _signal(f"{low_hz:g} to {high_hz:g} Hz", glide, rate_hz)


def speech_shape_db(hz: NDArray[np.float64]) -> NDArray[np.float64]:
    """Level of the conventional telephone signal over frequency, shape (n,), in dB re its formula's zero.

    ITU-T G.227, formula from memory, proved by its factors; see `audiotest.standards.itu_t_g227`.

    >>> speech_shape_db(np.array([600.0, 1000.0, 3000.0])).round(1).tolist()
    [-3.3, -4.8, -21.2]
    """
    p = 1j * np.asarray(hz, dtype=np.float64) / 1e3
    loss = np.abs(np.polyval(itu_t_g227.NUMERATOR, p) / np.polyval(itu_t_g227.DENOMINATOR, p))
    return np.asarray(-20.0 * np.log10(loss))


def speech_noise(seconds: float, *, seed: int = 1, rate_hz: int = RATE_HZ) -> Signal:
    """Gaussian noise with the spectrum of speech, ITU-T G.227, in 100 to 4000 Hz."""
    count = len(_times(seconds, rate_hz))
    hz = scipy.fft.rfftfreq(count, 1.0 / rate_hz)
    inside = (hz >= SPEECH_LOW_HZ) & (hz <= SPEECH_HIGH_HZ)
    gain = np.zeros(len(hz))
    gain[inside] = 10.0 ** (speech_shape_db(hz[inside]) / 20.0)
    white = scipy.fft.rfft(np.random.default_rng(seed).standard_normal(count))
    return _signal("speech-shaped noise", scipy.fft.irfft(white * gain, count), rate_hz)


def speech(name: str, seconds: float, *, start_s: float = 0.0, rate_hz: int = RATE_HZ) -> Signal:
    """A recorded voice of `audiotest.radio.voices`; the RMS is that of frames within 25 dB of the loudest.

    Raises
    ------
    RequestError
        No such voice, or it is over before ``start_s``.
    """
    samples, source_hz = load_voice(name)
    _times(seconds, rate_hz)
    part = samples[round(start_s * source_hz) : round((start_s + seconds) * source_hz)]
    if seconds < SHORTEST_SPEECH_S:
        raise RequestError(
            f"{seconds:g} s of a voice is no speech", f"ask for {SHORTEST_SPEECH_S:g} s or more"
        )
    if len(part) < SHORTEST_SPEECH_S * source_hz:
        raise RequestError(f"the voice {name!r} ends before {start_s:g} s", "start earlier")
    x = np.asarray(soxr.resample(np.asarray(part, dtype=np.float64), source_hz, rate_hz))
    frame_n = rate_hz // 50
    frames = x[: len(x) // frame_n * frame_n].reshape(-1, frame_n)
    rms = np.sqrt(np.mean(frames**2, axis=1))
    loud = np.quantile(rms, 0.98) * 10.0 ** (-ACTIVE_RANGE_DB / 20.0)
    sounding = np.zeros(len(x), dtype=bool)
    sounding[: frames.size] = np.repeat(rms >= loud, frame_n)
    return _signal(f"voice {name}", x, rate_hz, sounding=sounding)


def dtmf(keys: str, *, tone_s: float = KEY_S, pause_s: float = PAUSE_S, rate_hz: int = RATE_HZ) -> Signal:
    """Dual-tone keys, 80 ms each unless said otherwise; ITU-T Q.23 frequencies, both tones alike.

    A key that there is not raises `RequestError`.
    """
    wanted = keys.upper().replace(" ", "")
    if not wanted or any(key not in "".join(DTMF_KEYS) for key in wanted):
        raise RequestError(f"{keys!r} cannot be dialled", "digits, * and #, A to D")
    t = _times(tone_s, rate_hz)
    _times(len(wanted) * (tone_s + pause_s), rate_hz)
    pause = np.zeros(round(pause_s * rate_hz))
    parts = []
    for key in wanted:
        row = next(k for k, line in enumerate(DTMF_KEYS) if key in line)
        pair = (DTMF_ROWS_HZ[row], DTMF_COLUMNS_HZ[DTMF_KEYS[row].index(key)])
        parts += [sum(np.sin(2.0 * np.pi * hz * t) for hz in pair), pause]
    x = np.concatenate(parts)
    sounding = np.tile(np.arange(len(t) + len(pause)) < len(t), len(wanted))
    return _signal(f"keys {wanted}", _softened(x, sounding, rate_hz), rate_hz, sounding=sounding)


def five_tone(set_name: str, digits: str, *, rate_hz: int = RATE_HZ) -> Signal:
    """A call of a five-tone set of `audiotest.standards.tones`; equal neighbours take its repeat tone.

    A set that there is not, or a call that is no digits, raises `RequestError`.
    """
    tones = next((found for found in FIVE_TONE_SETS if found.name.casefold() == set_name.casefold()), None)
    if tones is None:
        names = ", ".join(found.name for found in FIVE_TONE_SETS)
        raise RequestError(f"there is no five-tone set {set_name!r}", f"choose one of {names}")
    if not digits.isdecimal() or not digits.isascii():
        raise RequestError(f"{digits!r} is no call", "digits only")
    sent: list[float] = []
    repeated = False
    for k, digit in enumerate(digits):
        repeated = k > 0 and digit == digits[k - 1] and not repeated
        sent.append(tones.repeat_hz if repeated else tones.digits_hz["1234567890".index(digit)])
    call = stepped(sent, tones.tone_s, rate_hz=rate_hz)
    return _signal(f"{tones.name} call {digits}", call.samples, rate_hz)


def subaudible(hz: float, seconds: float, *, rate_hz: int = RATE_HZ) -> Signal:
    """A continuous sub-audible tone, one of the fifty; another raises `RequestError`."""
    if not any(abs(hz - known) < 0.05 for known in SUBAUDIBLE_HZ):
        raise RequestError(f"{hz:g} Hz is no sub-audible tone", "one of 67.0 to 254.1 Hz as sets list them")
    return sine(hz, seconds, rate_hz=rate_hz)


def burst(seconds: float = BURST_S, *, rate_hz: int = RATE_HZ) -> Signal:
    """The 1750 Hz burst that opens amateur repeaters."""
    return sine(REPEATER_BURST_HZ, seconds, rate_hz=rate_hz)


def _softened(
    x: NDArray[np.float64], sounding: NDArray[np.bool_], rate_hz: int, ramp_s: float = 0.003
) -> NDArray[np.float64]:
    """Short ramps at each start and stop inside a signal, against clicks."""
    ramp = np.hanning(2 * round(ramp_s * rate_hz) + 1)
    gate = np.convolve(np.pad(sounding.astype(float), 1), ramp / ramp.sum(), mode="same")[1:-1]
    return np.asarray(x * np.clip(2.0 * gate - 1.0, 0.0, 1.0))
