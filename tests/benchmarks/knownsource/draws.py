"""Random sets, receivers and sound cards for judging measurements whose source is known.

Ranges are those of 27 MHz and land-mobile FM sets (common practice, no source). The seeds of this benchmark
serve no other purpose: nothing is tuned on them.
"""

from dataclasses import dataclass

import numpy as np

from audiotest.radio.settings import Receiver, SoundCard, Transmitter
from audiotest.radio.voices import load_voice

STRETCHES = (
    ("italian_male", 0.0), ("arabic_male", 0.0), ("english_reading", 8.0), ("english_reading", 15.0),
    ("english_address", 0.0), ("russian_female", 0.0),
)  # fmt: skip
"""Voice and where its stretch begins, in seconds."""
SECONDS = 9.0
LIMITERS = {"hard": 0.35, "soft": 0.25, "lopsided": 0.2, "diode": 0.2}
FAMILIES = ("butterworth", "chebyshev", "bessel", "elliptic")


@dataclass(frozen=True, kw_only=True)
class Draw:
    """One over: what is played, through which set, and heard by what; the recording's clock is off by ppm."""

    voice: str
    start_s: float
    pitch: float
    transmitter: Transmitter
    receiver: Receiver
    soundcard: SoundCard
    ppm: float
    seed: int

    def speech(self) -> tuple[np.ndarray, int]:
        """What is played: the stretch of the voice at its drawn speed, which makes another talker of it."""
        samples, rate_hz = load_voice(self.voice)
        part = samples[round(self.start_s * rate_hz) :][: round(SECONDS * rate_hz)]
        return part, round(rate_hz * self.pitch)


def draw_transmitter(rng: np.random.Generator, drive_db: float, ceiling_khz: float) -> Transmitter:
    """A set with one of four limiters and one of four families of splatter filter."""
    limiter = str(rng.choice(list(LIMITERS), p=list(LIMITERS.values())))
    family = str(rng.choice(FAMILIES))
    order = int(rng.integers(3, 6)) if family == "elliptic" else int(rng.integers(2, 8))
    return Transmitter(
        drive_db=drive_db, ceiling_khz=ceiling_khz,
        preemphasis_us=None if rng.random() < 0.1 else float(rng.uniform(100.0, 800.0)),
        mic_highpass_hz=float(rng.uniform(80.0, 350.0)), limiter=limiter,
        knee=float(np.exp(rng.uniform(np.log(2.0), np.log(16.0)))),
        asymmetry=float(rng.uniform(0.02, 0.15)) if limiter == "lopsided" else 0.0,
        splatter=(family, order, float(rng.uniform(2550.0, 3500.0))),
        hum_hz=100.0, hum_khz=float(ceiling_khz * 10 ** (rng.uniform(-60.0, -35.0) / 20)),
    )  # fmt: skip


def draw_receiver(rng: np.random.Generator, ceiling_khz: float) -> Receiver:
    """A receiver whose IF passes the set's deviation."""
    return Receiver(
        if_bandwidth_khz=float(rng.uniform(max(7.0, 3.2 * ceiling_khz), 16.0)),
        if_order=int(rng.integers(3, 7)), mistune_khz=float(rng.normal(0.0, 0.1)),
        cnr_db=float(rng.uniform(15.0, 40.0)), deemphasis_us=float(rng.choice([0.0, 530.0, 750.0])),
        highpass_hz=float(rng.uniform(60.0, 350.0)), highpass_order=int(rng.integers(1, 7)),
        lowpass_hz=float(rng.uniform(2800.0, 5000.0)), lowpass_order=int(rng.integers(1, 7)),
        lowpass=str(rng.choice(["butterworth", "chebyshev"])), scale_khz_per_fs=15.0,
    )  # fmt: skip


def draw(seed: int, *, lowest_db: float = -6.0, highest_db: float = 24.0) -> Draw:
    """Everything about one over."""
    rng = np.random.default_rng([20261125, seed])
    voice, start_s = STRETCHES[int(rng.integers(len(STRETCHES)))]
    ceiling_khz = float(rng.uniform(1.2, 4.0))
    drive_db = float(rng.uniform(lowest_db, highest_db))
    return Draw(
        voice=voice, start_s=start_s, pitch=float(rng.uniform(0.88, 1.15)),
        transmitter=draw_transmitter(rng, drive_db, ceiling_khz), receiver=draw_receiver(rng, ceiling_khz),
        soundcard=SoundCard(
            sample_rate_hz=int(rng.choice([48000, 44100, 8000])), noise_dbfs=float(rng.uniform(-90.0, -70.0))
        ),
        ppm=float(rng.uniform(-100.0, 100.0)), seed=seed,
    )  # fmt: skip
