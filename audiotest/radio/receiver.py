"""From the modulated carrier to samples: noise, IF filter, discriminator, audio, squelch, sound card."""

import numpy as np
import scipy.signal as sps
import soxr
from numpy.typing import NDArray

from audiotest.radio.settings import Receiver, SoundCard
from audiotest.radio.transmitter import (
    Array,
    analogue_highpass,
    analogue_lowpass,
    emphasis,
    filtered,
    padded_bins,
)

CARRIER_RAMP_S = 0.002
SOUNDCARD_HZ = 24000.0
"""Half the fastest sound card's rate; the resampler takes off what lies above."""
CODEC_RATE_HZ = 8000
AGC_TARGET_FS = 0.25


def if_filter(rx: Receiver, rate_hz: int) -> tuple[NDArray[np.float64], float]:
    """Second-order sections of the IF filter's baseband twin, shape (k, 6), and its noise bandwidth in Hz.

    The Butterworth corner is set so that the two-sided noise bandwidth of the band-pass is the one asked
    for: for order n it is π/(2n)/sin(π/(2n)) times the 3 dB bandwidth (textbook).
    """
    n = rx.if_order
    factor = np.pi / (2 * n) / np.sin(np.pi / (2 * n))
    corner_hz = rx.if_bandwidth_khz * 1e3 / 2.0 / factor
    return sps.butter(n, corner_hz, fs=rate_hz, output="sos"), rx.if_bandwidth_khz * 1e3


def carrier_wave(
    deviation_khz: Array, carrier: Array, mistune_khz: float, rate_hz: int
) -> NDArray[np.complex64]:
    """Complex baseband of the modulated carrier, z = carrier·exp(j2π∫f dt), shape as `deviation_khz`.

    `carrier` is its amplitude over time, 0 where the transmitter is off.
    """
    phase = np.cumsum(deviation_khz + mistune_khz) * (2e3 * np.pi / rate_hz)
    z = np.empty(len(phase), dtype=np.complex64)
    z.real = np.cos(phase)
    z.imag = np.sin(phase)
    z *= carrier.astype(np.float32)
    return z


def discriminate(
    deviation_khz: Array, carrier: Array, rx: Receiver, rate_hz: int, rng: np.random.Generator
) -> Array:
    """Discriminator output in kHz for a carrier of amplitude `carrier` with the given deviation.

    The carrier in complex baseband plus white complex noise, IF filter, phase step. With the carrier at zero
    the hiss of an open squelch arises by itself.
    """
    sos, band_hz = if_filter(rx, rate_hz)
    z = carrier_wave(deviation_khz, carrier, rx.mistune_khz, rate_hz)
    # Noise power N0·B = 1/ρ for a carrier of power 1; a sampled complex noise of variance σ² has N0 = σ²/fs.
    sigma = np.sqrt(10 ** (-rx.cnr_db / 10) * rate_hz / band_hz / 2.0)
    noise = rng.standard_normal((len(z), 2), dtype=np.float32).view(np.complex64)[:, 0]
    z += np.float32(sigma) * noise
    return phase_steps_khz(sps.sosfilt(sos.astype(np.float32), z).astype(np.complex64), rate_hz)


def phase_steps_khz(z: NDArray[np.complex64], rate_hz: int) -> Array:
    """The discriminator proper: frequency in kHz from the phase's advance between samples, shape as `z`."""
    step = np.angle(z[1:] * np.conj(z[:-1]))
    return np.concatenate([[0.0], step.astype(np.float64)]) * (rate_hz / 2e3 / np.pi)


def audio_response(rx: Receiver, hz: Array) -> NDArray[np.complex128]:
    """De-emphasis (unity at 1 kHz), coupling high-pass and audio low-pass of the receiver; shape of `hz`.

    Without a high-pass the discriminator is DC coupled: mistuning stands in the audio as an offset.
    """
    response = np.ones(len(hz), dtype=complex)
    if rx.deemphasis_us > 0:
        response /= emphasis(rx.deemphasis_us, hz)
    if rx.highpass_hz is not None:
        response *= analogue_highpass(rx.highpass_order, rx.highpass_hz, hz)
    if rx.lowpass_hz is not None:
        response *= analogue_lowpass(rx.lowpass, rx.lowpass_order, rx.lowpass_hz, hz)
    return response


def receive(
    discriminator_khz: Array,
    gate: Array,
    rx: Receiver,
    card: SoundCard,
    rate_hz: int,
    rng: np.random.Generator,
) -> NDArray[np.float32]:
    """Audio as the sound card delivers it, shape (n,); `gate`, shape (n,), is the squelch, 1 open, 0 shut."""
    hz = padded_bins(len(gate), rate_hz)
    hz = hz[hz < max(SOUNDCARD_HZ, card.sample_rate_hz / 2)]
    volts = filtered(discriminator_khz, rate_hz, audio_response(rx, hz))
    volts = volts * gate / rx.scale_khz_per_fs * 10 ** (card.gain_db / 20)
    samples = np.asarray(soxr.resample(volts, rate_hz, card.sample_rate_hz))
    return digitise(samples, card, rng)


def digitise(samples: Array, card: SoundCard, rng: np.random.Generator) -> NDArray[np.float32]:
    """Noise, mains and offset of the card, its automatic gain, overload, bits and a codec; shape (n,)."""
    rate_hz = card.sample_rate_hz
    samples = samples + card.dc_fs + 10 ** (card.noise_dbfs / 20) * rng.standard_normal(len(samples))
    if card.mains_hz is not None and card.mains_dbfs is not None:
        amplitude = np.sqrt(2.0) * 10 ** (card.mains_dbfs / 20)
        samples = samples + amplitude * np.sin(2 * np.pi * card.mains_hz * np.arange(len(samples)) / rate_hz)
    if card.agc:
        samples = automatic_gain(samples, rate_hz)
    if card.overload:
        samples = np.clip(samples, -card.full_scale, card.full_scale)
    if card.bits is not None:
        steps = 2.0 ** (card.bits - 1)
        samples = np.clip(np.round(samples * steps), -steps, steps - 1) / steps
    if card.codec:
        samples = narrow_codec(samples, rate_hz)
    return samples.astype(np.float32)


def automatic_gain(samples: Array, rate_hz: int) -> Array:
    """A recording program's automatic gain: fast down, slow up, towards a fixed level."""
    step = max(1, rate_hz // 200)
    blocks = samples[: len(samples) // step * step].reshape(-1, step)
    rms = np.sqrt(np.mean(blocks**2, axis=1))
    gain = np.empty(len(rms))
    now = 1.0
    for k, value in enumerate(rms):
        wanted = min(AGC_TARGET_FS / max(value, 1e-6), 30.0)
        now += (wanted - now) * (0.3 if wanted < now else 0.006)
        gain[k] = now
    return samples * np.interp(np.arange(len(samples)), np.arange(len(gain)) * step, gain)


def narrow_codec(samples: Array, rate_hz: int) -> Array:
    """A telephone leg: 8 kHz, µ-law with eight bits (ITU-T G.711's companding law, µ = 255)."""
    narrow = np.asarray(soxr.resample(samples, rate_hz, CODEC_RATE_HZ))
    mu = 255.0
    packed = np.sign(narrow) * np.log1p(mu * np.minimum(np.abs(narrow), 1.0)) / np.log1p(mu)
    packed = np.round(packed * 127.0) / 127.0
    wide = np.sign(packed) * np.expm1(np.abs(packed) * np.log1p(mu)) / mu
    return np.asarray(soxr.resample(wide, CODEC_RATE_HZ, rate_hz))
