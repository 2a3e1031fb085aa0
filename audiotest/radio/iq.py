"""The transmission before any discriminator: complex baseband of an FM or AM carrier, and its truth."""

from dataclasses import dataclass
from typing import Literal

import numpy as np
import scipy.fft
import soxr
from numpy.typing import NDArray

from audiotest.errors import RequestError
from audiotest.radio.link import BASEBAND_RATE_HZ, carrier_gate
from audiotest.radio.receiver import carrier_wave
from audiotest.radio.settings import Timing, Transmitter
from audiotest.radio.transmitter import Array, modulate

Complex = NDArray[np.complex64]
MOST_LOPSIDED = 5.0 / 3.0
"""Beyond this ratio of the peaks a fundamental and its second harmonic have other extremes."""


@dataclass(frozen=True, slots=True, kw_only=True)
class IqReceiver:
    """A receiver that delivers I and Q.

    ``offset_hz`` is where the carrier stands re the tuned frequency. ``cnr_db`` is carrier over noise in
    ``noise_band_hz``, None for no noise; ``carrier_fs`` is the amplitude of the unmodulated carrier. Q has
    ``gain_error_db`` more gain than I and is ``phase_error_deg`` off the right angle.
    """

    sample_rate_hz: int = 96000
    offset_hz: float = 0.0
    cnr_db: float | None = 50.0
    noise_band_hz: float = 12500.0
    carrier_fs: float = 0.4
    gain_error_db: float = 0.0
    phase_error_deg: float = 0.0
    dc_i_fs: float = 0.0
    dc_q_fs: float = 0.0
    bits: int | None = 16


@dataclass(frozen=True, slots=True, kw_only=True)
class IqTruth:
    """What was sent. FM: peak and RMS deviation re the carrier in kHz. AM: depths as fractions, 0.8 for 80 %.

    The depths are re the mean carrier, which over-modulation raises: ``carrier_mean`` is the mean envelope
    over the unmodulated carrier. ``depth`` is (max-min)/(max+min). Figures of the other kind are None.
    """

    kind: Literal["fm", "am"]
    offset_hz: float
    cnr_db: float | None
    positive_khz: float | None = None
    negative_khz: float | None = None
    rms_khz: float | None = None
    positive_depth: float | None = None
    negative_depth: float | None = None
    depth: float | None = None
    carrier_mean: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class IqSimulation:
    """Complex samples of shape (n,), full scale 1.0 in I and in Q, with the truth."""

    iq: Complex
    sample_rate_hz: int
    truth: IqTruth

    def stereo(self) -> NDArray[np.float32]:
        """Shape (n, 2), I left and Q right: what a sound card or a recording holds."""
        return np.stack([self.iq.real, self.iq.imag], axis=1)


def uneven_tone(tone_hz: float, positive: float, negative: float, seconds: float, rate_hz: int) -> Array:
    """A tone whose peaks are `positive` and ``-negative``, its mean zero: a cosine and its second harmonic.

    Raises
    ------
    RequestError
        One peak is more than 5/3 of the other: no second harmonic alone makes such a tone.
    """
    if max(positive, negative) > MOST_LOPSIDED * min(positive, negative) + 1e-12:
        raise RequestError(
            f"peaks of {positive:g} and {negative:g} are too unequal for a tone",
            "keep the larger within 5/3 of the smaller",
        )
    turn = 2.0 * np.pi * tone_hz * np.arange(round(seconds * rate_hz)) / rate_hz
    both = (positive + negative) / 2.0 * np.cos(turn)
    return np.asarray(both + (positive - negative) / 2.0 * np.cos(2.0 * turn))


def fm_iq(
    deviation_khz: Array, rate_hz: int, receiver: IqReceiver, *, seed: int, carrier: Array | None = None
) -> IqSimulation:
    """An FM carrier of the given deviation.

    Parameters
    ----------
    deviation_khz : ndarray of float, shape (n,)
        Instantaneous deviation re the carrier.
    rate_hz : int
        Sample rate of the deviation in Hz, 192 kHz for a limiter's output.
    receiver : IqReceiver
        Converters, bandwidth and faults of the receiver.
    seed : int
        Equal seeds give equal noise.
    carrier : ndarray of float, shape (n,), or None
        Amplitude over time, 1 when the transmitter is on; None is on throughout.
    """
    on = np.ones(len(deviation_khz)) if carrier is None else carrier
    wave = carrier_wave(deviation_khz, on, receiver.offset_hz / 1e3, rate_hz)
    sent = deviation_khz[on > 0.5]
    swing = sent if len(sent) else np.zeros(1)
    truth = IqTruth(
        kind="fm",
        offset_hz=receiver.offset_hz,
        cnr_db=receiver.cnr_db,
        positive_khz=float(np.max(swing)),
        negative_khz=float(-np.min(swing)),
        rms_khz=float(np.sqrt(np.mean(swing**2))),
    )
    return _received(wave, rate_hz, receiver, truth, seed)


def am_iq(modulation: Array, rate_hz: int, receiver: IqReceiver, *, seed: int) -> IqSimulation:
    """An AM carrier, envelope 1 + `modulation`, cut off at zero where that is negative.

    A modulated output stage cannot put out less than nothing: over-modulation downwards flattens the troughs.
    Parameters are those of `fm_iq`.
    """
    envelope = np.maximum(0.0, 1.0 + modulation)
    wave = carrier_wave(np.zeros(len(envelope)), envelope, receiver.offset_hz / 1e3, rate_hz)
    mean, top, low = (float(value) for value in (np.mean(envelope), np.max(envelope), np.min(envelope)))
    truth = IqTruth(
        kind="am",
        offset_hz=receiver.offset_hz,
        cnr_db=receiver.cnr_db,
        positive_depth=top / mean - 1.0,
        negative_depth=1.0 - low / mean,
        depth=(top - low) / (top + low),
        carrier_mean=mean,
    )
    return _received(wave, rate_hz, receiver, truth, seed)


def fm_tone_iq(
    tone_hz: float,
    deviation_khz: float,
    seconds: float,
    receiver: IqReceiver,
    *,
    seed: int,
    negative_khz: float | None = None,
) -> IqSimulation:
    """A tone of exact deviation, the same both ways unless `negative_khz` says otherwise."""
    negative = deviation_khz if negative_khz is None else negative_khz
    tone = uneven_tone(tone_hz, deviation_khz, negative, seconds, BASEBAND_RATE_HZ)
    return fm_iq(tone, BASEBAND_RATE_HZ, receiver, seed=seed)


def am_tone_iq(
    tone_hz: float,
    depth: float,
    seconds: float,
    receiver: IqReceiver,
    *,
    seed: int,
    negative_depth: float | None = None,
) -> IqSimulation:
    """A tone of this modulation depth (0.8 for 80 %), the same both ways unless `negative_depth` differs.

    A depth above 1 over-modulates: see `am_iq`.
    """
    negative = depth if negative_depth is None else negative_depth
    tone = uneven_tone(tone_hz, depth, negative, seconds, BASEBAND_RATE_HZ)
    return am_iq(tone, BASEBAND_RATE_HZ, receiver, seed=seed)


def over_iq(
    source: NDArray[np.floating],
    source_rate_hz: int,
    transmitter: Transmitter,
    receiver: IqReceiver,
    timing: Timing,
    *,
    seed: int,
) -> IqSimulation:
    """The over that `link.simulate` sends, as I/Q; its truth counts all that is on the carrier.

    `source` is the speech into the microphone, shape (n,), full scale 1.0.

    The random numbers for a room's noise are those of `link.simulate` with the same seed.
    """
    rate = BASEBAND_RATE_HZ
    sent = modulate(
        source, source_rate_hz, transmitter, rate_hz=rate, lead_s=timing.bare_carrier_s,
        trail_s=timing.after_s, rng=np.random.default_rng(seed),
    )  # fmt: skip
    before_n, end_n = round(timing.before_s * rate), round(timing.end_s * rate)
    segments = [(before_n, False), (len(sent.deviation_khz), True), (end_n, False)]
    deviation = np.concatenate([np.zeros(before_n), sent.deviation_khz, np.zeros(end_n)])
    return fm_iq(deviation, rate, receiver, seed=seed, carrier=carrier_gate(segments, rate))


def beat_note(iq: NDArray[np.complexfloating], sample_rate_hz: int, pitch_hz: float) -> NDArray[np.float32]:
    """Audio of a CW receiver, shape as `iq`: a carrier on the tuned frequency is heard at `pitch_hz`.

    The filter passes 300 to 3000 Hz of the upper sideband only, so a carrier that is off by f is heard at
    ``pitch_hz + f``, and the sidebands of a tone stand around it.
    """
    size = int(scipy.fft.next_fast_len(len(iq)))
    turned = iq * np.exp(2j * np.pi * pitch_hz / sample_rate_hz * np.arange(len(iq)))
    hz = scipy.fft.fftfreq(size, 1.0 / sample_rate_hz)
    spectrum = scipy.fft.fft(turned, size)
    spectrum[(hz < 300.0) | (hz > 3000.0)] = 0.0
    return np.asarray(scipy.fft.ifft(spectrum)[: len(iq)].real, dtype=np.float32)


def _received(wave: Complex, rate_hz: int, receiver: IqReceiver, truth: IqTruth, seed: int) -> IqSimulation:
    """The carrier at the receiver's rate, with its noise and what the two branches do to it."""
    pair = np.stack([wave.real, wave.imag], axis=1)
    if rate_hz != receiver.sample_rate_hz:
        pair = soxr.resample(pair, rate_hz, receiver.sample_rate_hz)
    i, q = pair.astype(np.float64).T
    if receiver.cnr_db is not None:
        # Complex noise of variance σ² at a rate fs has the density σ²/fs; the carrier's power is 1.
        power = 10 ** (-receiver.cnr_db / 10) * receiver.sample_rate_hz / receiver.noise_band_hz
        noise = np.random.default_rng(seed).standard_normal((2, len(i))) * np.sqrt(power / 2.0)
        i, q = i + noise[0], q + noise[1]
    error = np.deg2rad(receiver.phase_error_deg)
    q = 10 ** (receiver.gain_error_db / 20) * (q * np.cos(error) + i * np.sin(error))
    branches = [receiver.carrier_fs * i + receiver.dc_i_fs, receiver.carrier_fs * q + receiver.dc_q_fs]
    if receiver.bits is not None:
        steps = 2.0 ** (receiver.bits - 1)
        branches = [np.clip(np.round(branch * steps), -steps, steps - 1) / steps for branch in branches]
    samples = (branches[0] + 1j * branches[1]).astype(np.complex64)
    return IqSimulation(iq=samples, sample_rate_hz=receiver.sample_rate_hz, truth=truth)
