"""What an I/Q feed tells without any learned scale: deviation, carrier offset, AM depth."""

from dataclasses import dataclass

import numpy as np
import scipy.fft
from numpy.typing import NDArray

from audiotest.errors import MeasureError
from audiotest.measure.cycle import SEARCH_SHARE, Cycle, measure_cycle, tone_stands_out
from audiotest.measure.filters import bandpass
from audiotest.measure.level import overload_runs
from audiotest.measure.tone import find_steady_tone

CHANNEL_HZ = 12500.0
AUDIO_HIGH_HZ = 6000.0
AM_AUDIO_HIGH_HZ = 4500.0
EDGE_S = 0.01
"""Left out at both ends: what a filter makes of a cut."""
LEAST_S = 0.2
EDGE_SHARE = 0.1
CARRIER_BAND_HZ = 40.0
STEADY_CARRIER = 0.5
MOST_QUADRATURE = 0.1
"""Power beside the carrier's phase, re the carrier's: AM has none, FM little else."""
LEAST_STEADY_ENVELOPE = 0.82
"""Mean envelope squared over its mean square: 1 for FM, π/4 for noise (Rayleigh, textbook), 0.82 for a
carrier as strong as the noise in the channel; AM is below from two thirds of depth on."""
QUANTILE = 0.999
LEAST_OFFSET_HZ = 30.0
MOST_IMAGE = 10.0 ** (-36.0 / 20.0)
"""An image this strong moves a depth by up to 1.6 %."""

SILENT_BRANCH, SWINGING = 1e-4, 0.6
"""Power of a silent branch re the other, and of the swing re all in that: AM of 100 % that stands still in
one branch swings with a third."""
LEAST_SHARE, LEAST_SHARE_BESIDE = 0.01, 0.5
"""Of all power, in the tone that was asked for: 20 dB below the rest nothing of its waveform can be told.
Where another tone stands out, a harmonic of that one is not meant."""


@dataclass(frozen=True, slots=True, kw_only=True)
class FmReading:
    """Deviation in kHz from the carrier's mean frequency; ``tone`` is the cycle of a steady tone, if one.

    With a tone the peaks are the cycle's, free of noise; without, they are the largest seen. ``no_tone`` says
    so where a tone was asked for and is not there.
    """

    offset_hz: float
    positive_khz: float
    negative_khz: float
    peak_khz: float
    p999_khz: float
    rms_khz: float
    tone: Cycle | None
    no_tone: str | None


@dataclass(frozen=True, slots=True, kw_only=True)
class AmReading:
    """Modulation depth in percent of the carrier: up, down, and (max-min)/(max+min); tone as in FM."""

    offset_hz: float
    positive_percent: float
    negative_percent: float
    depth_percent: float
    tone: Cycle | None
    no_tone: str | None


def complex_feed(stereo: NDArray[np.floating], *, swapped: bool = False) -> NDArray[np.complex128]:
    """I/Q samples, shape (n,), of a stereo feed, shape (n, 2): left is I, right is Q, or the other way.

    A feed of another number of channels raises `MeasureError`.
    """
    if stereo.ndim != 2 or stereo.shape[1] != 2:
        raise MeasureError("an I/Q feed has two channels", "record I on the left and Q on the right channel")
    left, right = np.asarray(stereo, dtype=np.float64).T
    return np.asarray(right + 1j * left if swapped else left + 1j * right)


def feed_doubts(iq: NDArray[np.complexfloating], offset_hz: float) -> tuple[str, ...]:
    """What is wrong with an I/Q feed so that its figures are off, each with its cure; empty when nothing is.

    `iq` is complex, shape (n,), the carrier `offset_hz` from the middle. A carrier on 0 Hz cannot be told
    from the offset of the converters. Unequal branches show as an image: for z = s + k·s*, the mean of z²
    over that of |z|² is 2k when the carrier turns (textbook).

    >>> t = np.arange(48000) / 48000
    >>> feed_doubts(np.exp(2j * np.pi * 300 * t), 300.0)
    ()
    """
    z = np.asarray(iq, dtype=np.complex128)
    if overload_runs(z.real) + overload_runs(z.imag) > 0:
        # Cut tops make an image too; unequal branches would be the wrong thing to look for.
        return ("the sound card is overloaded, which spreads the signal; turn the input level down",)
    if abs(offset_hz) < LEAST_OFFSET_HZ:
        return (
            "the carrier stands on the receiver's centre, where the converters' offset adds to it; tune some "
            "hundred hertz beside it",
        )
    window = np.hanning(len(z) + 2)[1:-1]
    image = abs(np.sum(window * z * z)) / max(float(np.sum(window * np.abs(z) ** 2)), 1e-300) / 2.0
    if image < MOST_IMAGE:
        return ()
    return (
        f"the image is only {-20.0 * np.log10(image):.0f} dB down; make I and Q equally loud, and square to "
        "each other",
    )


def _centred(
    iq: NDArray[np.complexfloating], rate_hz: float, channel_hz: float
) -> tuple[NDArray[np.complex128], float]:
    """The strongest channel shifted to 0 Hz and filtered to ``channel_hz``, and where it stood in Hz."""
    z = np.asarray(iq, dtype=np.complex128)
    if len(z) < LEAST_S * rate_hz:
        raise MeasureError("too short for a carrier measurement", "record 0.2 s or more")
    if rate_hz < channel_hz:
        raise MeasureError(
            f"{rate_hz:g} samples a second hold {rate_hz / 1e3:g} kHz of the {channel_hz / 1e3:g} needed",
            "record I and Q at 48 kHz",
        )
    if not np.any(z):
        raise MeasureError("there is no signal", "check the receiver and both channels of the cable")
    if _one_branch(z):
        raise MeasureError("one of I and Q is silent", "check both channels of the cable")
    size = scipy.fft.next_fast_len(len(z))
    power = np.abs(scipy.fft.fft(z, size)) ** 2
    hz = scipy.fft.fftfreq(size, 1.0 / rate_hz)
    # The channel that holds the most power, then its centre of gravity over the noise around.
    width_n = max(1, min(size, round(channel_hz * size / rate_hz)))
    order = np.argsort(hz)
    running = np.cumsum(np.concatenate([[0.0], power[order]]))
    held = running[width_n:] - running[:-width_n]
    first = int(np.argmax(held))
    part = slice(first, first + width_n)
    above = np.maximum(power[order][part] - np.median(power), 0.0)
    centre_hz = float(np.sum(hz[order][part] * above) / max(float(np.sum(above)), 1e-300))
    shifted = z * np.exp(-2j * np.pi * centre_hz / rate_hz * np.arange(len(z)))
    return _narrowed(shifted, rate_hz, channel_hz / 2.0), centre_hz


def _one_branch(z: NDArray[np.complex128]) -> bool:
    """Whether one branch alone carries what turns; a carrier that stands still may lie in one branch."""
    weak, strong = sorted((z.real, z.imag), key=lambda branch: float(np.mean(branch**2)))
    power = float(np.mean(strong**2))
    return float(np.mean(weak**2)) < SILENT_BRANCH * power and float(np.var(strong)) > SWINGING * power


def _narrowed(z: NDArray[np.complex128], rate_hz: float, reach_hz: float) -> NDArray[np.complex128]:
    """Keep ±``reach_hz``, with a raised-cosine edge outside it; the ends are cut off."""
    size = scipy.fft.next_fast_len(len(z) + round(rate_hz / 100.0))
    hz = np.abs(scipy.fft.fftfreq(size, 1.0 / rate_hz))
    edge = np.clip((hz - reach_hz) / (EDGE_SHARE * reach_hz), 0.0, 1.0)
    gain = 0.5 + 0.5 * np.cos(np.pi * edge)
    cut_n = round(EDGE_S * rate_hz)
    return np.asarray(scipy.fft.ifft(scipy.fft.fft(z, size) * gain)[cut_n : len(z) - cut_n])


def measure_fm(
    iq: NDArray[np.complexfloating],
    rate_hz: float,
    *,
    channel_hz: float = CHANNEL_HZ,
    audio_high_hz: float = AUDIO_HIGH_HZ,
    tone_hz: float | None = None,
) -> FmReading:
    """Absolute frequency deviation and carrier offset.

    Parameters
    ----------
    iq : ndarray of complex, shape (n,)
        The modulated carrier around 0 Hz, any level, 0.2 s or more.
    rate_hz : float
        Sample rate in Hz, well above the channel.
    channel_hz : float
        Width that is kept around the emission before it is demodulated.
    audio_high_hz : float
        Modulation up to here counts.
    tone_hz : float or None
        A known test tone, which may lie deep in noise; None looks for one that stands out.

    Returns
    -------
    FmReading
        ``offset_hz`` is the mean frequency re the tuned one, the two ends weighted less so that a cut period
        does not shift it.

    Raises
    ------
    MeasureError
        Too short, silent, or nothing of steady strength: the phase of noise swings too, and is no deviation.

    Notes
    -----
    Instantaneous frequency is the phase's advance per sample over 2π (textbook): no scale is needed.
    """
    z, centre_hz = _centred(iq, rate_hz, max(channel_hz, 2.0 * audio_high_hz))
    envelope = np.abs(z)
    if np.mean(envelope) ** 2 < LEAST_STEADY_ENVELOPE * np.mean(envelope**2):
        raise MeasureError(
            "no FM carrier stands out of the noise, or it is not there all the time",
            "bring the receiver closer, keep only the part with carrier; for an AM set measure the depth",
        )
    step = np.angle(z[1:] * np.conj(z[:-1])) * rate_hz / (2.0 * np.pi)
    mean_hz = float(np.average(step, weights=np.hanning(len(step) + 2)[1:-1]))
    swing_khz = bandpass(step - mean_hz, rate_hz, 0.0, audio_high_hz) / 1e3
    cut_n = round(EDGE_S * rate_hz)
    swing_khz = swing_khz[cut_n:-cut_n]
    cycle, no_tone = _tone_in(swing_khz, rate_hz, tone_hz, audio_high_hz)
    positive = float(np.max(swing_khz)) if cycle is None else cycle.positive
    negative = float(-np.min(swing_khz)) if cycle is None else cycle.negative
    return FmReading(
        offset_hz=centre_hz + mean_hz,
        positive_khz=positive,
        negative_khz=negative,
        peak_khz=max(positive, negative),
        p999_khz=float(np.quantile(np.abs(swing_khz), QUANTILE)),
        rms_khz=float(np.sqrt(np.mean(swing_khz**2))),
        tone=cycle,
        no_tone=no_tone,
    )


def measure_am(
    iq: NDArray[np.complexfloating],
    rate_hz: float,
    *,
    channel_hz: float = 10000.0,
    audio_high_hz: float = AM_AUDIO_HIGH_HZ,
    tone_hz: float | None = None,
) -> AmReading:
    """Modulation depth of an AM emission, both ways, and its carrier offset.

    Parameters are those of `measure_fm`: `iq` is complex, shape (n,), full scale 1.0. The carrier itself is
    the reference: what is in phase with it, averaged over 25 ms, is the envelope, so that noise does not
    fill the troughs and a carrier driven through zero shows more than 100 % downwards.

    Raises
    ------
    MeasureError
        Too short, silent, or no steady carrier (an FM or SSB emission).

    Notes
    -----
    Depth up is max/mean - 1, down 1 - min/mean, and (max-min)/(max+min) in between (textbook).
    """
    z, centre_hz = _centred(iq, rate_hz, channel_hz)
    carrier_hz = _carrier_hz(z, rate_hz)
    turned = z * np.exp(-2j * np.pi * carrier_hz / rate_hz * np.arange(len(z)))
    carrier = _smooth(turned, rate_hz)
    cut_n = round(2.0 / CARRIER_BAND_HZ * rate_hz)
    carrier, turned = carrier[cut_n:-cut_n], turned[cut_n:-cut_n]
    level = np.abs(carrier)
    if len(level) < LEAST_S / 2.0 * rate_hz or np.min(level) < STEADY_CARRIER * np.sqrt(
        np.mean(np.abs(turned) ** 2)
    ):
        raise MeasureError("there is no steady carrier", "depth is for AM; for FM measure the deviation")
    product = turned * np.conj(carrier) / level / np.mean(level)
    beside = float(np.mean(product.imag**2))
    if beside > MOST_QUADRATURE and beside > 0.5 * float(np.var(product.real)):
        raise MeasureError("the carrier swings in phase", "depth is for AM; for FM measure the deviation")
    envelope = product.real
    audio = bandpass(envelope, rate_hz, 0.0, audio_high_hz)
    cycle, no_tone = _tone_in(audio, rate_hz, tone_hz, audio_high_hz)
    up = float(np.max(audio)) if cycle is None else cycle.positive
    down = float(-np.min(audio)) if cycle is None else cycle.negative
    return AmReading(
        offset_hz=centre_hz + carrier_hz,
        positive_percent=100.0 * up,
        negative_percent=100.0 * down,
        depth_percent=100.0 * (up + down) / (2.0 + up - down),
        tone=cycle,
        no_tone=no_tone,
    )


def _tone_in(
    audio: NDArray[np.float64], rate_hz: float, tone_hz: float | None, high_hz: float
) -> tuple[Cycle | None, str | None]:
    """The cycle of the tone asked for, or of the one that is found; or that what was asked for is not there.

    A carrier without modulation has no tone, only the noise of the discriminator.
    """
    steady_hz = find_steady_tone(audio, rate_hz)
    if tone_hz is None:
        found = None if steady_hz is None else measure_cycle(audio, rate_hz, steady_hz, high_hz=high_hz)
        return found, None
    beside = steady_hz is not None and abs(steady_hz - tone_hz) > SEARCH_SHARE * tone_hz
    if tone_stands_out(audio, rate_hz, tone_hz):
        cycle = measure_cycle(audio, rate_hz, tone_hz, high_hz=high_hz)
        least_share = LEAST_SHARE_BESIDE if beside else LEAST_SHARE
        if cycle.fundamental**2 / 2.0 >= least_share * float(np.var(audio)):
            return cycle, None
    other = f", but one at {steady_hz:.1f} Hz" if beside else ""
    return None, f"no tone at {tone_hz:g} Hz{other}"


def _carrier_hz(z: NDArray[np.complex128], rate_hz: float) -> float:
    """Frequency of the strongest line: Hann window, parabola through the log peak."""
    size = scipy.fft.next_fast_len(4 * len(z))
    power = np.log(np.maximum(np.abs(scipy.fft.fft(z * np.hanning(len(z)), size)) ** 2, 1e-300))
    k = int(np.argmax(power))
    left, mid, right = power[k - 1], power[k], power[(k + 1) % size]
    bend = left - 2.0 * mid + right
    shift = 0.5 * (left - right) / bend if bend < 0.0 else 0.0
    return float((k + shift - (size if k > size // 2 else 0)) * rate_hz / size)


def _smooth(z: NDArray[np.complex128], rate_hz: float) -> NDArray[np.complex128]:
    """The carrier alone: a Hann average over one period of ``CARRIER_BAND_HZ``."""
    window = np.hanning(round(rate_hz / CARRIER_BAND_HZ) + 2)[1:-1]
    size = scipy.fft.next_fast_len(len(z) + len(window))
    spread = scipy.fft.ifft(scipy.fft.fft(z, size) * scipy.fft.fft(window / np.sum(window), size))
    lag = len(window) // 2
    return np.asarray(spread[lag : lag + len(z)])
