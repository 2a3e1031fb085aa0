"""A second simulated radio, designed apart from `audiotest/radio` and sharing no code with it.

What is modelled otherwise: pre-emphasis as an RC network with an upper corner; the limiter as an amplifier
between rails or a diode pair behind a resistor, at 384 kHz; splatter filters of op-amps with component
tolerances, of resistors and capacitors alone, or switched-capacitor elliptic; direct FM and a phase modulator
behind a leaky integrator; a channel filter with linear phase; a quadrature detector's bent curve; receivers
tapped at the discriminator, with a speaker amplifier, and digital ones; a sound card behind capacitors.
The scale is what a generator's 1 kHz tone at 60 % of the limit shows.
"""

from dataclasses import dataclass
from typing import Any

import numpy as np
import scipy.signal
import soxr
from numpy.typing import NDArray

CIRCUIT_HZ = 384_000
IQ_HZ = 96_000
FRAME_S = 0.02
Array = NDArray[np.float64]
Polynomials = tuple[list[float], list[float]]


@dataclass(frozen=True, kw_only=True)
class Sender:
    """A transmitter; times in seconds, tolerances as shares."""

    drive_db: float
    ceiling_khz: float
    preemphasis_us: float
    upper_corner_hz: float
    couplings_hz: tuple[float, ...]
    mic_headroom: float
    """Where the microphone amplifier bends, over the 99.9th percentile of speech in it."""
    limiter: str
    """rails, slow rails (a gain stage that rounds its corners), lopsided rails, diodes."""
    bend: float
    splatter: str
    """opamp, rc, switched."""
    order: int
    corner_hz: float
    tolerance: float
    integrator_hz: float
    """Below it the integrator before a phase modulator leaks; 0: direct FM."""
    whine_hz: float
    whine_share: float
    """An alternator on the supply, re the ceiling; 0: none."""
    pull_khz: float
    """How far the oscillator is off when it is keyed, gone in some 10 ms."""
    ambient_db: float
    seed: int


@dataclass(frozen=True, kw_only=True)
class Monitor:
    """A receiver and the sound card behind it."""

    kind: str
    """bare, tapped, speaker, line, digital."""
    bandwidth_khz: float
    mistune_khz: float
    cnr_db: float
    curve_khz: float
    """Where the detector's curve turns round; 0: an ideal one."""
    deemphasis_us: float
    low_hz: float
    low_order: int
    high_hz: float
    high_order: int
    squelched: bool
    opens_s: float
    tail_s: float
    rate_hz: int
    coupling_hz: float
    level_dbfs: float
    """Of the 99.9th percentile of the over."""
    drift_db: float
    noise_dbfs: float
    seed: int


@dataclass(frozen=True, kw_only=True)
class Moments:
    """Seconds of noise before the carrier, of carrier before and after the speech, of noise after it."""

    before_s: float
    lead_s: float
    after_s: float
    end_s: float


@dataclass(frozen=True, kw_only=True)
class Sent:
    """Deviation of an over at `CIRCUIT_HZ`, shape (n,): all of it and what speech causes; the truth."""

    khz: Array
    speech_khz: Array
    truth: dict[str, Any]


def through(x: Array, circuit: Polynomials, rate_hz: int = CIRCUIT_HZ) -> Array:
    """`x`, shape (n,), through a circuit H(s) of first or second order, its polynomials in s."""
    return np.asarray(scipy.signal.lfilter(*scipy.signal.bilinear(*circuit, fs=rate_hz), x))


def capacitor(x: Array, corner_hz: float, rate_hz: int = CIRCUIT_HZ) -> Array:
    """One coupling capacitor into a load."""
    return through(x, ([1.0, 0.0], [1.0, 2 * np.pi * corner_hz]), rate_hz)


def shunt(x: Array, corner_hz: float, rate_hz: int = CIRCUIT_HZ) -> Array:
    """One resistor and a capacitor to earth."""
    return through(x, ([2 * np.pi * corner_hz], [1.0, 2 * np.pi * corner_hz]), rate_hz)


def opamp_sections(
    order: int, corner_hz: float, tolerance: float, rng: np.random.Generator
) -> list[Polynomials]:
    """Sallen-Key low-pass sections of a Butterworth design, each part off by its tolerance."""
    made: list[Polynomials] = []
    for k in range(order // 2):
        angle = (2 * k + 1) / 2 if order % 2 == 0 else k + 1
        q = 1.0 / (2.0 * np.cos(np.pi * angle / order))
        off = 1.0 + tolerance * rng.uniform(-1.0, 1.0, 4)
        resistor, small = 10e3, 1.0 / (2 * np.pi * corner_hz * 10e3 * 2 * q)
        r1, r2 = resistor * off[0], resistor * off[1]
        c1, c2 = 4 * q * q * small * off[2], small * off[3]
        made.append(([1.0], [r1 * r2 * c1 * c2, c2 * (r1 + r2), 1.0]))
    if order % 2:
        made.append(([1.0], [(1.0 + tolerance * rng.uniform(-1.0, 1.0)) / (2 * np.pi * corner_hz), 1.0]))
    return made


def behind_splatter(x: Array, sender: Sender, rng: np.random.Generator) -> Array:
    """The limiter's output through the splatter filter."""
    if sender.splatter == "switched":
        sos = scipy.signal.ellip(sender.order, 0.3, 40.0, sender.corner_hz, fs=CIRCUIT_HZ, output="sos")
        return shunt(np.asarray(scipy.signal.sosfilt(sos, x)), 15e3)
    if sender.splatter == "opamp":
        for section in opamp_sections(sender.order, sender.corner_hz, sender.tolerance, rng):
            x = through(x, section)
        return x
    for _ in range(sender.order):
        # Ladder sections load each other; each alone, buffered, is near enough.
        x = shunt(x, sender.corner_hz * (1.0 + sender.tolerance * rng.uniform(-1.0, 1.0)))
    return x


def diode_pair(v: Array, bend: float) -> Array:
    """Voltage over two diodes behind a resistor: v = y + bend·sinh(y/bend·k); k makes it 1 dB short at 1."""
    y = np.linspace(0.0, 2.5, 8000)
    short = 10 ** (-1.0 / 20)
    # At v = 1: y = `short`, the rest is the current's voltage over the resistor.
    current = (1.0 - short) * np.sinh(y / bend) / np.sinh(short / bend)
    return np.sign(v) * np.interp(np.abs(v), y + current, y)


def limited(u: Array, sender: Sender) -> Array:
    """The limiter; its threshold is 1 (diodes: where their output is 1 dB short)."""
    if sender.limiter == "diodes":
        return diode_pair(u, sender.bend)
    if sender.limiter == "lopsided rails":
        return np.clip(u, -1.0 - sender.bend, 1.0)
    if sender.limiter == "slow rails":
        # Straight up to 1 - bend, then a parabola into the rail at 1 + bend.
        size, b = np.abs(u), sender.bend
        corner = np.clip(size, 1.0 - b, 1.0 + b) - (1.0 - b)
        return np.sign(u) * (np.minimum(size, 1.0 - b) + corner - corner**2 / (4.0 * b))
    return np.clip(u, -1.0, 1.0)


def active_frames(u: Array) -> NDArray[np.bool_]:
    """The contract's active speech: frames of 20 ms within 25 dB of the 98th percentile of frame RMS."""
    n = round(FRAME_S * CIRCUIT_HZ)
    rms = np.sqrt(np.mean(u[: len(u) // n * n].reshape(-1, n) ** 2, axis=1))
    return np.asarray(rms >= np.quantile(rms, 0.98) * 10 ** (-25 / 20))


def joined(x: Array, active: NDArray[np.bool_]) -> Array:
    """The active frames of `x`, shape (n,)."""
    n = round(FRAME_S * CIRCUIT_HZ)
    return x[: len(active) * n].reshape(-1, n)[active].ravel()


def to_the_limiter(voice: Array, sender: Sender, rng: np.random.Generator) -> Array:
    """A microphone's signal through amplifier and pre-emphasis, before the gain is set."""
    room = shunt(rng.standard_normal(len(voice)), 400.0)
    talking = np.abs(voice) > 0.05 * np.max(np.abs(voice))
    x = voice + room * np.std(voice[talking]) / np.std(room) * 10 ** (sender.ambient_db / 20)
    for corner_hz in sender.couplings_hz:
        x = capacitor(x, corner_hz)
    bends_at = sender.mic_headroom * np.quantile(np.abs(x[talking]), 0.999)
    x = x / np.sqrt(1.0 + (x / bends_at) ** 2)
    if sender.preemphasis_us > 0.0:
        # A capacitor across a resistor, into a load that sets the upper corner.
        zero_s, pole_s = sender.preemphasis_us * 1e-6, 1.0 / (2 * np.pi * sender.upper_corner_hz)
        x = through(x, ([zero_s, 1.0], [pole_s, 1.0]))
    return x


def send(voice: Array, voice_hz: int, sender: Sender, moments: Moments) -> Sent:
    """One over of speech, shape (n,), any unit."""
    rng = np.random.default_rng(sender.seed)
    speech = np.asarray(soxr.resample(voice, voice_hz, CIRCUIT_HZ), dtype=np.float64)
    lead_n, after_n = (round(s * CIRCUIT_HZ) for s in (moments.lead_s, moments.after_s))
    u = to_the_limiter(np.pad(speech, (lead_n, after_n)), sender, rng)
    active = active_frames(u)
    u *= 10 ** (sender.drive_db / 20) / np.quantile(np.abs(joined(u, active)), 0.999)
    said = behind_splatter(limited(u, sender), sender, rng)
    if sender.integrator_hz > 0.0:
        # The phase follows the leaky integral; its rate of change has lost what leaked.
        said = capacitor(said, sender.integrator_hz)
    said *= sender.ceiling_khz
    t = np.arange(len(u)) / CIRCUIT_HZ
    turns = sender.whine_hz * (t + 0.02 * np.sin(2 * np.pi * 0.3 * t))
    whine = np.sin(2 * np.pi * turns) + 0.4 * np.sin(4 * np.pi * turns)
    other = sender.ceiling_khz * sender.whine_share * whine + sender.pull_khz * np.exp(-t / 0.01)
    spoken, size = joined(said, active), np.abs(joined(u, active))
    truth = {
        "start_s": moments.before_s,
        "end_s": moments.before_s + len(u) / CIRCUIT_HZ,
        "drive_db": float(20 * np.log10(np.quantile(size, 0.999))),
        "clipped_fraction": float(np.mean(size > 1.0)),
        "peak_khz": float(np.max(np.abs(spoken))),
        "p999_khz": float(np.quantile(np.abs(spoken), 0.999)),
    }
    return Sent(khz=said + other, speech_khz=said, truth=truth)


def channel_taps(bandwidth_khz: float) -> Array:
    """A Kaiser-windowed low-pass for the complex baseband, half the channel filter's bandwidth."""
    count, beta = scipy.signal.kaiserord(60.0, 3000.0 / (IQ_HZ / 2))
    taps = scipy.signal.firwin(count | 1, bandwidth_khz * 500.0, window=("kaiser", beta), fs=IQ_HZ)
    return np.asarray(taps)


def noise_bandwidth_khz(taps: Array) -> float:
    """Width of the rectangle that lets as much noise through."""
    return float(np.sum(taps**2) / np.sum(taps) ** 2) * IQ_HZ / 1000.0


def detected(khz: Array, carrier: Array, monitor: Monitor, *, noisy: bool, rng: np.random.Generator) -> Array:
    """What the detector makes of a deviation at `IQ_HZ`, shape (n,), in kHz."""
    taps = channel_taps(monitor.bandwidth_khz)
    wave = carrier * np.exp(2j * np.pi * np.cumsum(khz + monitor.mistune_khz) * 1000.0 / IQ_HZ)
    if noisy:
        share = 1000.0 * noise_bandwidth_khz(taps) / IQ_HZ
        size = np.sqrt(10 ** (-monitor.cnr_db / 10) / share / 2.0)
        wave = wave + size * (rng.standard_normal(len(wave)) + 1j * rng.standard_normal(len(wave)))
    wave = scipy.signal.oaconvolve(wave, taps, mode="same")
    found = np.angle(wave[1:] * np.conj(wave[:-1])) * IQ_HZ / 2000.0 / np.pi
    found = np.append(found, found[-1])
    if monitor.curve_khz > 0.0:
        found = found / (1.0 + (found / monitor.curve_khz) ** 2)
    return np.asarray(found)


def audio_of(found: Array, gate: Array, monitor: Monitor) -> Array:
    """From the detector to the receiver's output, at `IQ_HZ`."""
    x = shunt(found, 10e3, IQ_HZ)
    if monitor.kind == "bare":
        return x
    if monitor.kind == "digital":
        taps = scipy.signal.firwin(
            2401, [monitor.low_hz, monitor.high_hz], pass_zero=False, window="hamming", fs=IQ_HZ
        )
        x = scipy.signal.oaconvolve(x, taps, mode="same")
    if monitor.deemphasis_us > 0.0:
        x = shunt(x, 1e6 / (2 * np.pi * monitor.deemphasis_us), IQ_HZ)
    x = x * gate
    if monitor.kind != "digital":
        for _ in range(monitor.low_order):
            x = capacitor(x, monitor.low_hz, IQ_HZ)
        q = 0.75
        for _ in range(monitor.high_order // 2):
            w = 2 * np.pi * monitor.high_hz
            x = through(x, ([w * w], [1.0, w / q, w * w]), IQ_HZ)
        for _ in range(monitor.high_order % 2):
            x = shunt(x, monitor.high_hz, IQ_HZ)
    if monitor.kind == "speaker":
        # The amplifier is near its end at full volume.
        x = 12.0 * np.tanh(x / 12.0)
    return x


def squelch_gate(carrier: Array, monitor: Monitor) -> Array:
    """When the squelch lets audio through."""
    gate = np.ones(len(carrier))
    if monitor.squelched:
        on = np.flatnonzero(carrier > 0.5)
        gate[: on[0] + round(monitor.opens_s * IQ_HZ)] = 0.0
        gate[on[-1] + round(monitor.tail_s * IQ_HZ) :] = 0.0
    return gate


def tone_scale(monitor: Monitor, limit_khz: float, rng: np.random.Generator) -> float:
    """Deviation over the output's amplitude, from a generator's tone of 1 kHz on the channel's middle."""
    t = np.arange(IQ_HZ) / IQ_HZ
    tone_khz = 0.6 * limit_khz * np.sin(2 * np.pi * 1000.0 * t)
    tuned = Monitor(**{**vars(monitor), "mistune_khz": 0.0})
    out = audio_of(detected(tone_khz, np.ones(len(t)), tuned, noisy=False, rng=rng), np.ones(len(t)), tuned)
    middle = slice(IQ_HZ // 4, IQ_HZ // 4 * 3)
    amplitude = 2.0 * np.abs(np.mean(out[middle] * np.exp(2j * np.pi * 1000.0 * t[middle])))
    return float(0.6 * limit_khz / amplitude)


def hear(
    sent: Sent, monitor: Monitor, moments: Moments, limit_khz: float
) -> tuple[NDArray[np.float32], dict[str, Any]]:
    """What the sound card gives, shape (n,) at full scale 1.0, and the truth with the feed's scale."""
    rng = np.random.default_rng(monitor.seed)
    khz = soxr.resample(sent.khz, CIRCUIT_HZ, IQ_HZ)
    before_n, end_n = (round(s * IQ_HZ) for s in (moments.before_s, moments.end_s))
    ramp = np.minimum(1.0, np.arange(len(khz)) / (0.003 * IQ_HZ))
    carrier = np.pad(ramp * ramp[::-1], (before_n, end_n))
    found = detected(np.pad(khz, (before_n, end_n)), carrier, monitor, noisy=True, rng=rng)
    out = audio_of(found, squelch_gate(carrier, monitor), monitor)
    loud = float(np.quantile(np.abs(out[before_n + IQ_HZ // 10 : -end_n - IQ_HZ // 10]), 0.999))
    gain = 10 ** (monitor.level_dbfs / 20) / loud
    drift = 10 ** (np.linspace(-0.5, 0.5, len(out)) * monitor.drift_db / 20)
    samples = soxr.resample(capacitor(gain * drift * out, monitor.coupling_hz, IQ_HZ), IQ_HZ, monitor.rate_hz)
    samples = samples + 10 ** (monitor.noise_dbfs / 20) * rng.standard_normal(len(samples))
    samples = np.clip(np.round(samples * 32768.0), -32768, 32767).astype(np.float32) / np.float32(32768.0)
    return samples, sent.truth | {"scale_khz_per_fs": tone_scale(monitor, limit_khz, rng) / gain}
