"""A quick stand-in for the simulated radio: thousands of short overs for training, none for judging.

Everything linear is one multiplication in the frequency domain; only the limiter works in time. Receiver
noise is the FM noise triangle plus Rice's clicks (Rice 1963) added at the discriminator. What it leaves out
(IF filter, threshold, mistuning) is what the benchmark's true FM path then tests.
"""

from dataclasses import dataclass

import numpy as np
import scipy.fft
from numpy.typing import NDArray
from scipy.special import erfc

RATE_HZ = 96000
OUT_HZ = 24000


@dataclass(frozen=True)
class QuickOver:
    """Received audio at the discriminator (24 kHz), the bare carrier's noise, and the truth."""

    audio: NDArray[np.float64]
    noise: NDArray[np.float64]
    drive_db: float
    clipped_fraction: float
    p999: float
    peak: float
    limiter: str
    cnr_db: float
    frame_db: NDArray[np.float64]


def _analogue(kind: str, order: int, corner_hz: float, hz: NDArray[np.float64]) -> NDArray[np.complex128]:
    import scipy.signal as sps

    if kind == "bessel":
        b, a = sps.bessel(order, 2 * np.pi * corner_hz, analog=True, norm="mag")
    elif kind == "chebyshev":
        b, a = sps.cheby1(order, 0.5, 2 * np.pi * corner_hz, analog=True)
    elif kind == "elliptic":
        b, a = sps.ellip(order, 0.5, 40, 2 * np.pi * corner_hz, analog=True)
    else:
        b, a = sps.butter(order, 2 * np.pi * corner_hz, analog=True)
    s = 2j * np.pi * hz
    return np.polyval(b, s) / np.polyval(a, s)


def _highpass(order: int, corner_hz: float, hz: NDArray[np.float64]) -> NDArray[np.complex128]:
    import scipy.signal as sps

    b, a = sps.butter(order, 2 * np.pi * corner_hz, btype="highpass", analog=True)
    s = 2j * np.pi * hz
    return np.polyval(b, s) / np.polyval(a, s)


def _limit(v: NDArray[np.float64], kind: str, knee: float, lopsided: float) -> NDArray[np.float64]:
    if kind == "soft":
        return v / (1.0 + np.abs(v) ** knee) ** (1.0 / knee)
    if kind == "diode":
        return np.where(
            np.abs(v) < 0.6, v, np.sign(v) * (0.6 + 0.2 * np.log1p(5 * np.maximum(np.abs(v) - 0.6, 0)))
        )
    if kind == "lopsided":
        return np.clip(v, -(1.0 - lopsided), 1.0 + lopsided)
    if kind == "none":
        return v
    return np.clip(v, -1.0, 1.0)


def _active(v: NDArray[np.float64], rate_hz: int) -> NDArray[np.float64]:
    n = rate_hz // 50
    frames = v[: len(v) // n * n].reshape(-1, n)
    rms = np.sqrt(np.mean(frames**2, axis=1))
    return frames[rms >= np.percentile(rms, 98) * 10 ** (-25 / 20)].ravel()


def _time(spectrum: NDArray[np.complex128], n: int, rate_hz: int) -> NDArray[np.float64]:
    """The signal of a spectrum that ends at 12 kHz or below, sampled at `rate_hz`; n counts at 96 kHz."""
    out_n = n * rate_hz // RATE_HZ
    return scipy.fft.irfft(spectrum[: out_n // 2 + 1], out_n) * (out_n / n)


def draw_over(
    speech: NDArray[np.float32], speech_rate_hz: int, rng: np.random.Generator, families: tuple[str, ...]
) -> QuickOver:
    """One over with everything drawn at random around `speech`, shape (n,)."""
    speed = rng.uniform(0.85, 1.18)
    n = 4 * scipy.fft.next_fast_len(round(len(speech) / speech_rate_hz / speed * OUT_HZ), real=True)
    hz = np.arange(n // 8 + 1) * (RATE_HZ / n)
    source = scipy.fft.rfft(speech.astype(np.float64))
    spectrum = np.zeros(len(hz), dtype=complex)
    keep = min(len(source), len(hz))
    spectrum[:keep] = source[:keep]
    v = _time(*_microphone(spectrum, n, hz, rng), RATE_HZ)
    if rng.random() < 0.12:  # a talker's distance that changes
        v *= np.interp(np.arange(n), np.linspace(0, n, 6), 10 ** (rng.normal(0, 2.5, 6) / 20))
    drive_db = rng.uniform(-15, 3) if rng.random() < 0.22 else rng.uniform(-3, 26)
    active_v = np.abs(_active(v, RATE_HZ))
    scale = 10 ** (drive_db / 20) / np.quantile(active_v, 0.999)
    kind = str(rng.choice(["hard", "soft", "lopsided", "diode"], p=[0.5, 0.3, 0.1, 0.1]))
    per_frame = np.sort(np.abs(v[: len(v) // 1920 * 1920].reshape(-1, 1920)), axis=1)
    frame_db = 20 * np.log10(per_frame[:, 1824] * scale + 1e-4)
    limited = _limit(v * scale, kind, float(rng.uniform(2.5, 14)), float(rng.uniform(0.02, 0.12)))
    tx = scipy.fft.rfft(limited)[: len(hz)]
    tx *= _analogue(str(rng.choice(families)), int(rng.integers(3, 8)), rng.uniform(2500, 3500), hz)
    if rng.random() < 0.3:  # coupling between limiter and modulator
        tx *= _highpass(1, rng.uniform(5, 80), hz)
    sent = np.abs(_active(_time(tx, n, 48000), 48000))
    cnr_db, band = rng.uniform(7, 45), rng.uniform(7, 16)
    ceiling = rng.uniform(1.0, 5.0) * min(1.0, band / 12)
    rx = _receiver(hz, rng, families)
    audio = _time((tx + _noise(n, hz, cnr_db, band, rng, ceiling) / ceiling) * rx, n, OUT_HZ)
    quiet = _time(_noise(n, hz, cnr_db, band, rng, 0.0) / ceiling * rx, n, OUT_HZ)
    return QuickOver(
        audio, quiet[: OUT_HZ // 2], float(drive_db), float(np.mean(active_v * scale > 1.0)),
        float(np.quantile(sent, 0.999)), float(np.max(sent)), kind, float(cnr_db), frame_db,
    )  # fmt: skip


def _microphone(
    spectrum: NDArray[np.complex128], n: int, hz: NDArray[np.float64], rng: np.random.Generator
) -> tuple[NDArray[np.complex128], int]:
    """Microphone, room noise, mic amplifier and pre-emphasis."""
    octave = np.log2(np.maximum(hz, 50) / 1000)
    bump_hz, bump_db = rng.uniform(400, 4000), rng.normal(0, 3)
    shape = rng.normal(0, 2.5) * octave + bump_db * np.exp(-((np.log2(np.maximum(hz, 50) / bump_hz)) ** 2))
    mic = 10 ** (shape / 20) * _highpass(int(rng.integers(1, 4)), rng.uniform(80, 350), hz)
    if rng.random() < 0.5:
        mic = mic * _analogue("butterworth", int(rng.integers(1, 4)), rng.uniform(3000, 7000), hz)
    spectrum = spectrum * mic
    level = np.sqrt(np.mean(_active(_time(spectrum, n, OUT_HZ), OUT_HZ) ** 2))
    slope = np.minimum(1, 300 / np.maximum(hz, 50)) * (hz < 6000)
    ambient = (rng.standard_normal(len(hz)) + 1j * rng.standard_normal(len(hz))) * slope
    spectrum += ambient * (level * 10 ** (rng.uniform(-50, -15) / 20) / np.std(_time(ambient, n, OUT_HZ)))
    which = rng.random()
    if which < 0.75:
        spectrum *= 1 + 1j * hz / rng.uniform(200, 420)
    elif which < 0.9:
        spectrum *= 1 + 1j * hz / rng.uniform(400, 3000)
    return spectrum, n


def _receiver(
    hz: NDArray[np.float64], rng: np.random.Generator, families: tuple[str, ...]
) -> NDArray[np.complex128]:
    rx = np.ones(len(hz), dtype=complex)
    if rng.random() < 0.9:
        rx *= _highpass(int(rng.integers(1, 7)), rng.uniform(60, 360), hz)
    if rng.random() < 0.85:
        rx *= _analogue(str(rng.choice(families)), int(rng.integers(1, 7)), rng.uniform(2800, 4500), hz)
    if rng.random() < 0.4:  # de-emphasis undone with a slightly wrong time constant
        rx *= (1 + 2j * np.pi * hz * 750e-6) / (1 + 2j * np.pi * hz * rng.uniform(480e-6, 820e-6))
    return rx * (hz < rng.uniform(3500, 4200))


def _noise(
    n: int,
    hz: NDArray[np.float64],
    cnr_db: float,
    band_khz: float,
    rng: np.random.Generator,
    swing_khz: float,
) -> NDArray[np.complex128]:
    """Spectrum of the discriminator's noise in kHz: S(f) = f² N0/C, and clicks of one cycle each."""
    rho = 10 ** (cnr_db / 10)
    density = hz**2 / (rho * band_khz * 1e3)
    white = rng.standard_normal(len(hz)) + 1j * rng.standard_normal(len(hz))
    spectrum = white * np.sqrt(n / 2) * np.sqrt(density * RATE_HZ / 2) / 1e3
    rate = band_khz * 1e3 / np.sqrt(12) * erfc(np.sqrt(rho)) + 0.6 * swing_khz * 1e3 / np.pi * np.exp(-rho)
    count = int(rng.poisson(rate * n / RATE_HZ))
    if count:
        clicks = np.zeros(n // 4)
        np.add.at(clicks, rng.integers(0, n // 4, count), rng.choice([-1.0, 1.0], count))
        spectrum = spectrum + np.append(scipy.fft.rfft(clicks), 0)[: len(hz)] * RATE_HZ / 1e3
    return spectrum
