"""What the drive model looks at: the discriminator's waveform in several views, and figures of the whole.

A limiter leaves flat tops. The receiver's high-pass, which nobody knows, tilts them; each view undoes another
high-pass, so that in one or the other the tops stand level again. Where the open squelch was heard, its hiss
tells the high-pass and one view undoes just that; where the path behind the limiter was learnt, that view is
the limiter's own. Nothing in here depends on the level of the feed.
"""

from dataclasses import dataclass

import numpy as np
import scipy.fft
import soxr
from numpy.typing import NDArray

from audiotest.measure.filters import minimum_phase
from audiotest.measure.lean import recursion

RATE_HZ = 8000
FRAME_N = 160
FRAME_S = FRAME_N / RATE_HZ
SHARES = (0.9999, 0.999, 0.995, 0.98, 0.95, 0.9, 0.75, 0.5)
LEAST_HISS_S = 0.3
HISS_BAND_HZ = (40.0, 1000.0)
HISS_FLOORS = (1e-5, 1e-4, 1e-3, 1e-2)
"""Power of the sound card's own noise and hum over the hiss's."""
MOST_LIFT = 10.0
SWAYING_HZ = 30.0
"""There is no speech down there."""
TINY = 1e-9


@dataclass(frozen=True, slots=True)
class DriveViews:
    """Inputs of the drive model.

    ``waves``, shape (n_views, n) at 8 kHz, n a multiple of 160: active frames joined, the 99.9th percentile
    of each view at 1. ``whole``, shape (m,): figures of the over. ``over_ceiling_db`` is how far the 99.9th
    percentile of what left the limiter stands over the limiter's ceiling, None where that is not known.
    """

    waves: NDArray[np.float32]
    whole: NDArray[np.float32]
    over_ceiling_db: float | None = None

    @property
    def crest_db(self) -> float:
        """The 99.9th percentile of the first view, in which no high-pass is undone, over its RMS."""
        return float(self.whole[SHARES.index(0.999)])


def receiver_highpass(hiss: NDArray[np.floating], sample_rate_hz: int) -> tuple[float, float] | None:
    """Corner in Hz and order of a receiver's high-pass, from its open-squelch hiss.

    Parameters
    ----------
    hiss : ndarray, shape (n,)
        Hiss without a carrier, de-emphasis undone.
    sample_rate_hz : int
        Sample rate in Hz, 2400 or more.

    Returns
    -------
    (corner_hz, order) or None
        The Butterworth high-pass that explains the hiss best, its order not a whole number; None for less
        than 0.3 s of hiss.

    Notes
    -----
    Without a carrier the density of a discriminator's noise is flat below 1 kHz within a few per cent
    (Rice 1948), so what falls off at low frequencies is the receiver's. Fitted by Whittle's likelihood of the
    periodogram (Whittle 1953), level included.
    """
    if len(hiss) < LEAST_HISS_S * sample_rate_hz:
        return None
    samples = np.asarray(hiss, dtype=np.float64)
    samples = (samples - np.mean(samples)) * np.hanning(len(samples))
    power = np.abs(scipy.fft.rfft(samples)) ** 2
    hz = np.arange(len(power)) * sample_rate_hz / len(samples)
    inside = (hz > HISS_BAND_HZ[0]) & (hz < HISS_BAND_HZ[1])
    power, hz = power[inside], hz[inside]
    if not np.any(power > 0.0):
        return None
    corners = np.geomspace(40.0, 450.0, 40)
    orders = np.arange(0.5, 7.1, 0.5)
    passed = 1.0 / (1.0 + (corners[:, None, None] / hz) ** (2.0 * orders[:, None]))
    best = (np.inf, 0.0, 0.0)
    for floor in HISS_FLOORS:
        shape = passed + floor
        score = np.log(np.mean(power / shape, axis=2)) + np.mean(np.log(shape), axis=2)
        corner, order = np.unravel_index(int(np.argmin(score)), score.shape)
        best = min(best, (float(score[corner, order]), float(corners[corner]), float(orders[order])))
    return best[1:]


def undo_highpass(samples: NDArray[np.floating], corner_hz: float, order: float) -> NDArray[np.float64]:
    """8 kHz `samples`, shape (n,), with a Butterworth high-pass undone; it lifts by 20 dB at most.

    The phase belongs to the magnitude as in every minimum-phase filter.
    """
    n = scipy.fft.next_fast_len(len(samples) + 4 * RATE_HZ // 10, real=True)
    n += n % 2
    hz = np.maximum(np.arange(n // 2 + 1) * RATE_HZ / n, 1.0)
    lift = np.minimum(np.sqrt(1.0 + (corner_hz / hz) ** (2.0 * order)), MOST_LIFT)
    # Under 30 Hz there is no speech, only rumble and the mistuning.
    lift *= 1.0 / np.sqrt(1.0 + (30.0 / hz) ** 4)
    spectrum = scipy.fft.rfft(samples, n) * minimum_phase(np.log(lift))
    return np.asarray(scipy.fft.irfft(spectrum, n)[: len(samples)])


def _lift_low(samples: NDArray[np.float64], corner_hz: float) -> NDArray[np.float64]:
    """Undo one coupling capacitor: the inverse of a first-order high-pass, held below 40 Hz."""
    k, floor = 2 * np.pi * corner_hz / RATE_HZ, 2 * np.pi * 40.0 / RATE_HZ
    risen = samples - np.exp(-k) * np.concatenate([[0.0], samples[:-1]])
    return recursion(risen, np.exp(-floor))


def _joined(samples: NDArray[np.float64], active: NDArray[np.bool_]) -> NDArray[np.float64]:
    frames = samples[: len(active) * FRAME_N].reshape(-1, FRAME_N)
    return frames[active[: len(frames)]].ravel()


def _at_rate(samples: NDArray[np.floating], sample_rate_hz: int, frames: int) -> NDArray[np.float64]:
    """`samples` at 8 kHz, at least as long as so many frames."""
    x = np.asarray(samples, dtype=np.float64)
    if sample_rate_hz != RATE_HZ:
        x = np.asarray(soxr.resample(x, sample_rate_hz, RATE_HZ, quality="HQ"))
    return np.pad(_level(x), (0, max(0, frames * FRAME_N - len(x))))


def _level(samples: NDArray[np.float64]) -> NDArray[np.float64]:
    """`samples` without the slow swaying of a discriminator that is coupled down to 0 Hz.

    It says nothing of the limiter, and the views would lift it above the speech. No phase is turned.
    """
    margin = min(RATE_HZ // 5, len(samples) - 1)
    padded = np.pad(samples, margin, mode="reflect") if margin > 0 else samples
    n = scipy.fft.next_fast_len(len(padded), real=True)
    hz = np.arange(n // 2 + 1) * RATE_HZ / n
    spectrum = scipy.fft.rfft(padded, n) * (1.0 - 1.0 / (1.0 + (hz / SWAYING_HZ) ** 4))
    return np.asarray(scipy.fft.irfft(spectrum, n)[margin : margin + len(samples)])


def drive_views(
    samples: NDArray[np.floating],
    sample_rate_hz: int,
    active: NDArray[np.bool_],
    *,
    noise_db: float | None,
    hiss: NDArray[np.floating] | None,
    limited: NDArray[np.floating] | None = None,
    ceiling: float | None = None,
) -> DriveViews:
    """Views of an over at the discriminator.

    Parameters
    ----------
    samples : ndarray, shape (n,)
        The over, de-emphasis undone, sub-audible tone removed, any linear unit.
    sample_rate_hz : int
        Sample rate in Hz.
    active : ndarray of bool, shape (n_frames,)
        20 ms frames that hold speech; one at least.
    noise_db : float or None
        Noise RMS of the bare carrier in the same view relative to the speech's RMS, in dB.
    hiss : ndarray, shape (m,), or None
        Open-squelch hiss, de-emphasis undone.
    limited : ndarray, shape (n,), or None
        The over with the learnt path undone: what left the limiter (`audiotest.measure.path.undo_path`).
    ceiling : float or None
        Height of the limiter's flat tops in the unit of ``limited``, where that was learnt as well.

    Notes
    -----
    There is no source for which high-passes are undone.
    """
    x = _at_rate(samples, sample_rate_hz, len(active))
    highpass = None if hiss is None else receiver_highpass(hiss, sample_rate_hz)
    if limited is not None:
        told = _at_rate(limited, sample_rate_hz, len(active))
    else:
        told = x if highpass is None else undo_highpass(x, *highpass)
    waves, whole, tops = [], [], []
    for view in (x, _lift_low(x, 150.0), _lift_low(_lift_low(x, 300.0), 300.0), told):
        part = _joined(view, active)
        levels = np.quantile(np.abs(part), SHARES) + TINY
        rms = np.sqrt(np.mean(part**2)) + TINY
        sides = np.quantile(part, (0.001, 0.999))
        whole += [*(20.0 * np.log10(levels / rms)), 10.0 * float(sides[0] + sides[1]) / float(levels[1])]
        tops.append(float(levels[1]))
        waves.append(part / levels[1])
    noise = -45.0 if noise_db is None else float(np.clip(noise_db, -45.0, 0.0))
    corner, order = (0.0, 0.0) if highpass is None else highpass
    whole += [noise, float(noise_db is None), corner / 100.0, order, float(highpass is None)]
    whole += [float(np.log10(max(len(waves[0]), 1) / RATE_HZ)), float(limited is not None)]
    over_ceiling_db = None
    if limited is not None and ceiling is not None:
        over_ceiling_db = float(20.0 * np.log10(tops[-1] / ceiling))
    return DriveViews(
        np.clip(np.array(waves), -4.0, 4.0).astype(np.float32), np.array(whole, dtype=np.float32),
        over_ceiling_db,
    )  # fmt: skip
