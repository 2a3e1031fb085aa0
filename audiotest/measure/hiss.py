"""What the receiver's audio filters do to the deviation, told and undone by the receiver's own hiss."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from audiotest.measure.filters import apply_response, emphasis_response, minimum_phase
from audiotest.measure.lean import power_density

SHORTEST_S = 0.3
MOST_CLIPPED = 0.02
"""Share of samples at the extreme: noise cut off at twice its RMS keeps its density nearly."""
REFERENCE_HZ = (600.0, 1600.0)
LARGEST_LIFT = 4.0
"""12 dB: further down a filter has left more noise than speech."""
LOW_FADE_HZ = (45.0, 90.0)
"""Nothing of a voice is down there, and mains hum is."""
ROLL_OFF = 1.25
DROOP_DB_PER_KHZ2 = 0.1
USUAL_IF_KHZ = 10.0
DROOP_POWER = 1.3
GRID_N = 4096
LOWEST_SEEN_HZ = 95.0
BURIED = -3.5
"""30 dB down: below this the sound card's noise stands for the receiver's."""
LOWEST_LEVEL = 9.0
UNFILTERED_HZ = ((100.0, 250.0), (3600.0, 5000.0))
UNFILTERED_DB = 1.5
"""Hiss that stays within this at both ends has met no audio filter: a bare discriminator's output."""


@dataclass(frozen=True, slots=True)
class ReceiverInverse:
    """The inverse of de-emphasis, coupling capacitors and audio low-pass: complex gain over frequency."""

    hz: NDArray[np.float64]
    gain: NDArray[np.complex128]
    unfiltered: bool
    """Whether there is nothing to invert but the de-emphasis."""

    def apply(self, samples: NDArray[np.floating], sample_rate_hz: int) -> NDArray[np.float64]:
        """The discriminator's view of `samples`, shape (n,), unity gain at 1 kHz."""

        def response(hz: NDArray[np.float64]) -> NDArray[np.complex128]:
            real = np.interp(hz, self.hz, self.gain.real, right=0.0)
            return np.asarray(real + 1j * np.interp(hz, self.hz, self.gain.imag, right=0.0))

        return apply_response(samples, sample_rate_hz, response)


def _hiss_droop_db(hz: NDArray[np.float64], if_bandwidth_khz: float | None) -> NDArray[np.float64]:
    """How far the density of a discriminator's hiss has fallen at `hz`.

    A fit to simulated hiss of Butterworth IF filters from 7 to 16 kHz: within 0.3 dB up to 3.5 kHz.
    """
    narrow = (USUAL_IF_KHZ / (if_bandwidth_khz or USUAL_IF_KHZ)) ** DROOP_POWER
    return np.asarray(DROOP_DB_PER_KHZ2 * narrow * (hz / 1000.0) ** 2)


def _to_the_ends(
    hz: NDArray[np.float64], level: NDArray[np.float64], grid: NDArray[np.float64]
) -> NDArray[np.float64]:
    """The logarithmic gain `level` at `hz` on `grid`, its slopes continued where no noise shows it.

    The phase in the band owes much to how the gain goes on falling outside of it.
    """
    lowest = int(np.searchsorted(hz, LOWEST_SEEN_HZ))
    buried = np.flatnonzero((level < BURIED) & (hz > REFERENCE_HZ[1]))
    highest = int(buried[0]) if len(buried) else len(hz) - 1
    octaves = np.log2(np.maximum(grid, 1.0))
    known = np.interp(grid, hz[lowest : highest + 1], level[lowest : highest + 1])
    for edge, inner, outside in (
        (lowest, int(np.searchsorted(hz, 2.0 * hz[lowest])), grid < hz[lowest]),
        (highest, int(np.searchsorted(hz, 0.8 * hz[highest])), grid > hz[highest]),
    ):
        slope = (level[edge] - level[inner]) / np.log2(hz[edge] / hz[inner])
        known[outside] = level[edge] + slope * (octaves[outside] - np.log2(hz[edge]))
    return np.clip(known, -LOWEST_LEVEL, LOWEST_LEVEL)


def _is_flat(hz: NDArray[np.float64], level: NDArray[np.float64]) -> bool:
    """Whether the logarithmic gain `level` at `hz` is the same at both ends of the band as in its middle."""
    if hz[-1] < UNFILTERED_HZ[-1][1]:
        return False
    ends = [np.mean(level[(hz >= low) & (hz < high)]) for low, high in UNFILTERED_HZ]
    return bool(np.max(np.abs(ends)) < UNFILTERED_DB * np.log(10.0) / 20.0)


def receiver_inverse(
    hiss: NDArray[np.floating] | None,
    sample_rate_hz: int,
    deemphasis_us: float,
    *,
    high_hz: float,
    if_bandwidth_khz: float | None = None,
) -> ReceiverInverse | None:
    """Inverse of everything between discriminator and sound card, from open-squelch hiss.

    Parameters
    ----------
    hiss : ndarray, shape (n,), or None
        Hiss without a carrier, 0.3 s or more.
    sample_rate_hz : int
        Sample rate in Hz.
    deemphasis_us : float
        The feed's de-emphasis; what the hiss shows beyond it is filters.
    high_hz : float
        Undone up to here, nothing is left a quarter above.
    if_bandwidth_khz : float or None
        Noise bandwidth of the IF if known; 10 kHz is assumed otherwise.

    Returns
    -------
    ReceiverInverse or None
        None without a usable stretch of hiss.

    Notes
    -----
    Without a carrier the discriminator's noise is nearly flat over the audio band (Rice 1948), so its density
    after the audio filters is their squared gain. The phase is that of a minimum-phase network of this gain
    (real cepstrum; Oppenheim & Schafer, Discrete-Time Signal Processing): filters of coils, capacitors and
    resistors in ladder form are minimum-phase. The gain is undone by 12 dB at most.
    """
    if hiss is None or len(hiss) < SHORTEST_S * sample_rate_hz:
        return None
    size = np.abs(hiss)
    if float(np.mean(size >= 0.999 * np.max(size))) > MOST_CLIPPED:
        return None
    hz, density = power_density(hiss, sample_rate_hz, sample_rate_hz // 50)
    density = density * np.abs(emphasis_response(hz, deemphasis_us)) ** 2 if deemphasis_us > 0.0 else density
    reference = density[(hz > REFERENCE_HZ[0]) & (hz < REFERENCE_HZ[1])]
    if len(reference) < 4 or not np.all(reference > 0.0):
        return None
    level = np.log(np.maximum(density / np.exp(np.mean(np.log(reference))), 1e-12)) / 2.0
    level += _hiss_droop_db(hz, if_bandwidth_khz) * np.log(10.0) / 20.0
    # A second of hiss leaves half a decibel of chance in each 50 Hz: three neighbours share it.
    level[1:-1] = (level[:-2] + 2.0 * level[1:-1] + level[2:]) / 4.0
    grid = np.linspace(0.0, sample_rate_hz / 2.0, GRID_N // 2 + 1)
    end_hz = min(ROLL_OFF * high_hz, sample_rate_hz / 2.0)
    phase = np.angle(minimum_phase(_to_the_ends(hz, level, grid)))
    filters = np.maximum(np.interp(np.minimum(grid, high_hz), hz, level), -np.log(LARGEST_LIFT))
    low, high = LOW_FADE_HZ
    fade = np.clip((grid - low) / (high - low), 0.0, 1.0)
    fade *= 0.5 - 0.5 * np.cos(np.pi * np.clip((end_hz - grid) / (end_hz - high_hz), 0.0, 1.0))
    lift = emphasis_response(grid, deemphasis_us) if deemphasis_us > 0.0 else np.ones(len(grid), complex)
    return ReceiverInverse(grid, fade * lift * np.exp(-filters - 1j * phase), _is_flat(hz, level))
