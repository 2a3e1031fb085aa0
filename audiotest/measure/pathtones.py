"""Steady tones with all their harmonics, one after another in a recording, found without being told.

A limited tone behind a receiver's high-pass may have less left of its fundamental than of its harmonics, so
a tone is known by its period here and not by its strongest line.
"""

from dataclasses import dataclass

import numpy as np
import scipy.fft
import soxr
from numpy.typing import NDArray

from audiotest.measure.filters import bandpass, limited_high_hz
from audiotest.measure.lean import power_density
from audiotest.measure.tone import fit_sine

FRAME_S, HOP_S = 0.1, 0.05
LOWEST_HZ, HIGHEST_HZ = 120.0, 1300.0
BAND_HZ = (100.0, 3600.0)
HARMONICS_TO_HZ = 3450.0
PERIODIC = 0.6
"""Least correlation of a frame with itself one period later: noise at the power of the tone leaves 0.5."""
SHORTER_PERIOD = 0.93
"""A multiple of the period correlates as well as the period: the shortest within this share is taken."""
SAME_PITCH = 0.015
SAME_LEVEL_DB = 1.5
SHORTEST_S = 0.25
LONGEST_S = 4.0
NOISE_WINDOW_S = 0.04
WORK_RATE_HZ = 12000
"""Enough for a band that ends at 3.6 kHz; a faster recording is brought down to it first."""


@dataclass(frozen=True, slots=True, kw_only=True)
class CombTone:
    """A steady tone and its harmonics 1 to m within the audio band.

    ``amplitudes``, shape (m,), are the complex amplitudes c of ``Re c·exp(j2πn·frequency_hz·t)`` with t = 0
    at ``start_s``; ``errors`` their standard errors, of the real and of the imaginary part, by the noise
    beside each; ``rest_rms`` is the RMS of all that is no harmonic, in the audio band.
    """

    frequency_hz: float
    start_s: float
    end_s: float
    amplitudes: NDArray[np.complex128]
    errors: NDArray[np.float64]
    rest_rms: float

    @property
    def snr_db(self) -> float:
        """Power of tone and harmonics over that of the rest, in dB."""
        power = float(np.sum(np.abs(self.amplitudes) ** 2)) / 2.0
        return float(10.0 * np.log10(max(power, 1e-30) / max(self.rest_rms**2, 1e-30)))


def find_comb_tones(samples: NDArray[np.floating], rate_hz: int) -> tuple[CombTone, ...]:
    """Every steady tone of 120 to 1300 Hz that lasts a third of a second, with its harmonics.

    Parameters
    ----------
    samples : ndarray, shape (n,)
        One channel, any unit.
    rate_hz : int
        Sample rate in Hz, 8 kHz and up.

    Returns
    -------
    tuple of CombTone
        In order of time; of a tone longer than four seconds its middle.

    Notes
    -----
    Period by normalised autocorrelation; frequency by the least-squares fit of IEEE Std 1057 to the strongest
    harmonic; all amplitudes by one joint least-squares fit. The variance of an amplitude is S/T for noise of
    one-sided density S beside it over T seconds, as for a sine in white noise (Rife & Boorstyn 1974, IEEE
    Trans. Inf. Theory 20, 591-598).
    """
    x = np.asarray(samples, dtype=np.float64)
    if rate_hz > WORK_RATE_HZ:
        x, rate_hz = np.asarray(soxr.resample(x, rate_hz, WORK_RATE_HZ)), WORK_RATE_HZ
    frame_n, hop_n = round(FRAME_S * rate_hz), round(HOP_S * rate_hz)
    if len(x) < SHORTEST_S * rate_hz + 2 * hop_n:
        return ()
    heard = bandpass(x, rate_hz, *BAND_HZ)
    pitch, periodic, level_db = _frames(heard, rate_hz, frame_n, hop_n)
    found = []
    for first, last in _steady_runs(pitch, periodic, level_db):
        # The first and the last frame may hold the tone's beginning and end.
        start_n, end_n = (first + 1) * hop_n, (last - 1) * hop_n + frame_n
        longest_n = round(LONGEST_S * rate_hz)
        if end_n - start_n > longest_n:
            start_n += (end_n - start_n - longest_n) // 2
            end_n = start_n + longest_n
        if end_n - start_n >= SHORTEST_S * rate_hz:
            near_hz = float(np.median(pitch[first : last + 1]))
            found.append(_take_apart(heard[start_n:end_n], rate_hz, near_hz, start_n))
    return tuple(found)


def _frames(
    x: NDArray[np.float64], rate_hz: int, frame_n: int, hop_n: int
) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
    """Pitch in Hz, correlation at its period, and level in dB, frame by frame."""
    frames = np.lib.stride_tricks.sliding_window_view(x, frame_n)[::hop_n]
    shortest, longest = int(rate_hz / HIGHEST_HZ), int(np.ceil(rate_hz / LOWEST_HZ)) + 1
    size = scipy.fft.next_fast_len(frame_n + longest + 2, real=True)
    power = np.sum(frames**2, axis=1)
    ahead = np.cumsum(np.pad(frames**2, ((0, 0), (1, 0))), axis=1)
    lags = np.arange(longest + 2)
    plain = scipy.fft.irfft(np.abs(scipy.fft.rfft(frames, size, axis=1)) ** 2, size, axis=1)[:, lags]
    left, right = ahead[:, frame_n - lags], power[:, None] - ahead[:, lags]
    alike = plain / np.maximum(np.sqrt(np.maximum(left * right, 0.0)), 1e-30)
    pitch, periodic = np.zeros(len(frames)), np.zeros(len(frames))
    for k, row in enumerate(alike):
        inner = row[shortest : longest + 1]
        tops = (inner >= row[shortest - 1 : longest]) & (inner > row[shortest + 1 : longest + 2])
        at = shortest + np.flatnonzero(tops & (inner >= PERIODIC))
        if len(at) == 0:
            continue
        lag = int(at[np.flatnonzero(row[at] >= SHORTER_PERIOD * np.max(row[at]))[0]])
        before, top, after = row[lag - 1 : lag + 2]
        bend = before - 2.0 * top + after
        shift = 0.5 * (before - after) / bend if bend < 0.0 else 0.0
        pitch[k], periodic[k] = rate_hz / (lag + shift), top
    return pitch, periodic, 10.0 * np.log10(np.maximum(power / frame_n, 1e-20))


def _steady_runs(
    pitch: NDArray[np.float64], periodic: NDArray[np.float64], level_db: NDArray[np.float64]
) -> list[tuple[int, int]]:
    """First and last frame of every stretch of one pitch at one level."""
    runs: list[tuple[int, int]] = []
    first: int | None = None
    for k in range(len(pitch) + 1):
        good = k < len(pitch) and periodic[k] >= PERIODIC
        goes_on = (
            good
            and first is not None
            and abs(pitch[k] / np.median(pitch[first:k]) - 1.0) < SAME_PITCH
            and abs(level_db[k] - np.median(level_db[first:k])) < SAME_LEVEL_DB
        )
        if goes_on:
            continue
        if first is not None and k - first >= 3:
            runs.append((first, k - 1))
        first = k if good else None
    return runs


def _take_apart(x: NDArray[np.float64], rate_hz: int, near_hz: float, start_n: int) -> CombTone:
    strongest_hz = fit_sine(x, rate_hz).frequency_hz
    order = max(1, round(strongest_hz / near_hz))
    # A strongest line that is no harmonic is not of this tone: the period alone then gives the frequency.
    fits = abs(strongest_hz / order / near_hz - 1.0) < SAME_PITCH
    frequency_hz = strongest_hz / order if fits else near_hz
    count = max(1, int(limited_high_hz(rate_hz, HARMONICS_TO_HZ) / frequency_hz))
    turn = 2.0 * np.pi * frequency_hz * np.arange(len(x)) / rate_hz
    waves = [wave(n * turn) for n in range(1, count + 1) for wave in (np.cos, np.sin)]
    design = np.array(waves)
    solved = np.linalg.lstsq(design @ design.T, design @ x, rcond=None)[0]
    rest = x - solved @ design
    hz, density = power_density(rest, rate_hz, round(NOISE_WINDOW_S * rate_hz))
    beside = np.interp(frequency_hz * np.arange(1, count + 1), hz, density)
    return CombTone(
        frequency_hz=float(frequency_hz), start_s=start_n / rate_hz, end_s=(start_n + len(x)) / rate_hz,
        amplitudes=solved[0::2] - 1j * solved[1::2],
        errors=np.sqrt(np.maximum(beside, 1e-30) * rate_hz / len(x)),
        rest_rms=float(np.sqrt(np.mean(rest**2))),
    )  # fmt: skip
