"""Peak deviation that speech causes, with the receiver's noise taken out again."""

import math
from dataclasses import dataclass

import numpy as np
import scipy.fft
from numpy.typing import NDArray

from audiotest.measure.lean import power_density
from audiotest.measure.limiter import Drive


@dataclass(frozen=True, slots=True)
class Swing:
    """Deviation of active speech in the unit of the samples given (kHz when scaled)."""

    peak: float
    p999: float
    rms: float
    positive: float
    negative: float
    noisy_peak: float = math.inf
    noisy_p999: float = math.inf
    """The same two with the noise left in; infinite where they are not told."""
    unfiltered: bool = False
    """Whether no receiver's filter, undone or not, has touched the samples."""


HELPINGS = 2
DISAGREEMENT_DB = 6.0
"""Views of a peak that differ by this much halve the weight of the one that noise can lead astray."""
EQUAL_PEAKS_DB = 15.0
"""Drive from which on the limiter makes so many equal peaks that the highest one heard says nothing more."""
HEARD_SHARE = 0.5
"""How far at most what was heard counts against what the drive model expects. Of shares from 0.3 to 0.7 it
erred least on overs of the train and tune splits' talkers, through receivers with all, some and none of their
filters."""
MOST_OVER_HEARD = 10 ** (1.0 / 20)
"""What was sent is at most 1 dB higher than what stands behind undone filters with the noise left in: that
much may lie above the audio band. The drive model expected more of one in twenty such overs, and of a few
twice as much."""
SIMULATED_S = 20.0


def _statistics(samples: NDArray[np.floating]) -> NDArray[np.float64]:
    size = np.abs(samples)
    return np.array([np.max(size), np.quantile(size, 0.999), np.max(samples), np.max(-samples)])


def _noise_like(
    noise: NDArray[np.floating], count: int, sample_rate_hz: int, helpings: int, seed: int
) -> list[NDArray[np.float64]]:
    """Gaussian noises of `count` samples with the density of `noise`."""
    hz, density = power_density(noise, sample_rate_hz, sample_rate_hz // 50)
    size = scipy.fft.next_fast_len(count, real=True)
    grid = scipy.fft.rfftfreq(size, 1.0 / sample_rate_hz)
    gain = np.sqrt(np.interp(grid, hz, density) * sample_rate_hz / 2.0)
    rng = np.random.default_rng(seed)
    spectra = (scipy.fft.rfft(rng.standard_normal(size)) for _ in range(helpings))
    return [np.asarray(scipy.fft.irfft(spectrum * gain, size)[:count]) for spectrum in spectra]


def _noise_share(
    active: NDArray[np.floating], sample_rate_hz: int, noise: NDArray[np.floating]
) -> NDArray[np.float64]:
    """What is left of each statistic without noise, as a share of it; see `measure_swing`."""
    longest_n = round(SIMULATED_S * sample_rate_hz)
    parts = [active[at : at + longest_n] for at in range(0, len(active), longest_n)]
    # Of long speech two parts tell enough, its start and its middle.
    chosen = parts if len(parts) < 3 else [parts[0], parts[len(parts) // 2]]
    shares = []
    for part in (part for part in chosen if len(part) >= 0.2 * sample_rate_hz):
        plain = _statistics(part)
        extra = _noise_like(noise, len(part), sample_rate_hz, HELPINGS, len(part))
        # Each helping also turned over: as good as another one to peaks of both signs.
        extra += [-one for one in extra]
        once = np.mean([_statistics(part + e) for e in extra], axis=0)
        twice = np.mean([_statistics(part + np.sqrt(2.0) * e) for e in extra], axis=0)
        corrected = 3.0 * plain - 3.0 * once + twice
        shares.append(np.clip(corrected, 0.3 * plain, plain) / np.maximum(plain, 1e-12))
    return np.asarray(np.mean(shares, axis=0))


def measure_swing(
    active: NDArray[np.floating],
    sample_rate_hz: int,
    noise: NDArray[np.floating] | None,
    *,
    unfiltered: bool = False,
) -> Swing | None:
    """Peak, 99.9th percentile, RMS and both polarities of active speech, corrected for noise.

    Parameters
    ----------
    active : ndarray, shape (n,)
        Active speech at the discriminator (de-emphasis undone), in any linear unit.
    sample_rate_hz : int
        Sample rate in Hz.
    noise : ndarray, shape (m,), or None
        Bare carrier in the same unit; without it nothing is corrected.
    unfiltered : bool
        Whether no receiver's filter has touched the samples: handed on.

    Returns
    -------
    Swing or None
        None for less than 0.2 s of speech.

    Notes
    -----
    Simulation-extrapolation (Cook & Stefanski 1994, JASA 89, 1314-1328): the statistic is measured again
    with one and two further helpings of the same noise, and the parabola through the three is followed
    back to no noise at all. The RMS needs no simulation: noise power is subtracted.
    """
    if len(active) < 0.2 * sample_rate_hz:
        return None
    plain = noisy = _statistics(active)
    power = float(np.mean(np.square(active)))
    if noise is not None and len(noise) >= 0.05 * sample_rate_hz and float(np.std(noise)) > 0.0:
        plain = plain * _noise_share(active, sample_rate_hz, noise)
        power = max(power - float(np.var(noise)), 0.0)
    peak, p999, positive, negative = (float(value) for value in plain)
    return Swing(
        max(peak, p999), p999, float(np.sqrt(power)), positive, negative,
        noisy_peak=float(noisy[0]), noisy_p999=float(noisy[1]), unfiltered=unfiltered,
    )  # fmt: skip


def with_model(sent: Swing, active: NDArray[np.float64], drive: Drive | None) -> Swing:
    """Where hiss told the receiver's filters: what was heard and what the drive model expects, weighed.

    `active` is the received active speech, shape (n,), in the unit of `sent`. Noise and phase errors of the
    undone filters lift the highest of many equal peaks, the more the harder the limiter acts. The model knows
    those, but not this talker: under the limiter, where the two agree, their geometric mean errs least, far
    above it the model alone; but where nothing filters there are no such errors. What it expects beyond all
    that was heard, noise included, is no deviation.
    """
    if drive is None:
        return sent
    undone = float(np.clip(1.0 - drive.drive_db / EQUAL_PEAKS_DB, 0.0, 1.0))
    above = HEARD_SHARE * (1.0 if sent.unfiltered else undone)
    peak, p999 = _expected(active, drive)
    peak, p999 = min(peak, MOST_OVER_HEARD * sent.noisy_peak), min(p999, MOST_OVER_HEARD * sent.noisy_p999)
    return _with_peak(sent, _weighed(sent.peak, peak, above), _weighed(sent.p999, p999, above))


def by_model(active: NDArray[np.float64], swing: Swing | None, drive: Drive | None) -> Swing | None:
    """Without hiss: by what the drive model knows of filters and noise.

    `active` is the received active speech, shape (n,), in the unit of `swing`; None where neither tells.
    Unknown filters may lift the peaks heard by any amount, so that those above the model's say nothing.
    """
    if swing is None or drive is None:
        return swing
    peak, p999 = _expected(active, drive)
    return _with_peak(swing, _weighed(swing.peak, peak, 0.0), _weighed(swing.p999, p999, 0.0))


def _expected(active: NDArray[np.float64], drive: Drive) -> tuple[float, float]:
    """The sent peak and 99.9th percentile by the drive model."""
    received = float(np.quantile(np.abs(active), 0.999))
    return received * drive.peak_ratio, received * drive.p999_ratio


def _weighed(heard: float, expected: float, above: float) -> float:
    """Between two views of a peak: in decibels, a share of the way to `heard` if they agree, less if not.

    The share is `above` where the one heard is the higher, since filters, their phases and noise make a
    limited wave taller. Where it is lower than the model expects, the receiver has less of them than most:
    nothing filters behind a bare discriminator.
    """
    if heard <= 0.0 or expected <= 0.0:
        return max(heard, expected)
    apart_db = 20.0 * float(np.log10(heard / expected))
    weight = (above if apart_db > 0.0 else HEARD_SHARE) / (1.0 + (apart_db / DISAGREEMENT_DB) ** 2)
    return expected * float((heard / expected) ** weight)


def _with_peak(swing: Swing, peak: float, p999: float) -> Swing:
    """`swing` with another peak and 99.9th percentile; the two polarities keep their ratio."""
    peak = max(peak, p999)
    larger = max(swing.positive, swing.negative)
    share = peak / larger if larger > 0.0 else 0.0
    return Swing(peak, p999, swing.rms, share * swing.positive, share * swing.negative)
