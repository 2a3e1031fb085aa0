"""A transmitter under test: millivolts into its microphone socket, deviation out, and what is true of it.

The socket is fed from a generator or a sound card through its attenuator, into a dummy load; a tone is kept
off the air unless the licence and a free channel allow it.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np
import scipy.fft
from numpy.typing import NDArray
from scipy.optimize import brentq

from audiotest.errors import RequestError
from audiotest.radio.bench import CLEAN_CARD
from audiotest.radio.link import BASEBAND_RATE_HZ
from audiotest.radio.receiver import audio_response, discriminate, receive
from audiotest.radio.settings import Receiver, SoundCard, Transmitter
from audiotest.radio.transmitter import (
    SPEECH_HZ,
    Array,
    Modulation,
    analogue_highpass,
    analogue_lowpass,
    emphasis,
    limit,
    modulate,
)

SOCKET_RATE_HZ = 48000
REFERENCE_HZ = 1000.0
NOISE_BAND_HZ = (300.0, 3400.0)
PERIOD_RATE_HZ = 3.072e6
"""Sampling of one period of a steady signal: fine enough that a clipped edge folds back below 1e-5."""
FAR_DB = 40.0


@dataclass(frozen=True, slots=True, kw_only=True)
class SetUnderTest:
    """A transmitter with a calibrated socket.

    ``onset_mv`` is the RMS voltage of a 1 kHz sine whose peak just reaches the limiter's threshold; it takes
    the place of the transmitter's ``drive_db`` and ``mic_gain_db``, and its ``ambient_db`` is not used.
    ``noise_mv`` is the amplifier's own noise re the socket, RMS in 300-3400 Hz, white; ``offset_hz`` is the
    error of the carrier's frequency.
    """

    transmitter: Transmitter = field(default_factory=Transmitter)
    onset_mv: float = 5.0
    noise_mv: float = 0.0
    offset_hz: float = 0.0

    def __post_init__(self) -> None:
        if not self.onset_mv > 0.0:
            raise RequestError(f"{self.onset_mv:g} mV is no onset", "give millivolts above zero")


@dataclass(frozen=True, slots=True, kw_only=True)
class Steady:
    """Deviation of a settled periodic signal: its peaks, and the amplitude of the line at each Hz."""

    positive_khz: float
    negative_khz: float
    lines_khz: dict[int, float]

    def line_khz(self, hz: float) -> float:
        """Amplitude of the line at `hz`, 0 where there is none."""
        return self.lines_khz.get(round(hz), 0.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class SteadyTone:
    """A settled tone: peak deviation, its fundamental and harmonics 2 to 10 re the fundamental."""

    peak_khz: float
    positive_khz: float
    negative_khz: float
    fundamental_khz: float
    harmonics_percent: tuple[float, ...]
    thd_percent: float


@dataclass(frozen=True, slots=True, kw_only=True)
class SocketTruth:
    """What is true of a set at 1 kHz.

    ``khz_per_mv`` is peak deviation per RMS millivolt far below the limiter; ``compression_1db_mv`` is where
    the fundamental is 1 dB less than that line says, None for a set that does not limit; ``ceiling_khz`` is
    the deviation of the limiter's threshold, ``saturated_khz`` the peak deviation 20 dB above the onset, the
    splatter filter's overshoot included.
    """

    onset_mv: float
    khz_per_mv: float
    compression_1db_mv: float | None
    ceiling_khz: float
    saturated_khz: float


def sines_mv(
    tones: Sequence[tuple[float, float]], seconds: float, rate_hz: int = SOCKET_RATE_HZ
) -> NDArray[np.float64]:
    """Test signal in millivolts at the socket, shape (n,): the sum of (frequency in Hz, RMS voltage in mV).

    >>> float(round(np.std(sines_mv([(1000.0, 3.0), (1600.0, 4.0)], 1.0)), 6))
    5.0
    """
    time_s = np.arange(round(seconds * rate_hz)) / rate_hz
    parts = [math.sqrt(2.0) * mv * np.sin(2.0 * np.pi * hz * time_s) for hz, mv in tones]
    return np.asarray(sum(parts, start=np.zeros(len(time_s))))


def transmit(
    signal_mv: NDArray[np.floating], rate_hz: int, unit: SetUnderTest, *, seed: int = 0
) -> Modulation:
    """Deviation that a test signal at the socket makes, the carrier up throughout.

    Parameters
    ----------
    signal_mv : ndarray of float, shape (n,)
        Instantaneous millivolts; zeros are a silent socket.
    rate_hz : int
        Sample rate of the signal in Hz.
    unit : SetUnderTest
        The set on the bench.
    seed : int
        Of the amplifier's noise.
    """
    rng = np.random.default_rng(seed)
    low, high = NOISE_BAND_HZ
    density = unit.noise_mv**2 / (high - low)
    noise = rng.standard_normal(len(signal_mv)) * math.sqrt(density * rate_hz / 2.0)
    transmitter = replace(
        unit.transmitter, drive_db=None, mic_gain_db=20.0 * math.log10(_gain(unit)), ambient_db=None
    )
    return modulate(
        signal_mv + noise, rate_hz, transmitter, rate_hz=BASEBAND_RATE_HZ, lead_s=0.0, trail_s=0.0, rng=rng
    )


def monitor(
    sent: Modulation, unit: SetUnderTest, receiver: Receiver, card: SoundCard | None = None, *, seed: int = 0
) -> NDArray[np.float32]:
    """Audio of a monitor receiver on the set's nominal frequency, the carrier up throughout.

    The error of the carrier adds to the receiver's own mistuning; without a card nothing is added. The audio
    has shape (n,), full scale 1.0.
    """
    rng = np.random.default_rng(seed)
    tuned = replace(receiver, mistune_khz=receiver.mistune_khz + unit.offset_hz / 1e3)
    on = np.ones(len(sent.deviation_khz))
    heard = discriminate(sent.deviation_khz, on, tuned, sent.rate_hz, rng)
    return receive(heard, on, tuned, card or CLEAN_CARD, sent.rate_hz, rng)


# -- what is true of it ----------------------------------------------------------------------------


def steady(
    unit: SetUnderTest, tones: Sequence[tuple[int, float]], *, through: Receiver | None = None
) -> Steady:
    """One period of a settled signal through the set's own equations, by its Fourier series.

    Parameters
    ----------
    unit : SetUnderTest
        The set on the bench.
    tones : sequence of (int, float)
        Frequency in whole Hz and RMS voltage in mV, as for `sines_mv`.
    through : Receiver or None
        Count the lines in this receiver's audio (kHz at 1 kHz) instead of on the carrier.

    Notes
    -----
    Independent of `transmit`: no resampler, no transient, sixteen times finer in time. Noise, hum and
    sub-audible tones are left out; the levelling kinds are taken as settled.
    """
    base_hz = math.gcd(*(hz for hz, _ in tones))
    count = 2 ** math.ceil(math.log2(PERIOD_RATE_HZ / base_hz))
    angle = 2.0 * np.pi * np.arange(count) / count
    gain = _gain(unit)
    v = np.zeros(count)
    for hz, mv in tones:
        response = _before_limiter(unit.transmitter, np.array([float(hz)]))[0]
        turn = hz // base_hz * angle + np.angle(response)
        v += gain * math.sqrt(2.0) * mv * abs(response) * np.sin(turn)
    spectrum = scipy.fft.rfft(_settled_limit(v, unit.transmitter)) / count
    lines_hz = float(base_hz) * np.arange(len(spectrum), dtype=np.float64)
    heard = lines_hz < BASEBAND_RATE_HZ / 2
    spectrum, lines_hz = spectrum[heard], lines_hz[heard]
    spectrum = spectrum * unit.transmitter.ceiling_khz
    spectrum *= analogue_lowpass(*unit.transmitter.splatter, lines_hz)
    if through is not None:
        spectrum *= audio_response(through, lines_hz)
    wave = scipy.fft.irfft(spectrum, count) * count
    size = 2.0 * np.abs(spectrum)
    lines = {round(hz): float(a) for hz, a in zip(lines_hz[1:], size[1:], strict=True) if a > 1e-9}
    return Steady(positive_khz=float(np.max(wave)), negative_khz=float(-np.min(wave)), lines_khz=lines)


def steady_tone(
    unit: SetUnderTest, tone_hz: int, rms_mv: float, *, through: Receiver | None = None
) -> SteadyTone:
    """Peak, fundamental and harmonics of one tone at one level; see `steady`.

    >>> unit = SetUnderTest(transmitter=Transmitter(ceiling_khz=2.0, splatter=("butterworth", 4, 3000.0)))
    >>> round(steady_tone(unit, 1000, 0.5).peak_khz, 3)
    0.2
    """
    found = steady(unit, [(tone_hz, rms_mv)], through=through)
    first = found.line_khz(tone_hz)
    harmonics = tuple(100.0 * found.line_khz(n * tone_hz) / first if first > 0 else 0.0 for n in range(2, 11))
    return SteadyTone(
        peak_khz=max(found.positive_khz, found.negative_khz),
        positive_khz=found.positive_khz,
        negative_khz=found.negative_khz,
        fundamental_khz=first,
        harmonics_percent=harmonics,
        thd_percent=math.hypot(*harmonics),
    )


def socket_truth(unit: SetUnderTest) -> SocketTruth:
    """Onset, slope, knee and ceiling of a set at 1 kHz."""
    hz = round(REFERENCE_HZ)
    far_mv = unit.onset_mv * 10 ** (-FAR_DB / 20)
    slope = steady_tone(unit, hz, far_mv).fundamental_khz / far_mv

    def compression_db(level_db: float) -> float:
        mv = unit.onset_mv * 10 ** (level_db / 20)
        return 20.0 * math.log10(slope * mv / steady_tone(unit, hz, mv).fundamental_khz)

    limits = compression_db(FAR_DB) > 1.0
    knee_db = brentq(lambda db: compression_db(db) - 1.0, -FAR_DB, FAR_DB, xtol=1e-3) if limits else None
    return SocketTruth(
        onset_mv=unit.onset_mv,
        khz_per_mv=slope,
        compression_1db_mv=None if knee_db is None else unit.onset_mv * 10 ** (float(knee_db) / 20),
        ceiling_khz=unit.transmitter.ceiling_khz,
        saturated_khz=steady_tone(unit, hz, 10.0 * unit.onset_mv).peak_khz,
    )


def response_db(unit: SetUnderTest, tone_hz: float) -> float:
    """Deviation per millivolt re 1 kHz, below the limiter: microphone high-pass, emphasis, splatter."""
    at = np.array([tone_hz, REFERENCE_HZ])
    size = np.abs(_before_limiter(unit.transmitter, at) * analogue_lowpass(*unit.transmitter.splatter, at))
    return float(20.0 * np.log10(size[0] / size[1]))


def slope_error_db(unit: SetUnderTest, tone_hz: float) -> float:
    """How far `response_db` stands above the 6 dB/octave line through 1 kHz."""
    return response_db(unit, tone_hz) - 20.0 * math.log10(tone_hz / REFERENCE_HZ)


def residual_khz(
    unit: SetUnderTest, low_hz: float, high_hz: float, *, through: Receiver | None = None
) -> float:
    """RMS deviation in a band with a silent socket: amplifier noise and hum, below the limiter."""
    tx = unit.transmitter
    hz = np.linspace(low_hz, min(high_hz, SPEECH_HZ), 2000)
    size = np.abs(_before_limiter(tx, hz) * analogue_lowpass(*tx.splatter, hz))
    if through is not None:
        size = size * np.abs(audio_response(through, hz))
    density = unit.noise_mv**2 / (NOISE_BAND_HZ[1] - NOISE_BAND_HZ[0])
    power = density * (_gain(unit) * tx.ceiling_khz) ** 2 * float(np.trapezoid(size**2, hz))
    if tx.hum_hz is not None and low_hz <= tx.hum_hz <= high_hz:
        hum = 1.0 if through is None else float(np.abs(audio_response(through, np.array([tx.hum_hz])))[0])
        power += (tx.hum_khz * hum) ** 2 / 2.0
    return math.sqrt(power)


def _before_limiter(tx: Transmitter, hz: Array) -> NDArray[np.complex128]:
    """Response from the socket to the limiter, 1 at 1 kHz but for the microphone high-pass."""
    response = analogue_highpass(2, tx.mic_highpass_hz, hz)
    return response if tx.preemphasis_us is None else response * emphasis(tx.preemphasis_us, hz)


def _gain(unit: SetUnderTest) -> float:
    """Limiter input per millivolt, so that the onset is exact at 1 kHz."""
    response = float(np.abs(_before_limiter(unit.transmitter, np.array([REFERENCE_HZ])))[0])
    return 1.0 / (math.sqrt(2.0) * unit.onset_mv * response)


def _settled_limit(v: Array, tx: Transmitter) -> Array:
    """The limiter on one period; a levelling amplifier has brought its peak down to the threshold."""
    if tx.limiter.startswith("levelling"):
        return v / max(1.0, float(np.max(np.abs(v))))
    return limit(v, round(PERIOD_RATE_HZ), tx)
